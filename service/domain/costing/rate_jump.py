"""A rate against the one before it: warnings, never errors."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import RateTerms
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.resources import ENTIRE_TOOL
from service.domain.values.declared import default_of, field_types
from service.domain.values.exact import readable
from service.domain.values.message import COMMON_PRACTICE, Fact, Message, PlausibilityWarning
from service.domain.values.money import Money

_TIMES = Decimal(10)
_SHOWN_DECIMALS = 4
"""As many as rates have on a page."""


def rate_jumps(
    name: str, before: Mapping[str, Decimal], now: Mapping[str, Decimal], product: str | None = None
) -> Iterator[PlausibilityWarning]:
    """A warning for each part of a resource that costs ten times what it cost at the rate before, or a tenth.

    Both are by part, converted at the same exchange rates; amounts of 0 and of another sign are not compared.
    """
    for part, new in now.items():
        old = before.get(part)
        if not old or new * old <= 0 or part == ENTIRE_TOOL:
            continue
        facts: dict[str, Fact] = {
            "resource": named(name, part),
            "new": readable(new, _SHOWN_DECIMALS),
            "old": readable(old, _SHOWN_DECIMALS),
        }
        if abs(new) >= abs(old) * _TIMES:
            text = Message(
                "The rate of {resource} is at least ten times the one before: {new} after {old}. Check the amount, its "
                "unit and its currency.",
                **facts,
            )
        elif abs(new) * _TIMES <= abs(old):
            text = Message(
                "The rate of {resource} is at most a tenth of the one before: {new} after {old}. Check the amount, its "
                "unit and its currency.",
                **facts,
            )
        else:
            continue
        yield PlausibilityWarning(code="rate-jump", product=product, text=text, source=COMMON_PRACTICE)


def named(name: str, part: str) -> str:
    """A part of a resource in a sentence."""
    return f"{name}, {part}" if part else name


def terms_left_out(
    name: str, before: DatedRate, now: DatedRate, product: str | None = None
) -> Iterator[PlausibilityWarning]:
    """A warning that names what the rate before said and this one does not, because it says nothing by default.

    A member that is 0 by default may have been set to 0 or left out, which cannot be told apart: it is named with what
    it is now.
    """
    if changes := tuple(_left_out(before.terms, now.terms)):
        text = Message(
            "The rate of {resource} from {day} has {changes}. It replaces all of the rate before it: add what still "
            "holds.",
            resource=name,
            day=str(now.valid_from),
            changes=changes,
        )
        yield PlausibilityWarning(code="terms-left-out", product=product, text=text, source=COMMON_PRACTICE)


def unconverted(name: str, rate: DatedRate, error: MissingExchangeRateError) -> PlausibilityWarning:
    """A warning about a rate in a currency without an exchange rate."""
    text = Message(
        "There is no exchange rate between {one} and {other} on {day} or shortly before it. Enter, import or fetch "
        "one: nothing that needs the rate of {resource} from {valid_from} can be priced until then.",
        one=error.one,
        other=error.other,
        day=str(error.as_of),
        resource=name,
        valid_from=str(rate.valid_from),
    )
    return PlausibilityWarning(code="no-exchange-rate", product=None, text=text, source=COMMON_PRACTICE)


def _left_out(before: RateTerms, now: RateTerms) -> Iterator[Message]:
    for member in field_types(type(now)):
        old, new = getattr(before, member), getattr(now, member)
        if gone := tuple(each for each in _names_in(old) if each not in _names_in(new)):
            yield Message("no {names} in its {member}", names=gone, member=member)
        elif old == new or new != default_of(type(now), member) or _is_no_money(old):
            continue
        elif new is None:
            yield Message("no {member} (until then {old})", member=member, old=_told(old))
        else:
            yield Message("{member} {new} (until then {old})", member=member, new=_told(new), old=_told(old))


def _names_in(value: Any) -> tuple[str, ...]:
    """What a member has under names: fees, zones; nothing of other members."""
    if isinstance(value, tuple):
        return tuple(each.name for each in value)
    return tuple(value) if isinstance(value, Mapping) else ()


def _is_no_money(value: Any) -> bool:
    """Whether it is an amount of 0, which each member for money means where it is left out."""
    return isinstance(value, Money) and not value.amount


def _told(value: Any) -> Fact:
    """A value in a sentence; of one with members of its own, such as limits, what each of them is."""
    match value:
        case Money():
            return Message("{amount} {currency}", amount=value.amount, currency=value.currency)
        case Decimal() | str():
            return value
    found = ((member, getattr(value, member)) for member in field_types(type(value)))
    return tuple(Message("{member} {value}", member=member, value=_told(each)) for member, each in found if each)
