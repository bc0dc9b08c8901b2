"""Quantity breaks: batch sizes at which the price of a piece, or unit, has fallen enough to be offered."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds, declared
from service.domain.values.exact import ONE, exactly, plain
from service.domain.values.units import SoldQuantity, Unit

_PREFERRED = tuple(map(Decimal, ("1", "1.2", "1.5", "2", "2.5", "3", "4", "5", "6", "8")))
"""The more rounded preferred numbers with ten steps a decade.

Source: ISO 497:1973, series R″10 (figures from memory).
"""


@declared
class AutomaticBreaks:
    """Which quantity breaks to find.

    Attributes:
        least_fall_share: by how much the price of a piece, or unit, must have fallen since the batch before, for
            instance "0.05".
        up_to: the largest batch that is looked at.
    """

    least_fall_share: Annotated[Decimal, Bounds(above=0, below=1)]
    up_to: SoldQuantity


def preferred_quantities(above: Decimal, up_to: Decimal, unit: Unit = Unit.PIECE) -> Iterator[Decimal]:
    """Round batch sizes above a quantity, each about a quarter more: the numbers of the series R″10 that the unit has.

    >>> [str(each) for each in preferred_quantities(Decimal(90), Decimal(260))]
    ['100', '120', '150', '200', '250']
    >>> [str(each) for each in preferred_quantities(Decimal("0.5"), Decimal("1.2"), Unit.KILOGRAM)]
    ['0.6', '0.8', '1', '1.2']
    """
    decade = unit.least
    while decade <= up_to:
        for number in _PREFERRED:
            quantity = plain(number * decade)
            if unit.problem(quantity) is None and above < quantity <= up_to:
                yield quantity
        decade *= 10


@exactly
def quantity_breaks(
    price_of: Callable[[Decimal], Decimal], quantity: Decimal, wanted: AutomaticBreaks, unit: Unit, *, at_most: int
) -> tuple[Decimal, ...]:
    """The first, at most so many, round batch sizes whose price of a unit has fallen enough since the one before.

    `price_of` gives the price of a unit in a batch; the first break is compared with the quantity.
    """
    found: list[Decimal] = []
    least = price_of(quantity)
    for candidate in preferred_quantities(quantity, wanted.up_to, unit):
        if len(found) == at_most:
            break
        price = price_of(candidate)
        if price <= least * (ONE - wanted.least_fall_share) and price < least:
            found.append(candidate)
            least = price
    return tuple(found)
