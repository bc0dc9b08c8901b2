"""Traced arithmetic: figures that remember how they were computed, so that the formulas can be shown."""

from collections.abc import Callable
from decimal import Decimal
from functools import wraps
from typing import Any, Self


class Traced(Decimal):
    """A Decimal that remembers the operation it resulted from.

    Its value is the same to the last digit, for each operation is Decimal's own. Adding 0 and multiplying or dividing
    by an untraced 1 leave no trace.

    Attributes:
        operator: "+", "−", "×", "÷", "^" of two operands; "⌈⌉", "log2" or "neg" of one; "Σ^" of three; "" for an input.
        operands: plain Decimals where they are the formula's own, such as 60 minutes an hour.
        label: the name of an input.
    """

    __slots__ = ("label", "operands", "operator")

    operator: str
    operands: tuple[Decimal, ...]
    label: str

    def __new__(cls, value: Decimal | int, operator: str = "", *operands: Decimal, label: str = "") -> Self:
        figure = super().__new__(cls, value)
        figure.operator, figure.operands, figure.label = operator, operands, label
        return figure

    def __add__(self, other: Any) -> Decimal:
        return _added(Decimal.__add__(self, other), self, other)

    def __radd__(self, other: Any) -> Decimal:
        return _added(Decimal.__radd__(self, other), other, self)

    def __sub__(self, other: Any) -> Decimal:
        return self if not other else Traced(Decimal.__sub__(self, other), "−", self, _operand(other))

    def __rsub__(self, other: Any) -> Decimal:
        found = Decimal.__rsub__(self, other)
        return Traced(found, "−", _operand(other), self) if self else found

    def __mul__(self, other: Any) -> Decimal:
        return self if _is_bare_one(other) else Traced(Decimal.__mul__(self, other), "×", self, _operand(other))

    def __rmul__(self, other: Any) -> Decimal:
        return self if _is_bare_one(other) else Traced(Decimal.__rmul__(self, other), "×", _operand(other), self)

    def __truediv__(self, other: Any) -> Decimal:
        return self if _is_bare_one(other) else Traced(Decimal.__truediv__(self, other), "÷", self, _operand(other))

    def __rtruediv__(self, other: Any) -> Decimal:
        return Traced(Decimal.__rtruediv__(self, other), "÷", _operand(other), self)

    def __pow__(self, other: Any, modulo: Any = None) -> Decimal:
        return Traced(Decimal.__pow__(self, other), "^", self, _operand(other))

    def __neg__(self) -> Decimal:
        return Traced(Decimal.__neg__(self), "neg", self)


def _operand(other: Any) -> Decimal:
    return other if isinstance(other, Decimal) else Decimal(other)


def _is_bare_one(other: Any) -> bool:
    return not isinstance(other, Traced) and other == 1


def _added(found: Decimal, left: Any, right: Any) -> Decimal:
    if left and right:
        return Traced(found, "+", _operand(left), _operand(right))
    return _operand(left or right)


def traced(operator: str) -> Callable[[Callable[..., Decimal]], Callable[..., Decimal]]:
    """Make a function of Decimals leave a trace, as an operator does."""

    def decorate(function: Callable[..., Decimal]) -> Callable[..., Decimal]:
        @wraps(function)
        def found(*figures: Decimal) -> Decimal:
            for figure in figures:  # a generator would take longer than most of these functions
                if isinstance(figure, Traced):
                    return Traced(function(*map(Decimal, figures)), operator, *figures)
            return function(*figures)

        return found

    return decorate
