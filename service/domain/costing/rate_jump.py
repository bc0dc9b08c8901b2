"""A rate against the one before it: warnings, never errors."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from service.domain.making.resources import ENTIRE_TOOL
from service.domain.values.exact import readable
from service.domain.values.message import COMMON_PRACTICE, Fact, Message, PlausibilityWarning

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
