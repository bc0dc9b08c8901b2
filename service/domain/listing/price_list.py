"""The entry of a listing in a price list, ready to be written in any form."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.listing.listings import Availability
from service.domain.listing.unit_price import UnitPrice
from service.domain.safety.cautions import Caution
from service.domain.selling.channels import Display
from service.domain.values.exact import ONE
from service.domain.values.money import Money
from service.domain.values.shown import Quantity
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceListEntry:
    """A listing and its price, or the problem why it has none; other members mean what they mean of listing and price.

    Attributes:
        description: anything more that buyers read; may be empty.
        unit: what the product is sold by.
        base_quantity: pieces, or units, that the price is for.
        pieces_per_order: those that are usually ordered together.
        shipping_weight_kg: what an order weighs when it is shipped, packaging included, if known.
        mass_kg: of a piece, or unit, like its sides.
        cash_price: what is paid in cash, where cash is rounded.
        cautions: those that concern the product.
        channel_name: what the workshop calls the channel.
    """

    listing: str
    product: str
    name: str
    description: str = ""
    channel: str
    channel_name: str
    locale: str
    as_of: date
    currency: str
    base_quantity: int = 1
    pieces_per_order: Quantity = ONE
    price: Money | None = None
    display: Display | None = None
    gross_price: Money | None = None
    net_price: Money | None = None
    tax_share: Decimal | None = None
    unit_price: UnitPrice | None = None
    shipping_weight_kg: Quantity | None = None
    mass_kg: Decimal | None = None
    length_mm: Decimal | None = None
    width_mm: Decimal | None = None
    height_mm: Decimal | None = None
    cash_price: Money | None = None
    margin_share: Decimal | None = None
    formatted_price: str | None = None
    formatted_unit_price: str | None = None
    url: str = ""
    image: str = ""
    availability: Availability | None = None
    cautions: tuple[Caution, ...] = ()
    problem: str | None = None
    unit: Unit = Unit.PIECE
