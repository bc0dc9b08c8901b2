"""The base quantity: the pieces, or units, that a price is for (EN 16931, BT-149); and those that an order has."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import plain
from service.domain.values.units import Unit

BASE_QUANTITIES = (1, 12, 100, 1000)
BaseQuantity = Annotated[int, Bounds(at_least=1, at_most=1000)]


def base_quantity_problems(base_quantity: int) -> Iterator[InvalidValueError]:
    """A problem unless it is one of those that prices are told for."""
    if base_quantity not in BASE_QUANTITIES:
        yield InvalidValueError(("base_quantity",), f"must be one of {', '.join(map(str, BASE_QUANTITIES))}")


def sold_together_problems(
    base_quantity: int, batch: Decimal, member: str, pieces_per_order: Decimal | None = None
) -> Iterator[InvalidValueError]:
    """Problems of a price for what is sold together in one order, and whose cost is that of a batch, in any unit.

    A price for one may be for a kilogram or an hour too, of which batch and order may have parts.

    Args:
        base_quantity: pieces, or units, that the price is for.
        batch: good pieces in the batch.
        member: the member that has the batch.
        pieces_per_order: pieces that an order has; the base quantity if left out.
    """
    yield from base_quantity_problems(base_quantity)
    if base_quantity not in BASE_QUANTITIES:
        return
    if pieces_per_order is None and base_quantity > 1 and batch < base_quantity:
        reason = (
            f"must be at least the {base_quantity} that the price is for; "
            f"make the batch larger, or the base quantity smaller"
        )
        yield InvalidValueError((member,), reason)
    elif pieces_per_order is not None and batch < pieces_per_order:
        reason = f"must be at least the {plain(pieces_per_order)} of an order; make the batch larger"
        yield InvalidValueError((member,), reason)


def unit_problems(
    unit: Unit, base_quantity: int, batch: Decimal, member: str, pieces_per_order: Decimal | None = None
) -> Iterator[InvalidValueError]:
    """Problems of the same for the unit of the product: pieces are whole, and an order of them has whole prices.

    An order of anything else need not be a multiple of the base quantity: 12.5 kg at a price per 100 kg.
    """
    quantities = {member: batch} if pieces_per_order is None else {member: batch, "pieces_per_order": pieces_per_order}
    problems = {each: problem for each, quantity in quantities.items() if (problem := unit.problem(quantity))}
    yield from (InvalidValueError((each,), problem) for each, problem in problems.items())
    if unit.is_divided or problems or pieces_per_order is None:
        return
    if pieces_per_order % base_quantity:
        reason = f"must be a multiple of {base_quantity}, the {unit.several} that the price is for"
        yield InvalidValueError(("pieces_per_order",), reason)
