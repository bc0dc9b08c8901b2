"""How a figure is shown, declared once beside the field, and the one function that shows what is exact."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, is_dataclass
from decimal import Decimal
from functools import cache, partial
from typing import Annotated, Any, TypeVar, get_args, get_origin

from service.domain.values.declared import field_types, marks_and_type, optional_of
from service.domain.values.exact import QUANTITY_DECIMALS, SHARE_DECIMALS, ZERO, exactly, half_up, known, plain
from service.domain.values.money import Money, in_currency, minor_unit_decimals

T = TypeVar("T")
Show = Callable[[Any, str], Any]
"""Rounds a value, its amounts in a currency."""
_NOWHERE = object()


@dataclass(frozen=True, slots=True)
class ShownAs:
    """How a figure is rounded.

    Attributes:
        rounded: to so many decimals.
        decimals: how many.
        is_amount: whether these are digits beyond the minor unit of the currency.
    """

    rounded: Callable[[Decimal, int], Decimal]
    decimals: int
    is_amount: bool = False

    def decimals_in(self, currency: str) -> int:
        """How many decimals the figure has."""
        return self.decimals + minor_unit_decimals(currency) if self.is_amount else self.decimals

    def figure(self, exact: Decimal, currency: str) -> Decimal:
        """The figure as it is shown."""
        return self.rounded(exact, self.decimals_in(currency))

    def money(self, exact: Decimal | Money, currency: str) -> Money:
        """The amount as it is shown; what is money already stands as it is."""
        return exact if isinstance(exact, Money) else in_currency(self.figure(exact, currency), currency)


AT_MINOR_UNIT = ShownAs(half_up, 0, is_amount=True)
WITH_MORE_DIGITS = ShownAs(half_up, 4, is_amount=True)

UnitAmount = Annotated[Money, WITH_MORE_DIGITS]
"""For a piece: with four digits more than the minor unit, which other money is shown at."""
UnitRate = Annotated[Decimal, WITH_MORE_DIGITS]
"""Money for a unit, whose currency is told elsewhere; or a share of a subtotal."""
ShownShare = Annotated[Decimal, ShownAs(half_up, SHARE_DECIMALS)]
Quantity = Annotated[Decimal, ShownAs(plain, QUANTITY_DECIMALS)]
"""A physical quantity: at most nine decimals."""
Figure = Annotated[Decimal, ShownAs(known, SHARE_DECIMALS)]
"""What may be of any size: at most six decimals, as far as they are known."""


@dataclass(frozen=True, slots=True)
class SumOf:
    """An amount that adds up from others of its object as they are shown, whatever was rounded of them.

    Attributes:
        plus: the fields that are added; what is such a sum itself stands before.
        minus: those that are taken off.
    """

    plus: tuple[str, ...]
    minus: tuple[str, ...] = ()

    def of(self, amounts: Mapping[str, Money], currency: str) -> Money:
        """The sum of the amounts by their fields."""
        total = ZERO
        for name in self.plus:
            total += amounts[name].amount
        for name in self.minus:
            total -= amounts[name].amount
        return in_currency(total, currency)


@exactly
def shown(shown_class: type[T], currency: str, /, *sources: object, **told: Any) -> T:
    """What is shown of exact figures: an object whose figures are rounded as the annotations of its class say.

    A field is what is told for it; else the member of the same name of the first source that has one; else its
    default. Decimals become money where the field holds money, at the minor unit if its annotation says nothing else.
    So it is with parts in lists, in mappings and in objects. An object that is of the field's class already stands as
    it is, but in a source of the shown class itself: what is shown in its own class is rounded through and through.

    Args:
        shown_class: a dataclass.
        currency: of every amount that is not money yet; may be empty where there is none.
        sources: exact objects.
        told: what no source has by that name.

    Raises:
        TypeError: a field has no value, or the class has no such field or makes it a sum.
        FigureTooLargeError: a figure would show more digits than are known.
    """
    of: Any = shown_class
    figures, sums = _plan(of, bool(sources) and type(sources[0]) is of)
    found = {}
    for name, show in figures:
        value = told.pop(name) if name in told else _member(sources, name)
        if value is not _NOWHERE:
            found[name] = value if show is None or value is None else show(value, currency)
    for name, each in sums:
        found[name] = each.of(found, currency)
    return shown_class(**found, **told)


def _member(sources: tuple[object, ...], name: str) -> Any:
    for source in sources:
        if (value := getattr(source, name, _NOWHERE)) is not _NOWHERE:
            return value
    return _NOWHERE


@cache
def _plan(shown_class: Any, is_own: bool) -> tuple[tuple[tuple[str, Show | None], ...], tuple[tuple[str, SumOf], ...]]:
    """How each field is shown, None where nothing in it is rounded; and the fields that are sums."""
    hints = field_types(shown_class)
    sums = {name: _mark(hint, SumOf) for name, hint in hints.items()}
    figures = ((name, _show_of(hint, is_own)) for name, hint in hints.items() if sums[name] is None)
    return tuple(figures), tuple((name, each) for name, each in sums.items() if each is not None)


def _mark(hint: Any, kind: type[T]) -> T | None:
    """What of a kind is annotated on a type."""
    return next((each for each in marks_and_type(hint)[0] if isinstance(each, kind)), None)


def _show_of(hint: Any, is_own: bool) -> Show | None:
    bare = optional_of(hint) or hint
    as_told, part = _mark(bare, ShownAs), marks_and_type(bare)[1]
    if part is Money:
        return (as_told or AT_MINOR_UNIT).money
    if as_told is not None:
        return as_told.figure
    if get_origin(part) in (tuple, Mapping):
        show = _show_of(get_args(part)[get_origin(part) is Mapping], is_own)
        return None if show is None else partial(_each, show)
    is_object: bool = is_dataclass(part)
    if not is_object or not any(show for _, show in _plan(part, is_own)[0]):
        return None
    return lambda value, currency: shown(part, currency, value) if is_own or not isinstance(value, part) else value


def _each(show: Show, values: Any, currency: str) -> Any:
    if isinstance(values, Mapping):
        return {name: show(value, currency) for name, value in values.items()}
    return tuple(show(value, currency) for value in values)
