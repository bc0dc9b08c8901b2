"""The learning curve: how labour time falls as more pieces of a new product are made."""

from decimal import Decimal, localcontext
from enum import StrEnum
from typing import Annotated

from service.domain.values.declared import Bounds, declared
from service.domain.values.exact import EXACT, ONE, ZERO, exactly, whole_down
from service.domain.values.traced import traced

_TWO = Decimal(2)
_HALF = ONE / _TWO
_ADDED_ONE_BY_ONE = 64
"""The most pieces summed one by one; more are summed by a formula with an error below the digits kept."""
_BERNOULLI = (
    *((1, 6), (-1, 30), (1, 42), (-1, 30), (5, 66), (-691, 2730), (7, 6), (-3617, 510), (43867, 798)),
    *((-174611, 330), (854513, 138), (-236364091, 2730)),
)
"""B2, B4 and so on to B24, as numerator and denominator.

Source: NIST Digital Library of Mathematical Functions, table 24.2.1 (figures from memory).
"""
_MORE_DIGITS = 16


class LearningModel(StrEnum):
    """Which time falls to the rate with every doubling of the pieces."""

    CUMULATIVE_AVERAGE = "cumulative_average"
    UNIT = "unit"


@declared
class LearningCurve:
    """How labour time falls for a product that is new to the workshop.

    Attributes:
        rate_share: the share of the time left after every doubling, for instance "0.90"; 1 is no learning. At 0.5 a
            second piece would take no time by the cumulative average.
        pieces_before: good pieces already made, from which the curve continues.
        model: the time that falls to the rate: the average of all pieces so far (cumulative_average, Wright), or that
            of the piece itself (unit, Crawford). Use a rate with the model that it was measured with.
    """

    rate_share: Annotated[Decimal, Bounds(above=Decimal("0.5"), at_most=1)]
    pieces_before: Annotated[Decimal, Bounds(at_least=0, at_most=1_000_000_000)] = ZERO
    model: LearningModel = LearningModel.CUMULATIVE_AVERAGE


@traced("log2")
def learning_index(rate_share: Decimal) -> Decimal:
    """The exponent of both models, b = log2(rate); 0 or negative."""
    return rate_share.ln() / _TWO.ln()


def _cumulative(pieces: Decimal, index: Decimal) -> Decimal:
    """Total time of the first x pieces in units of the first piece's time:  x · x^b."""
    return pieces ** (ONE + index) if pieces else ZERO


@traced("Σ^")
def unit_times(before: Decimal, after: Decimal, index: Decimal) -> Decimal:
    """Total time of the pieces after `before` up to `after`, in units of the first piece's time:  Σ i^b.

    A fraction of a piece takes that fraction of its time. Up to 64 pieces are summed one by one; of more, those beyond
    the 64th by the Euler-Maclaurin formula with twelve corrections, with an error below 10^-40.

    Source: NIST Digital Library of Mathematical Functions, 2.10(i), Euler-Maclaurin formula.
    """
    with localcontext(EXACT) as context:
        context.prec += _MORE_DIGITS
        if after - before <= _ADDED_ONE_BY_ONE:
            found = _one_by_one(before, after, index)
        else:
            found = _of_first(after, index) - _of_first(before, index)
    return EXACT.plus(found)


def _one_by_one(before: Decimal, after: Decimal, index: Decimal) -> Decimal:
    """Σ i^b, piece by piece, with fractions of the first and the last."""
    found, piece = ZERO, whole_down(before) + ONE
    while piece - ONE < after:
        part = min(piece, after) - max(piece - ONE, before)
        found += part * piece**index
        piece += ONE
    return found


def _of_first(pieces: Decimal, index: Decimal) -> Decimal:
    """Σ i^b of the first pieces."""
    begin, last = Decimal(_ADDED_ONE_BY_ONE), whole_down(pieces)
    if last <= begin:
        return _one_by_one(ZERO, pieces, index)
    beyond = (last ** (ONE + index) - begin ** (ONE + index)) / (ONE + index)
    beyond += (last**index - begin**index) * _HALF
    slope, power, factorial = index, index - ONE, _TWO
    for place, (numerator, denominator) in enumerate(_BERNOULLI, start=1):
        corrected = slope * (last**power - begin**power)
        beyond += Decimal(numerator) / Decimal(denominator) / factorial * corrected
        slope *= power * (power - ONE)
        power -= _TWO
        factorial *= Decimal(2 * place + 1) * Decimal(2 * place + 2)
    return _one_by_one(ZERO, begin, index) + beyond + (pieces - last) * (last + ONE) ** index


def model_of(curve: LearningCurve | None) -> str:
    """The name of the curve's model; empty where there is no curve."""
    return "" if curve is None else curve.model.value


@exactly
def learning_factor(curve: LearningCurve | None, pieces: Decimal) -> Decimal:
    """The average labour time of these pieces as a share of the first piece's.

    With x pieces made before, n now and b = log2(rate): cumulative average  [(x+n)^(1+b) − x^(1+b)] ÷ n;  unit model
    Σ i^b ÷ n,  i from x+1 to x+n. 1 if less than one piece has been made in all.

    Source: T. P. Wright, 'Factors Affecting the Cost of Airplanes', Journal of the Aeronautical Sciences 3(4), 1936
        (cumulative average a·x^b). The unit model is named after J. R. Crawford, Lockheed, 1944 (from memory).
    """
    if curve is None or curve.rate_share == 1 or curve.pieces_before + pieces <= 1:
        return ONE
    index = learning_index(curve.rate_share)
    before, after = curve.pieces_before, curve.pieces_before + pieces
    if curve.model is LearningModel.UNIT:
        return unit_times(before, after, index) / pieces
    return (_cumulative(after, index) - _cumulative(before, index)) / pieces
