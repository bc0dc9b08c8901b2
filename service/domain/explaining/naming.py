"""What the figures of a product are called in workings, by the unit that it is made and sold by."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """The names of figures that depend on the unit.

    Attributes:
        fields: those of stated facts, by field, where they have other names than for pieces.
    """

    batch: str
    made: str
    started: str
    contained: str
    amount: str
    cost: str
    sums: str
    fields: Mapping[str, str] = field(default_factory=dict)


_OF_PIECES = Naming(
    batch="good pieces in the batch",
    made="pieces to make",
    started="pieces started",
    contained="in good pieces",
    amount="amount a piece",
    cost="Cost of a piece",
    sums="Sums of a piece",
)


def naming(unit: Unit) -> Naming:
    """The names for products by the piece, or by another unit."""
    if unit is Unit.PIECE:
        return _OF_PIECES
    return Naming(
        batch="quantity of the batch",
        made="quantity to make",
        started="quantity started",
        contained="in the good quantity",
        amount=f"amount per {unit.sign}",
        cost=f"Cost per {unit.sign}",
        sums=f"Sums per {unit.sign}",
        fields={
            "quantity_per_piece": f"quantity per {unit.sign}",
            "pieces_per_cycle": "quantity a cycle",
            "pieces_before": "quantity made before",
        },
    )
