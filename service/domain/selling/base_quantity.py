"""The base quantity: the pieces that a price is for (EN 16931, BT-149); and the pieces that an order has."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import plain

BASE_QUANTITIES = (1, 12, 100, 1000)
BaseQuantity = Annotated[int, Bounds(at_least=1, at_most=1000)]


def base_quantity_problems(base_quantity: int) -> Iterator[InvalidValueError]:
    """A problem unless it is one of those that prices are told for."""
    if base_quantity not in BASE_QUANTITIES:
        yield InvalidValueError(("base_quantity",), f"must be one of {', '.join(map(str, BASE_QUANTITIES))}")


def sold_together_problems(
    base_quantity: int, batch: Decimal, member: str, pieces_per_order: Decimal | None = None
) -> Iterator[InvalidValueError]:
    """Problems of a price for pieces sold together in one order, whose cost is that of a batch.

    A price for one may be for a kilogram or an hour too, of which batch and order may have parts.

    Args:
        base_quantity: pieces that the price is for.
        batch: good pieces in the batch.
        member: the member that has the batch.
        pieces_per_order: pieces that an order has; the base quantity if left out.
    """
    yield from base_quantity_problems(base_quantity)
    if base_quantity not in BASE_QUANTITIES:
        return
    if base_quantity > 1 and batch < base_quantity:
        reason = (
            f"must be at least the {base_quantity} pieces that the price is for; "
            f"make the batch larger, or the base quantity smaller"
        )
        yield InvalidValueError((member,), reason)
    elif pieces_per_order is not None:
        if base_quantity > 1 and pieces_per_order % base_quantity:
            reason = f"must be a multiple of {base_quantity}, the pieces that the price is for"
            yield InvalidValueError(("pieces_per_order",), reason)
        elif batch < pieces_per_order:
            reason = f"must be at least the {plain(pieces_per_order)} pieces of an order; make the batch larger"
            yield InvalidValueError((member,), reason)
