"""A pocket calculator for written formulas with + − × ÷ ^ ( ) ⌈ ⌉ ln; it shares no code with the service."""

import math
import re
from collections.abc import Callable
from decimal import Decimal, localcontext

_SIGNS = re.compile(r"\s*(ln|\d+(?:\.\d+)?|[-+−×÷^()⌈⌉])")
_LAST_DIGITS = Decimal("1e-27")


def calculated(text: str) -> Decimal:
    """The result of the formula, computed with 34 digits."""
    signs = _SIGNS.findall(text)
    assert "".join(signs) == text.replace(" ", ""), f"no calculator reads {text}"
    with localcontext(prec=34):
        value, rest = _sum(signs)
    assert not rest, f"{rest} is left over of {text}"
    return value


Part = tuple[Decimal, list[str]]


def _sum(signs: list[str]) -> Part:
    if signs[0] == "−":
        value, signs = _product(signs[1:])
        value = -value
    else:
        value, signs = _product(signs)
    while signs and signs[0] in "+−":
        other, rest = _product(signs[1:])
        value, signs = (value + other if signs[0] == "+" else value - other), rest
    return value, signs


def _product(signs: list[str]) -> Part:
    value, signs = _power(signs)
    while signs and signs[0] in "×÷":
        other, rest = _power(signs[1:])
        value, signs = (value * other if signs[0] == "×" else value / other), rest
    return value, signs


def _power(signs: list[str]) -> Part:
    base, signs = _atom(signs)
    if signs and signs[0] == "^":
        exponent, signs = _atom(signs[1:])
        base = base**exponent
    return base, signs


_FUNCTIONS: dict[str, Callable[[Decimal], Decimal]] = {"(": lambda value: value, "ln": Decimal.ln}


def _atom(signs: list[str]) -> Part:
    head, *rest = signs
    if head == "ln":
        value, rest = _atom(rest)
        return value.ln(), rest
    if head == "(":
        value, rest = _sum(rest)
        assert rest[0] == ")"
        return value, rest[1:]
    if head == "⌈":
        value, rest = _sum(rest)
        assert rest[0] == "⌉"
        nearest = round(value)  # a reader takes 1.9999999 or 2.0000001 for a rounded 2
        is_whole = abs(value - nearest) <= abs(value) * _LAST_DIGITS
        return Decimal(nearest if is_whole else math.ceil(value)), rest[1:]
    return Decimal(head), rest
