"""A price list for programs, streamed: CSV (RFC 4180) and structured data (schema.org, JSON-LD)."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import chain
from typing import Any

from service.documents.writing.csv_text import csv_lines, guarded
from service.domain.listing.listings import Availability
from service.domain.listing.price_list import PriceListEntry
from service.domain.listing.unit_price import UnitPrice
from service.domain.selling.channels import Display
from service.domain.selling.seller import Seller
from service.domain.values.money import Money
from service.domain.values.units import Unit
from service.encoding import encoded, to_bytes

COLUMNS = (
    "listing",
    "product",
    "name",
    "description",
    "channel",
    "channel_name",
    "locale",
    "as_of",
    "currency",
    "base_quantity",
    "pieces_per_order",
    "price",
    "display",
    "gross_price",
    "net_price",
    "tax_share",
    "unit_price",
    "unit_price_measure",
    "shipping_weight_kg",
    "mass_kg",
    "length_mm",
    "width_mm",
    "height_mm",
    "cash_price",
    "margin_share",
    "formatted_price",
    "formatted_unit_price",
    "url",
    "image",
    "availability",
    "cautions",
    "problem",
    "unit",
)
"""Columns of the CSV; every amount is in the currency of its line."""


def price_list_csv(entries: Iterable[PriceListEntry], _seller: Seller | None = None) -> Iterator[bytes]:
    """The entries as CSV; several cautions are separated by ' | '."""
    return csv_lines(COLUMNS, ([_cell(_value(entry, column)) for column in COLUMNS] for entry in entries))


def _value(entry: PriceListEntry, column: str) -> Any:
    if column == "unit_price_measure":
        return None if entry.unit_price is None else entry.unit_price.measure.value
    if column == "cautions":
        return " | ".join(each.text for each in entry.cautions)
    return getattr(entry, column)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, UnitPrice):
        return _cell(value.price)
    if isinstance(value, Money):
        return _cell(value.amount)
    if isinstance(value, Decimal):
        return f"{value:f}"
    return guarded(value) if isinstance(value, str) else str(encoded(value))


_MILLIMETRE, _KILOGRAM = "MMT", Unit.KILOGRAM.traits.code
"""Source: UN/ECE Recommendation No. 20, Codes for Units of Measure Used in International Trade, common codes."""
_SELLER = "#seller"
"""Names the seller within the document, if it has no web site."""


def price_list_json_ld(entries: Iterable[PriceListEntry], seller: Seller | None = None) -> Iterator[bytes]:
    """The entries as JSON-LD in UTF-8, each a product with its offer, streamed; first the seller, to whom offers refer.

    Figures are texts in plain notation. A listing without a price has no offer. Every < is escaped, so that the
    document can be embedded in a script element.

    Source: Schema.org vocabulary, Product, Offer, UnitPriceSpecification, OfferShippingDetails, Organization.
    """
    yield b'{"@context":"https://schema.org","@graph":['
    between = b""
    sellers = [] if seller is None else [_organization(seller)]
    for node in chain(sellers, (_product(entry, sellers) for entry in entries)):
        yield between + to_bytes(node).replace(b"<", rb"\u003c")
        between = b","
    yield b"]}\n"


def _organization(seller: Seller) -> dict[str, Any]:
    address = seller.address
    parts = {
        "streetAddress": ", ".join(address.street_lines),
        "postalCode": address.post_code,
        "addressLocality": address.city,
        "addressRegion": address.subdivision,
        "addressCountry": address.country,
    }
    told = {name: text for name, text in parts.items() if text}
    return {
        "@id": seller.url or _SELLER,
        **_node(
            "Organization",
            name=seller.name,
            url=seller.url or None,
            telephone=seller.telephone or None,
            email=seller.email or None,
            address=_node("PostalAddress", **told) if told else None,
        ),
    }


def _product(entry: PriceListEntry, sellers: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return _node(
        "Product",
        sku=entry.product,
        name=entry.name,
        description=entry.description or None,
        weight=_quantity(entry.mass_kg, _KILOGRAM),
        depth=_quantity(entry.length_mm, _MILLIMETRE),
        width=_quantity(entry.width_mm, _MILLIMETRE),
        height=_quantity(entry.height_mm, _MILLIMETRE),
        additionalProperty=[_node("PropertyValue", name="caution", value=each.text) for each in entry.cautions] or None,
        url=entry.url or None,
        image=entry.image or None,
        offers=_offer(entry, sellers),
    )


def _offer(entry: PriceListEntry, sellers: Sequence[Mapping[str, Any]]) -> dict[str, Any] | None:
    if entry.price is None:
        return None
    # The weight is that of an order: not of what is offered here, if several are usually ordered together.
    is_alone = entry.pieces_per_order == entry.base_quantity
    weight = _quantity(entry.shipping_weight_kg, _KILOGRAM) if is_alone else None
    return _node(
        "Offer",
        identifier=entry.listing,
        price=encoded(entry.price.amount),
        priceCurrency=entry.price.currency,
        eligibleQuantity=_base_quantity(entry),
        priceSpecification=list(_price_specifications(entry.price, entry)),
        url=entry.url or None,
        availability=None if entry.availability is None else _availability(entry.availability),
        seller=next(({"@id": each["@id"]} for each in sellers), None),
        shippingDetails=weight and _node("OfferShippingDetails", weight=weight),
    )


def _availability(availability: Availability) -> str:
    """The vocabulary's name, for instance InStock."""
    return f"https://schema.org/{availability.replace('_', ' ').title().replace(' ', '')}"


def _price_specifications(price: Money, entry: PriceListEntry) -> Iterator[dict[str, Any]]:
    """The price as displayed, with what it is for unless that is a piece; and the unit price, always with tax."""
    is_taxed = entry.display is Display.TAX_INCLUSIVE
    yield _price_specification(price, is_taxed=is_taxed, referenceQuantity=_base_quantity(entry))
    if entry.unit_price is not None:
        reference = _quantity(Decimal(1), Unit(entry.unit_price.measure.value).traits.code)
        yield _price_specification(entry.unit_price.price, is_taxed=True, referenceQuantity=reference)


def _base_quantity(entry: PriceListEntry) -> dict[str, Any] | None:
    """What the price is for, in the unit of the product, unless it is for a piece."""
    if entry.base_quantity == 1 and entry.unit is Unit.PIECE:
        return None
    return _quantity(Decimal(entry.base_quantity), entry.unit.traits.code)


def _price_specification(price: Money, *, is_taxed: bool, **members: Any) -> dict[str, Any]:
    return _node(
        "UnitPriceSpecification",
        price=encoded(price.amount),
        priceCurrency=price.currency,
        valueAddedTaxIncluded=is_taxed,
        **members,
    )


def _quantity(value: Decimal | None, unit_code: str) -> dict[str, Any] | None:
    return None if value is None else _node("QuantitativeValue", value=encoded(value), unitCode=unit_code)


def _node(kind: str, **members: Any) -> dict[str, Any]:
    """An object of the vocabulary, without unknown members."""
    return {"@type": kind, **{name: value for name, value in members.items() if value is not None}}
