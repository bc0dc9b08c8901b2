"""What a price list says of a listing, ready to be written in any form."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.listing.unit_price import UnitPrice
from service.domain.selling.channels import Display
from service.domain.values.money import Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceListEntry:
    """A listing and its price; where there is a problem, it has none.

    Attributes:
        listing: its code.
        product: code of the product.
        name: what the product is called.
        description: anything more that buyers read; may be empty.
        channel: code of the sales channel.
        locale: in which prices are formatted.
        as_of: the date of the rates.
        currency: of every amount.
        price: as displayed on the channel.
        display: whether the price contains the tax.
        gross_price: with tax.
        net_price: without tax.
        tax_share: the tax as a share of the net price.
        unit_price: for a kilogram, a metre, a square or a cubic metre, if the listing shows one.
        shipping_weight_kg: what a piece weighs when it is shipped, packaging included, if known.
        mass_kg: what a piece weighs.
        length_mm: its longest side.
        width_mm: its second side.
        height_mm: its third side.
        cash_price: what is paid in cash, where cash is rounded.
        margin_share: profit ÷ net price; none at a net price of 0.
        formatted_price: the price in the listing's locale.
        formatted_unit_price: the unit price in the listing's locale.
        cautions: those that concern the product.
        problem: why it has no price.
    """

    listing: str
    product: str
    name: str
    description: str = ""
    channel: str
    locale: str
    as_of: date
    currency: str
    price: Money | None = None
    display: Display | None = None
    gross_price: Money | None = None
    net_price: Money | None = None
    tax_share: Decimal | None = None
    unit_price: UnitPrice | None = None
    shipping_weight_kg: Decimal | None = None
    mass_kg: Decimal | None = None
    length_mm: Decimal | None = None
    width_mm: Decimal | None = None
    height_mm: Decimal | None = None
    cash_price: Money | None = None
    margin_share: Decimal | None = None
    formatted_price: str | None = None
    formatted_unit_price: str | None = None
    cautions: tuple[str, ...] = ()
    problem: str | None = None
