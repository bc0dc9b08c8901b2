"""Random entries of price lists: any text that a field accepts, every currency, with and without a price."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st
from iso4217 import Currency

from service.domain.listing.listings import Availability
from service.domain.listing.price_list import PriceListEntry
from service.domain.listing.unit_price import Measure, UnitPrice
from service.domain.safety.cautions import Caution
from service.domain.selling.base_quantity import BASE_QUANTITIES
from service.domain.selling.channels import Display
from service.domain.values.message import Message
from service.domain.values.money import Money, in_currency

DECIMALS = {each.code: each.exponent for each in Currency if each.exponent is not None}
"""Number of decimals of every currency that has a minor unit."""

texts = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=20)
formulas = st.tuples(
    st.sampled_from(["=", "+", "-", "@", "'=", "''-", "\uff1d", "'t ", '"', ",", "</script>"]), texts
).map("".join)
names = st.one_of(texts, formulas)
codes = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,9}", fullmatch=True)
measures = st.none() | st.decimals("0.000001", "99999", places=6)


def a_caution(text: str) -> Caution:
    return Caution(code="use-toy", text=Message("{text}", text=text), source="A book")


def beam(**changes: Any) -> PriceListEntry:
    """An entry without a price."""
    facts: dict[str, Any] = {
        "listing": "beam-shop",
        "product": "beam",
        "name": "beam",
        "channel": "own-shop",
        "channel_name": "Own shop",
        "locale": "en_IE",
    }
    return replace(PriceListEntry(**facts, as_of=date(2026, 11, 25), currency="EUR"), **changes)


@st.composite
def amounts_of(draw: st.DrawFn, currency: str) -> Money:
    """Any amount in whole minor units of the currency."""
    units = draw(st.integers(0, 10**6) | st.integers(0, 10**24))
    return in_currency(Decimal(units).scaleb(-DECIMALS[currency]), currency)


@st.composite
def entries(draw: st.DrawFn, *, priced: bool | None = None) -> PriceListEntry:
    """An entry with any of its optional members, or with the problem in place of a price."""
    currency, base = draw(st.sampled_from(sorted(DECIMALS))), draw(st.sampled_from(BASE_QUANTITIES))
    entry = beam(
        listing=draw(codes),
        product=draw(codes),
        name=draw(names),
        description=draw(st.just("") | names),
        channel=draw(codes),
        currency=currency,
        base_quantity=base,
        pieces_per_order=base,
        shipping_weight_kg=draw(measures),
        mass_kg=draw(measures),
        length_mm=draw(measures),
        width_mm=draw(measures),
        height_mm=draw(measures),
        url=draw(st.just("") | codes.map("https://shop.example/{}".format)),
        image=draw(st.just("") | codes.map("https://shop.example/{}.png".format)),
        availability=draw(st.none() | st.sampled_from(Availability)),
        cautions=tuple(draw(st.lists(names.map(a_caution), max_size=2))),
    )
    if not (draw(st.booleans()) if priced is None else priced):
        return replace(entry, problem=draw(names))
    price = amounts_of(currency)
    unit_price = st.builds(
        UnitPrice,
        measure=st.sampled_from(Measure),
        content=st.decimals("0.001", "10", places=3),
        price=price,
        formula=st.just("final price with tax ÷ mass_kg"),
    )
    return replace(
        entry,
        price=draw(price),
        display=draw(st.sampled_from(Display)),
        gross_price=draw(price),
        net_price=draw(price),
        tax_share=draw(st.decimals(0, 1, places=3)),
        unit_price=draw(st.none() | unit_price),
        cash_price=draw(st.none() | price),
        margin_share=draw(st.none() | st.decimals(-5, 1, places=6)),
        formatted_price=draw(names),
        formatted_unit_price=draw(st.none() | names),
    )
