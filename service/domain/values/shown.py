"""Rounding for display: declared beside each field, applied by one function."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, is_dataclass
from decimal import Decimal
from functools import cache, partial
from typing import Annotated, Any, TypeVar, get_args, get_origin

from service.domain.values.declared import field_types, marks_and_type, optional_of
from service.domain.values.exact import QUANTITY_DECIMALS, SHARE_DECIMALS, ZERO, exactly, half_up, known, plain
from service.domain.values.money import Money, in_currency, minor_unit_decimals

T = TypeVar("T")
Show = Callable[[Any], Any]
"""Rounds a value whose amounts are in the currency that it was made for."""
_NOWHERE = object()


@dataclass(frozen=True, slots=True)
class ShownAs:
    """How a figure is rounded.

    Attributes:
        rounded: the rounding function.
        is_amount: whether the decimals are counted beyond those of the currency's minor unit.
    """

    rounded: Callable[[Decimal, int], Decimal]
    decimals: int
    is_amount: bool = False

    def decimals_in(self, currency: str) -> int:
        return self.decimals + minor_unit_decimals(currency) if self.is_amount else self.decimals

    def shows_figures_in(self, currency: str) -> Callable[[Decimal], Decimal]:
        """The function that rounds a figure; the decimals of an amount are those of the currency."""
        rounded, decimals = self.rounded, self.decimals
        if self.is_amount:
            return lambda exact: rounded(exact, self.decimals_in(currency))
        return lambda exact: rounded(exact, decimals)

    def shows_money_in(self, currency: str) -> Callable[[Decimal | Money], Money]:
        """The function that rounds an amount; money is already rounded and returned unchanged."""
        rounded, decimals_in = self.rounded, self.decimals_in

        def show(exact: Decimal | Money) -> Money:
            return exact if isinstance(exact, Money) else in_currency(rounded(exact, decimals_in(currency)), currency)

        return show


AT_MINOR_UNIT = ShownAs(half_up, 0, is_amount=True)
WITH_MORE_DIGITS = ShownAs(half_up, 4, is_amount=True)

UnitAmount = Annotated[Money, WITH_MORE_DIGITS]
"""Money for a piece, with four decimals beyond the minor unit; other money is shown at the minor unit."""
UnitRate = Annotated[Decimal, WITH_MORE_DIGITS]
"""Money for a unit, without its currency; or a share of a subtotal."""
ShownShare = Annotated[Decimal, ShownAs(half_up, SHARE_DECIMALS)]
Quantity = Annotated[Decimal, ShownAs(plain, QUANTITY_DECIMALS)]
"""A physical quantity, at most nine decimals."""
Figure = Annotated[Decimal, ShownAs(known, SHARE_DECIMALS)]
"""A figure of any size, at most six decimals and 28 digits."""


@dataclass(frozen=True, slots=True)
class SumOf:
    """Marks an amount as the sum of other rounded fields, plus or minus; fields that are sums come before it."""

    plus: tuple[str, ...]
    minus: tuple[str, ...] = ()

    def of(self, amounts: Mapping[str, Money], currency: str) -> Money:
        total = ZERO
        for name in self.plus:
            total += amounts[name].amount
        for name in self.minus:
            total -= amounts[name].amount
        return in_currency(total, currency)


@exactly
def shown(shown_class: type[T], currency: str, /, *sources: object, **told: Any) -> T:
    """Builds an object of a class from exact figures, rounded as the annotations of its fields say.

    The value of a field is the keyword argument of its name; else the member of that name in the first source that has
    it; else its default. Decimals become money where the field holds money, at the minor unit unless annotated
    otherwise. The same holds for parts in lists, mappings and objects. An object that already has the field's class is
    kept unchanged, unless the source is itself of the shown class: then everything in it is rounded.

    Args:
        shown_class: a dataclass.
        currency: of every amount that is not money yet; may be empty where there is none.

    Raises:
        TypeError: a field has no value, or the class has no such field or makes it a sum.
        FigureTooLargeError: a rounded figure would need more than 28 digits.
    """
    of: Any = shown_class
    figures, sums = _plan(of, currency, bool(sources) and type(sources[0]) is of)
    for name, show in figures:
        value = told.get(name, _NOWHERE)
        if value is _NOWHERE:
            for source in sources:
                if (value := getattr(source, name, _NOWHERE)) is not _NOWHERE:
                    break
            else:
                continue
        told[name] = value if show is None or value is None else show(value)
    return shown_class(**told, **_sums(sums, told, currency)) if sums else shown_class(**told)


def _sums(sums: tuple[tuple[str, SumOf], ...], amounts: Mapping[str, Money], currency: str) -> dict[str, Money]:
    """The fields that are sums, in the order in which each may be part of the next."""
    found: dict[str, Money] = {}
    for name, each in sums:
        found[name] = each.of({**amounts, **found}, currency)
    return found


@cache
def _plan(
    shown_class: Any, currency: str, is_own: bool
) -> tuple[tuple[tuple[str, Show | None], ...], tuple[tuple[str, SumOf], ...]]:
    """How to round each field, None where there is nothing to round; and the fields that are sums."""
    hints = field_types(shown_class)
    sums = {name: _mark(hint, SumOf) for name, hint in hints.items()}
    figures = ((name, _show_of(hint, currency, is_own)) for name, hint in hints.items() if sums[name] is None)
    return tuple(figures), tuple((name, each) for name, each in sums.items() if each is not None)


def _mark(hint: Any, kind: type[T]) -> T | None:
    return next((each for each in marks_and_type(hint)[0] if isinstance(each, kind)), None)


def _show_of(hint: Any, currency: str, is_own: bool) -> Show | None:
    bare = optional_of(hint) or hint
    as_told, part = _mark(bare, ShownAs), marks_and_type(bare)[1]
    if part is Money:
        return (as_told or AT_MINOR_UNIT).shows_money_in(currency)
    if as_told is not None:
        return as_told.shows_figures_in(currency)
    if get_origin(part) in (tuple, Mapping):
        show = _show_of(get_args(part)[get_origin(part) is Mapping], currency, is_own)
        return None if show is None else partial(_each, show)
    is_object: bool = is_dataclass(part)
    if not is_object or not any(show for _, show in _plan(part, currency, is_own)[0]):
        return None
    return lambda value: shown(part, currency, value) if is_own or not isinstance(value, part) else value


def _each(show: Show, values: Any) -> Any:
    if isinstance(values, Mapping):
        return {name: show(value) for name, value in values.items()}
    return tuple(map(show, values))
