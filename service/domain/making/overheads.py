"""Pools of overhead, and the bases they are spread over."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, NamedTuple

from service.domain.making.cost_classes import CostClass
from service.domain.values.declared import Code, Distinct, Length, Line, Name, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.kinds import Kind
from service.domain.values.references import Names, Registered, Thing, references_in


class BatchVolume(NamedTuple):
    """What a batch takes of each base, sub-assemblies included: as far as a pool bears on it."""

    machine_hours: Decimal
    labour_hours: Decimal
    pieces: Decimal
    orders: Decimal
    setups: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class OverheadBaseTraits:
    """The base of a pool: a quantity of the batch with its unit, or else the heading whose value is charged.

    Attributes:
        of_machines: whether a pool on it can bear on named machines alone.
        of_products: whether it can bear on named products alone.
    """

    quantity: Callable[[BatchVolume], Decimal] | None = None
    unit: str = ""
    charged: CostClass | None = None
    of_machines: bool = False
    of_products: bool = True


class OverheadBase(Kind):
    """The base on which a pool of overhead is absorbed."""

    traits: OverheadBaseTraits

    MACHINE_HOUR = (
        "machine_hour",
        OverheadBaseTraits(quantity=lambda batch: batch.machine_hours, unit="h", of_machines=True),
    )
    LABOUR_HOUR = (
        "labour_hour",
        OverheadBaseTraits(quantity=lambda batch: batch.labour_hours, unit="h", of_machines=True),
    )
    PIECE = "piece", OverheadBaseTraits(quantity=lambda batch: batch.pieces, unit="piece")
    ORDER = "order", OverheadBaseTraits(quantity=lambda batch: batch.orders, unit="order")
    SETUP = "setup", OverheadBaseTraits(quantity=lambda batch: batch.setups, unit="setup", of_machines=True)
    DIRECT_MATERIAL_VALUE = (
        "direct_material_value",
        OverheadBaseTraits(charged=CostClass.DIRECT_MATERIAL, of_products=False),
    )
    DIRECT_LABOUR_VALUE = (
        "direct_labour_value",
        OverheadBaseTraits(charged=CostClass.DIRECT_LABOUR, of_products=False),
    )

    @property
    def is_value(self) -> bool:
        """Whether the base is a value, so that the pool is a share of a subtotal."""
        return self.traits.charged is not None


_Named = Length(at_most=100)


@declared
class Overhead:
    """A pool of cost that no product causes alone, absorbed on a base.

    Attributes:
        name: what is in the pool, for instance "rent and insurance".
        base: the base it is spread over. Pieces are the good pieces, or units, of the product and of its
            sub-assemblies. An order is what is ordered together: a batch or a quotation is one; the batch of a listing
            is as many as it is sold in. A setup is an operation that is set up, once a batch.
        machines: codes of the machines that it bears on; all, and work at a bench, if left out.
        products: codes of the products that it bears on, made for themselves or for others; all if left out. An order
            counts if it is for one of them.
        variable: whether its cost varies with the volume; fixed if not.
        note: anything worth knowing.
    """

    name: Name
    base: OverheadBase
    machines: Annotated[tuple[Annotated[Code, Names("machines")], ...], _Named, Distinct()] = ()
    products: Annotated[tuple[Annotated[Code, Names("products")], ...], _Named, Distinct()] = ()
    variable: bool = False
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if self.machines and not self.base.traits.of_machines:
            bases = ", ".join(base for base in OverheadBase if base.traits.of_machines)
            yield InvalidValueError(("machines",), f"needs a base that a machine has: {bases}; or leave them out")
        if self.products and not self.base.traits.of_products:
            bases = ", ".join(base for base in OverheadBase if base.traits.of_products)
            yield InvalidValueError(("products",), f"needs a base that is a quantity: {bases}; or leave them out")

    def bears_on(self, product: str, machine: str = "") -> bool:
        """Whether it bears on the work on a product, at a machine or, if that is empty, at a bench."""
        return (not self.products or product in self.products) and (not self.machines or machine in self.machines)


def needed_by(thing: Registered) -> Iterator[Thing]:
    """What a thing is made of and on; of a pool nothing, as it only bears on what it names."""
    if not isinstance(thing, Overhead):
        yield from (named for _, named in references_in(thing))
