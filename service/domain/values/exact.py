"""Exact arithmetic: 34 digits inside, snapped to 28 and rounded half up at a boundary."""

from collections.abc import Callable, Iterable
from decimal import (
    ROUND_CEILING,
    ROUND_FLOOR,
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    Context,
    Decimal,
    DivisionByZero,
    InvalidOperation,
    Overflow,
    getcontext,
    localcontext,
)
from functools import wraps
from typing import ParamSpec, TypeVar

from service.domain.values.errors import FigureTooLargeError
from service.domain.values.traced import traced

P = ParamSpec("P")
R = TypeVar("R")

_TRAPS = [DivisionByZero, InvalidOperation, Overflow]
_EMAX = 99_991  # no other context has this value: it marks that an exact function is already running
EXACT = Context(prec=34, Emax=_EMAX, rounding=ROUND_HALF_EVEN, traps=_TRAPS)
_OUTGROWN = (InvalidOperation, Overflow)
"""What the context raises where a figure needs more than 34 digits; callers see FigureTooLargeError."""
_MOST_DIGITS = 28
_SNAP = Context(prec=_MOST_DIGITS, rounding=ROUND_HALF_EVEN, traps=_TRAPS)

_DIGITS_OF_A_LOSS = 9

ZERO = Decimal(0)
ONE = Decimal(1)
MINUTES_PER_HOUR = Decimal(60)
MONTHS_PER_YEAR = 12
WEEKS_PER_YEAR = 52
SHARE_DECIMALS = 6
"""Decimals of shares, and of fractional pieces, minutes and weeks of a month."""
QUANTITY_DECIMALS = 9
"""Decimals of physical quantities."""
UNITS = [Decimal(1).scaleb(-digits) for digits in range(64)]
"""One unit in the last place, by the number of decimals."""


def exactly(function: Callable[P, R]) -> Callable[P, R]:
    """Run the function in the exact context, whatever context the caller has.

    Raises:
        FigureTooLargeError: a figure needs more than 34 digits.
    """

    @wraps(function)
    def wrapper(*args: P.args, **kwargs: P.kwargs) -> R:
        if getcontext().Emax == _EMAX:
            return function(*args, **kwargs)  # within another such function already
        with localcontext(EXACT):
            try:
                return function(*args, **kwargs)
            except _OUTGROWN as error:
                raise FigureTooLargeError from error

    return wrapper


snapped: Callable[[Decimal], Decimal] = _SNAP.plus
"""The figure rounded to 28 digits, which removes the rounding error of a division."""


def half_up(figure: Decimal, decimals: int) -> Decimal:
    """The figure snapped to 28 digits, then rounded half up on its magnitude.

    Snapping restores a tie that a division missed by its rounding error.

    >>> half_up(Decimal("365.125"), 2)
    Decimal('365.13')

    Raises:
        FigureTooLargeError: the result would need more than 28 digits.
    """
    try:
        found = _SNAP.plus(figure).quantize(UNITS[decimals], ROUND_HALF_UP, _SNAP)
    except InvalidOperation:
        raise FigureTooLargeError from None
    return found or found.copy_abs()  # no negative zero


def _quantized(snapped: Decimal, decimals: int, rounding: str) -> Decimal:
    try:
        return snapped.quantize(UNITS[decimals], rounding, _SNAP)
    except InvalidOperation:
        raise FigureTooLargeError from None


def readable(figure: Decimal, decimals: int) -> Decimal:
    """The figure as people read it: rounded half up, but never to nothing, and without trailing zeros.

    >>> readable(Decimal("12.34567"), 3), readable(Decimal("2.5000"), 3), readable(Decimal("0.000123"), 3)
    (Decimal('12.346'), Decimal('2.5'), Decimal('0.0001'))
    >>> readable(Decimal("1234567890123456789012345678"), 3)
    Decimal('1234567890123456789012345678')

    Raises:
        FigureTooLargeError: the figure has more than 28 digits before the point.
    """
    place = figure.adjusted() if figure else 0
    return plain(figure, min(max(decimals, -place), max(_MOST_DIGITS - 1 - place, 0)))


def up(figure: Decimal, decimals: int) -> Decimal:
    """The figure rounded up to so many decimals.

    >>> up(Decimal("4.9900000000000000000000000000000001"), 2), up(Decimal("4.991"), 2)
    (Decimal('4.99'), Decimal('5.00'))

    Raises:
        FigureTooLargeError: the result would need more than 28 digits.
    """
    return _quantized(snapped(figure), decimals, ROUND_CEILING)


@traced("⌈⌉")
def whole_up(figure: Decimal) -> Decimal:
    """The figure rounded up to a whole number.

    >>> whole_up(Decimal("2.0000000000000000000000000000000001"))
    Decimal('2')

    Raises:
        FigureTooLargeError: the result would need more than 28 digits.
    """
    return up(figure, 0)


def whole_down(figure: Decimal) -> Decimal:
    """The figure rounded down to a whole number; raises as `whole_up` does."""
    return _quantized(snapped(figure), 0, ROUND_FLOOR)


def apportioned(figures: Iterable[Decimal], decimals: int, total: Decimal | None = None) -> tuple[Decimal, ...]:
    """The figures rounded so that they add up to a total (largest remainder method).

    Each is rounded down; the units missing to the total go to the figures that lost most, of equals to the earlier.

    >>> apportioned([Decimal("0.335"), Decimal("0.335"), Decimal("0.33")], 2)
    (Decimal('0.34'), Decimal('0.33'), Decimal('0.33'))

    Args:
        figures: at least one if a total is given.
        total: near their sum, with as many decimals; their rounded sum if left out.

    Raises:
        FigureTooLargeError: a result would need more than 28 digits.
    """
    unit = UNITS[decimals]
    exact = list(figures)
    shown = [_quantized(snapped(figure), decimals, ROUND_FLOOR) for figure in exact]
    wanted = half_up(sum(exact, ZERO), decimals) if total is None else total
    missing = int((wanted - sum(shown, ZERO)).scaleb(decimals))
    if not missing:
        return tuple(shown)
    # Rounded, for figures of different size that lose the same may differ in the last of their 34 digits.
    lost = [round(figure - floor, decimals + _DIGITS_OF_A_LOSS) for figure, floor in zip(exact, shown, strict=True)]
    ranking = sorted(range(len(shown)), key=lost.__getitem__, reverse=True)
    while missing:  # with a given total a unit may be missing to each, or one be too many
        step = 1 if missing > 0 else -1
        for index in ranking[:missing] if missing > 0 else ranking[missing:]:
            shown[index] += unit * step
            missing -= step
    return tuple(shown)


def known(figure: Decimal, decimals: int) -> Decimal:
    """The figure with at most so many decimals, and at most 28 digits; unlike `plain`, of any size.

    >>> known(Decimal("0.123456"), 4), known(Decimal("12345678901234567890.5678"), 12)
    (Decimal('0.1235'), Decimal('12345678901234567890.5678'))
    """
    left = _SNAP.prec - figure.adjusted() - 1
    return plain(figure, min(decimals, left)) if left >= 0 else snapped(figure)


def share_of(part: Decimal, whole: Decimal) -> Decimal | None:
    """Part ÷ whole; None if the whole is 0."""
    return part / whole if whole else None


def plain(figure: Decimal, decimals: int = QUANTITY_DECIMALS) -> Decimal:
    """The figure with at most so many decimals, without trailing zeros or exponent.

    >>> plain(Decimal("1E+2")), plain(Decimal("1.50"))
    (Decimal('100'), Decimal('1.5'))
    """
    rounded = half_up(figure, decimals).normalize(EXACT)
    return rounded.quantize(ONE) if rounded == rounded.to_integral_value() else rounded
