"""Quantity breaks: batch sizes at which the price of a piece has fallen enough to be offered."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds, Pieces, declared
from service.domain.values.exact import ONE, exactly

_PREFERRED = (10, 12, 15, 20, 25, 30, 40, 50, 60, 80)
"""The more rounded preferred numbers with ten steps a decade, times ten.

Source: ISO 497:1973, series R″10 (figures from memory).
"""


@declared
class AutomaticBreaks:
    """Which quantity breaks to find.

    Attributes:
        least_fall_share: by how much the price of a piece must have fallen since the batch before, for instance "0.05".
        up_to: the largest batch that is looked at.
    """

    least_fall_share: Annotated[Decimal, Bounds(above=0, below=1)]
    up_to: Pieces


def preferred_quantities(above: int, up_to: int) -> Iterator[int]:
    """Round batch sizes above a quantity, each about a quarter more: the whole numbers of the series R″10.

    >>> list(preferred_quantities(90, 260))
    [100, 120, 150, 200, 250]
    """
    decade = 1
    while decade <= up_to:
        for tenfold in _PREFERRED:
            quantity, rest = divmod(tenfold * decade, 10)
            if not rest and above < quantity <= up_to:
                yield quantity
        decade *= 10


@exactly
def quantity_breaks(
    price_of: Callable[[int], Decimal], quantity: int, wanted: AutomaticBreaks, *, at_most: int
) -> tuple[int, ...]:
    """The first, at most so many, round batch sizes whose price of a piece has fallen enough since the one before.

    `price_of` gives the price of a piece in a batch; the first break is compared with the quantity.
    """
    found: list[int] = []
    least = price_of(quantity)
    for candidate in preferred_quantities(quantity, wanted.up_to):
        if len(found) == at_most:
            break
        price = price_of(candidate)
        if price <= least * (ONE - wanted.least_fall_share) and price < least:
            found.append(candidate)
            least = price
    return tuple(found)
