"""Pools of overhead, and the bases they are spread over."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.cost_classes import CostClass
from service.domain.values.declared import Line, Name, declared
from service.domain.values.kinds import Kind


class BatchVolume(NamedTuple):
    """Hours of all machines, hours of all labour and good pieces of a batch, sub-assemblies included."""

    machine_hours: Decimal
    labour_hours: Decimal
    pieces: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class OverheadBaseTraits:
    """The base of a pool: a quantity of the batch with its unit, or else the heading whose value is charged."""

    quantity: Callable[[BatchVolume], Decimal] | None = None
    unit: str = ""
    charged: CostClass | None = None


class OverheadBase(Kind):
    """The base on which a pool of overhead is absorbed."""

    traits: OverheadBaseTraits

    MACHINE_HOUR = "machine_hour", OverheadBaseTraits(quantity=lambda batch: batch.machine_hours, unit="h")
    LABOUR_HOUR = "labour_hour", OverheadBaseTraits(quantity=lambda batch: batch.labour_hours, unit="h")
    PIECE = "piece", OverheadBaseTraits(quantity=lambda batch: batch.pieces, unit="piece")
    DIRECT_MATERIAL_VALUE = "direct_material_value", OverheadBaseTraits(charged=CostClass.DIRECT_MATERIAL)
    DIRECT_LABOUR_VALUE = "direct_labour_value", OverheadBaseTraits(charged=CostClass.DIRECT_LABOUR)

    @property
    def is_value(self) -> bool:
        """Whether the base is a value, so that the pool is a share of a subtotal."""
        return self.traits.charged is not None


@declared
class Overhead:
    """A pool of cost that no product causes alone, absorbed on a base.

    Attributes:
        name: what is in the pool, for instance "rent and insurance".
        base: the base it is spread over. Pieces are the good pieces of the product and of its sub-assemblies.
        variable: whether its cost varies with the volume; fixed if not.
        note: anything worth knowing.
    """

    name: Name
    base: OverheadBase
    variable: bool = False
    note: Line = ""
