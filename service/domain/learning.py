"""The learning curve: how run labour falls as pieces of a new product are made."""

from decimal import Decimal
from typing import Annotated

from service.domain.declared import Bounds, declared
from service.domain.exact import ONE, ZERO, exactly
from service.domain.written import traced

_TWO = Decimal(2)


@declared
class LearningCurve:
    """Wright's cumulative-average curve for a product that is new to the workshop.

    Attributes:
        rate_share: the average time left after every doubling, for instance "0.90"; 1 is no learning,
            and at 0.5 a second piece would take no time at all.
        pieces_before: good pieces already made, where the curve goes on from.
    """

    rate_share: Annotated[Decimal, Bounds(above=Decimal("0.5"), at_most=1)]
    pieces_before: Annotated[Decimal, Bounds(at_least=0, at_most=1_000_000_000)] = ZERO


@traced("log2")
def learning_index(rate_share: Decimal) -> Decimal:
    """Wright's exponent b = log2(rate); 0 or negative."""
    return rate_share.ln() / _TWO.ln()


def _cumulative(pieces: Decimal, index: Decimal) -> Decimal:
    """Total time for the first pieces, the first piece's being 1:  x · x^b."""
    return pieces ** (ONE + index) if pieces else ZERO


@exactly
def learning_factor(curve: LearningCurve | None, pieces: Decimal) -> Decimal:
    """The average run labour of these pieces as a share of the first piece's.

    With x pieces made before and n now:  [(x+n)^(1+b) − x^(1+b)] ÷ n,  b = log2(rate).
    For a lot of less than one piece in all, 1: nothing has been learnt yet.

    Source: T. P. Wright, 'Factors Affecting the Cost of Airplanes', Journal of the Aeronautical
    Sciences 3(4), 1936 (cumulative average a·x^b).
    """
    if curve is None or curve.rate_share == 1 or curve.pieces_before + pieces <= 1:
        return ONE
    index = learning_index(curve.rate_share)
    before = curve.pieces_before
    return (_cumulative(before + pieces, index) - _cumulative(before, index)) / pieces
