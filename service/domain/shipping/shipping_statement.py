"""A shipping estimate as shown: the parcels, the reasons for their classes, and totals that add up."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.currency.exchange_rates import UsedRates
from service.domain.safety.cautions import Caution
from service.domain.shipping.estimate import Parcels, ShippingEstimate
from service.domain.shipping.packing import Block
from service.domain.shipping.shipping_rates import ParcelLimits
from service.domain.values.exact import ZERO, apportioned, exactly, plain
from service.domain.values.money import Money, minor_unit_decimals, rounded
from service.domain.values.shown import Quantity, SumOf, shown
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedParcels:
    """Parcels of one product that are all alike. Sides are outside, masses with the packaging.

    Two are equal if they differ only in the words of `packing`.

    Attributes:
        product: code of what is in them.
        count: how many there are.
        pieces: in each; of a product that is not sold by the piece the units, a part of one counted as one.
        unit: what the product is sold by.
        quantity: what is in each, in that unit; null for pieces.
        container: code of the box or pallet; null for a piece that goes as it is.
        length_mm: of each; of a pallet, of its base.
        width_mm: of each; of a pallet, of its base.
        height_mm: of each; of a pallet, with its load.
        longest_side_mm: whichever of the three it is.
        length_plus_girth_mm: the longest side and twice the sum of the other two.
        mass_kg: the actual weight of each.
        volumetric_kg: length × width × height ÷ divisor; null where the service has no divisor.
        billable_kg: the greater of the two, rounded up to the service's step.
        class_above_kg: the weight class is charged for more than this.
        class_up_to_kg: and up to this.
        reason: why this class, for people to read.
        limits: what this class and the service take at most.
        packing: how the pieces lie in each, for people to read.
        blocks: the same, block by block; they may have room for more than the pieces.
        price_per_parcel: of the class, as registered, without the fuel surcharge.
        carriage: what they cost together without the fuel surcharge.
        fuel_surcharge: on all of them.
        price: carriage and fuel surcharge.
    """

    product: str
    count: int
    pieces: int
    unit: Unit = Unit.PIECE
    quantity: Quantity | None = None
    container: str | None
    length_mm: Quantity
    width_mm: Quantity
    height_mm: Quantity
    longest_side_mm: Quantity
    length_plus_girth_mm: Quantity
    mass_kg: Quantity
    volumetric_kg: Quantity | None
    billable_kg: Quantity
    class_above_kg: Decimal
    class_up_to_kg: Decimal
    reason: str
    limits: ParcelLimits
    packing: str = field(compare=False)
    blocks: tuple[Block, ...]
    price_per_parcel: Money
    carriage: Money
    fuel_surcharge: Money
    price: Annotated[Money, SumOf(("carriage", "fuel_surcharge"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipment:
    """What an estimate is for.

    Attributes:
        service: code of the shipping service.
        name: its name.
        zone: where to.
        as_of: the date of the rates.
        valid_from: the first day of the terms used.
    """

    service: str
    name: str
    zone: str
    as_of: date
    valid_from: date


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingStatement(Shipment):
    """What it costs to ship some pieces. Each product is packed by itself: no parcel holds two products.

    Attributes:
        parcels: every kind of parcel; each piece is in exactly one parcel.
        parcel_count: how many parcels there are.
        mass_kg: what they weigh together.
        carriage: what they cost without the fuel surcharge.
        fuel_surcharge: on all of them.
        price: carriage and fuel surcharge.
        workshop_price: the same in the workshop's currency, converted unrounded and rounded once.
        exchange_rates: the published rates it was converted with; within a price sheet they stand with the sheet's.
        cautions: where a parcel is too heavy for one person.
    """

    parcels: tuple[StatedParcels, ...]
    parcel_count: int
    mass_kg: Quantity
    carriage: Money
    fuel_surcharge: Money
    price: Annotated[Money, SumOf(("carriage", "fuel_surcharge"))]
    workshop_price: Money
    exchange_rates: tuple[UsedRates, ...]
    cautions: tuple[Caution, ...]


@exactly
def shipping_statement(
    estimate: ShippingEstimate, shipment: Shipment, *, currency: str, convert: Callable[[Money], Decimal]
) -> ShippingStatement:
    """The estimate rounded so that it adds up; `convert` converts into the workshop's currency, which is given."""
    share, of = estimate.fuel_surcharge_share, estimate.currency
    exact = [amount for each in estimate.parcels for amount in (each.carriage, each.carriage * share)]
    amounts = apportioned(exact, minor_unit_decimals(of))
    carriages, surcharges = amounts[::2], amounts[1::2]
    return shown(
        ShippingStatement,
        of,
        shipment,
        estimate,
        parcels=list(map(_stated_parcels, estimate.parcels, carriages, surcharges)),
        parcel_count=sum(each.count for each in estimate.parcels),
        carriage=sum(carriages, ZERO),
        fuel_surcharge=sum(surcharges, ZERO),
        workshop_price=rounded(convert(estimate.price), currency),
        exchange_rates=(),
    )


def _stated_parcels(parcels: Parcels, carriage: Decimal, fuel_surcharge: Decimal) -> StatedParcels:
    weight_class = parcels.weight_class
    blocks = tuple(shown(Block, "", block) for block in parcels.packing.blocks)
    return shown(
        StatedParcels,
        weight_class.price.currency,
        parcels,
        parcels.measures,
        class_above_kg=weight_class.above_kg,
        class_up_to_kg=weight_class.up_to_kg,
        packing=_in_words(parcels, blocks),
        blocks=blocks,
        price_per_parcel=weight_class.price,
        carriage=carriage,
        fuel_surcharge=fuel_surcharge,
    )


def _in_words(parcels: Parcels, blocks: Iterable[Block]) -> str:
    """How the pieces lie, block by block from the bottom up."""
    if parcels.container is None:
        return "The piece goes as it is." if parcels.unit is Unit.PIECE else "It goes as it is."
    upwards = sorted(blocks, key=lambda each: each.from_bottom_mm)
    room, pieces = parcels.packing.pieces, parcels.pieces
    used = "" if room == pieces else f" There is room for {room}; {pieces} {'is' if pieces == 1 else 'are'} in it."
    if parcels.quantity is not None and parcels.quantity != room:
        unit = parcels.unit.several
        used = f" There is room for {room} {unit}; {plain(parcels.quantity)} {unit} are in it."
    return f"{'; then '.join(_stacked(each, parcels.unit) for each in upwards)}.{used}"


def _stacked(block: Block, unit: Unit) -> str:
    """For instance "9 rows of 3, 2 layers high, lying on the 125 × 250 mm side, 125 mm lengthways"."""
    length, width = block.piece_length_mm, block.piece_width_mm
    one = unit.value if unit is Unit.PIECE else unit.several
    if block.columns == block.rows == 1:
        rows, layers = (f"1 {one}" if block.layers == 1 else f"a stack of {block.layers}"), ""
    else:
        rows = f"{block.columns} {'row' if block.columns == 1 else 'rows'} of {block.rows}"
        layers = f", {block.layers} layers high" if block.layers > 1 else ""
    places = (block.from_end_mm, "along"), (block.from_side_mm, "across"), (block.from_bottom_mm, "up")
    begins = ", ".join(f"{place:f} mm {way}" for place, way in places if place)
    begins = f", beginning {begins}" if begins else ""
    return f"{rows}{layers}, lying on the {length:f} × {width:f} mm side, {length:f} mm lengthways{begins}"
