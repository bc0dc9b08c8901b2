"""The collections that a workshop registers; the store, the workflows and the interface read them."""

from collections.abc import Iterable
from dataclasses import dataclass

from service.domain.costing.rates import (
    LabourRate,
    MachineRate,
    MaterialRate,
    OverheadRate,
    RateTerms,
    TariffRate,
    ToolRate,
)
from service.domain.listing.listings import Listing
from service.domain.making.overheads import Overhead
from service.domain.making.products import Product
from service.domain.making.resources import LabourGrade, Machine, Material, Tariff, Tool
from service.domain.scheduling.working_time import Closure
from service.domain.selling.channels import Channel, ChannelRate
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.shipping.services import ShippingService
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.values.references import Registered, Thing
from service.nearest import nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixed:
    """A field that must not change while something rests on it, because it gives that its meaning.

    Attributes:
        member: its name.
        rates: whether the dated rates of the thing rest on it.
        users: collections of which those rest on it that name the thing.
        quotations: whether quotations rest on it that name the thing and are not finished.
    """

    member: str
    rates: bool = False
    users: tuple[str, ...] = ()
    quotations: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Collection:
    """A kind of thing registered under codes of the workshop's own.

    Attributes:
        name: as in addresses, for instance "labour-grades".
        noun: singular, for messages.
        terms: of its dated rates; None if it has none.
        fixed: fields that must not change while something rests on them.
    """

    name: str
    noun: str
    facts: type[Registered]
    terms: type[RateTerms] | None = None
    fixed: tuple[Fixed, ...] = ()


COLLECTIONS = {
    collection.name: collection
    for collection in (
        Collection(
            name="materials",
            noun="material",
            facts=Material,
            terms=MaterialRate,
            fixed=(Fixed(member="unit", rates=True, users=("products",)),),
        ),
        Collection(name="machines", noun="machine", facts=Machine, terms=MachineRate),
        Collection(name="labour-grades", noun="labour grade", facts=LabourGrade, terms=LabourRate),
        Collection(
            name="tariffs", noun="tariff", facts=Tariff, terms=TariffRate, fixed=(Fixed(member="bands", rates=True),)
        ),
        Collection(
            name="overheads",
            noun="overhead pool",
            facts=Overhead,
            terms=OverheadRate,
            fixed=(Fixed(member="base", rates=True),),
        ),
        Collection(name="tools", noun="tool", facts=Tool, terms=ToolRate),
        Collection(name="taxes", noun="tax", facts=Tax, terms=TaxRate, fixed=(Fixed(member="category", rates=True),)),
        Collection(name="channels", noun="sales channel", facts=Channel, terms=ChannelRate),
        Collection(name="shipping-services", noun="shipping service", facts=ShippingService, terms=ShippingRate),
        Collection(
            name="products",
            noun="product",
            facts=Product,
            fixed=(Fixed(member="unit", users=("listings", "products"), quotations=True),),
        ),
        Collection(name="listings", noun="listing", facts=Listing),
        Collection(name="closures", noun="closure", facts=Closure),
    )
}


def did_you_mean(thing: Thing, among: Iterable[str] = COLLECTIONS) -> str:
    """The end of a refusal of a thing in an unknown collection, with the nearest of these; empty if none is near."""
    found = nearest(thing.collection, among)
    return "" if found is None else f"; did you mean '{found}/{thing.code}'?"


RESOURCES = ("materials", "machines", "labour-grades", "tariffs", "tools", "overheads")
"""Collections that a batch consumes."""
CONDITIONS = ("channels", "taxes", "shipping-services")
"""Collections with rates that a sale depends on."""
