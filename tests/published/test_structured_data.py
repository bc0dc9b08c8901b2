"""Price lists as structured data, checked against the published definitions of the vocabulary.

Schema.org vocabulary, release 30.1, W3C Schema.org Community Group, 2026 (`schema_org.json`).
UN/ECE Recommendation No. 20, Codes for Units of Measure Used in International Trade: common codes.
"""

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.documents.listing.price_list import price_list_json_ld
from service.domain.listing.listings import Availability
from service.domain.listing.price_list import PriceListEntry
from service.domain.selling.channels import Display
from service.domain.selling.seller import Seller
from service.domain.values.money import in_currency
from service.encoding import decoded
from tests.documents.entries import beam, entries
from tests.domain.strategies import tried
from tests.published.vocabulary import violations
from tests.support import builders

UNIT_CODES = {"kg": "KGM", "m": "MTR", "m2": "MTK", "m3": "MTQ", "mm": "MMT"}


def published(*listed: PriceListEntry, seller: Seller | None = None) -> Any:
    return json.loads(b"".join(price_list_json_ld(listed, seller)))


def quantity(value: Decimal, unit: str) -> dict[str, str]:
    return {"@type": "QuantitativeValue", "value": f"{value:f}", "unitCode": UNIT_CODES[unit]}


class TestAPriceList:
    @tried
    @given(st.lists(entries(), max_size=4))
    def test_keeps_to_the_vocabulary(self, listed: list[PriceListEntry]) -> None:
        assert violations(published(*listed)) == []

    @pytest.mark.parametrize(
        "seller", [Seller(name="Kiln Lane"), decoded(builders.seller(), Seller)], ids=["bare", "full"]
    )
    def test_names_the_seller_once_and_where_to_see_and_have_it(self, seller: Seller) -> None:
        known = {"url": "https://shop.example/beam", "image": "https://shop.example/beam.png"}
        entry = beam(price=in_currency(Decimal(5), "EUR"), availability=Availability.MADE_TO_ORDER, **known)

        document = published(entry, seller=seller)

        organization, product = document["@graph"]
        assert violations(document) == []
        assert product["offers"]["seller"] == {"@id": organization["@id"]} == {"@id": seller.url or "#seller"}
        assert product["offers"]["availability"] == "https://schema.org/MadeToOrder"
        assert (product["url"], product["offers"]["url"], product["image"]) == (
            known["url"],
            known["url"],
            known["image"],
        )
        assert organization["name"] == seller.name
        assert organization.get("address", {}).get("addressCountry") == seller.address.country

    @tried
    @given(entries())
    def test_gives_every_figure_exactly_and_nothing_that_is_not_known(self, entry: PriceListEntry) -> None:
        (product,) = published(entry)["@graph"]

        figures = {"weight": (entry.mass_kg, "kg"), "depth": (entry.length_mm, "mm"), "width": (entry.width_mm, "mm")}
        for name, (value, unit) in {**figures, "height": (entry.height_mm, "mm")}.items():
            assert product.get(name) == (None if value is None else quantity(value, unit))
        assert (product["sku"], product["name"]) == (entry.product, entry.name)
        assert product.get("description", "") == entry.description
        assert (product.get("url", ""), product.get("image", "")) == (entry.url, entry.image)
        assert tuple(each["value"] for each in product.get("additionalProperty", [])) == tuple(
            each.text for each in entry.cautions
        )
        assert ("offers" in product) == (entry.price is not None)

    @tried
    @given(entries(priced=True))
    def test_offers_at_the_price_displayed_and_the_unit_price(self, entry: PriceListEntry) -> None:
        assert entry.price is not None
        (product,) = published(entry)["@graph"]

        offer = product["offers"]
        asked, *of_a_unit = offer["priceSpecification"]
        price = {"price": f"{entry.price.amount:f}", "priceCurrency": entry.currency}
        assert {name: offer[name] for name in price} == {name: asked[name] for name in price} == price
        assert asked["valueAddedTaxIncluded"] is (entry.display is Display.TAX_INCLUSIVE)
        assert offer["identifier"] == entry.listing
        assert len(of_a_unit) == (entry.unit_price is not None)
        if entry.unit_price is not None:
            assert of_a_unit[0] == {
                "@type": "UnitPriceSpecification",
                "price": f"{entry.unit_price.price.amount:f}",
                "priceCurrency": entry.currency,
                "valueAddedTaxIncluded": True,
                "referenceQuantity": quantity(Decimal(1), entry.unit_price.measure),
            }
        weight = entry.shipping_weight_kg
        assert offer.get("shippingDetails", {}).get("weight") == (None if weight is None else quantity(weight, "kg"))


def _graph(node: dict[str, Any]) -> dict[str, Any]:
    return {"@context": "https://schema.org", "@graph": [node]}


class TestTheCheckItself:
    @pytest.mark.parametrize(
        ("document", "told"),
        [
            ([], "an object with the context"),
            ({"@graph": []}, "an object with the context"),
            ({"@context": "https://schema.example", "@graph": []}, "an object with the context"),
            (_graph({"name": "no type"}), "not of a known type"),
            (_graph({"@type": "Produkt"}), "not of a known type"),
            (_graph({"@type": "Product", "cost": "1"}), "cost: no such property"),
            (_graph({"@type": "Product", "price": "1"}), "price: not a property of Product"),
            (_graph({"@type": "Offer", "weight": "1"}), "weight: not a property of Offer"),
            (_graph({"@type": "Product", "isAccessoryOrSparePartFor": 1}), "is none of ['Product']"),
            (_graph({"@type": "Product", "reviews": []}), "reviews: superseded by review"),
            (_graph({"@type": "Product", "name": 5}), "name: 5 is none of ['Text']"),
            (_graph({"@type": "Product", "name": None}), "name: None is none of ['Text']"),
            (_graph({"@type": "Product", "weight": "5 kg"}), "weight: '5 kg' is none of"),
            (_graph({"@type": "Product", "offers": [{"@type": "Product"}]}), "offers: "),
            (_graph({"@type": "Product", "offers": {"@type": "Offer", "oops": "1"}}), "oops: no such property"),
            (_graph({"@type": "Product", "sameAs": "not an address"}), "is none of ['URL']"),
            (_graph({"@type": "UnitPriceSpecification", "valueAddedTaxIncluded": "yes"}), "is none of ['Boolean']"),
        ],
        ids=range(17),
    )
    def test_finds_what_the_definitions_do_not_allow(self, document: Any, told: str) -> None:
        assert told in "\n".join(violations(document))

    @pytest.mark.parametrize(
        "node",
        [
            {"@type": "Product", "name": "beam", "sameAs": "https://beams.example/1"},
            {"@type": "AggregateOffer", "price": 5, "priceSpecification": {"@type": "UnitPriceSpecification"}},
        ],
        ids=["texts", "subclasses"],
    )
    def test_accepts_what_the_definitions_allow(self, node: dict[str, Any]) -> None:
        assert violations(_graph(node)) == []
