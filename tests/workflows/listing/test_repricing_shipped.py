"""Repricing of listings that are sent: those that cost the same to send share the conditions of their sale."""

from datetime import date

import pytest

from service.store.listing import repricings
from service.workflows.listing.listings import ListingQuestion, price_listing
from tests.api.repriced import FIRST, MONDAY
from tests.support import builders
from tests.support.furnishing import furnishes
from tests.workflows.listing.repriced import applied, previewed
from tests.workflows.owner import Owner

MASSES = {"clip": "0.4", "peg": "0.9", "post": "1.6", "beam": "3", "pole": "4"}
"""Clip and peg are in one class, the post in the next; what weighs more than 2 kg is not taken."""


@pytest.fixture
@furnishes
def sender(owner: Owner) -> Owner:
    owner.register("materials/chips", builders.material(), **{FIRST: builders.material_rate("2.50")})
    classes = [builders.weight_class("0", "1", "5.00"), builders.weight_class("1", "2", "8.00")]
    for code in ("post", "courier"):
        owner.register(
            f"shipping-services/{code}",
            builders.shipping_service(boxes=[]),
            **{FIRST: builders.shipping_rate(zones={"home": classes})},
        )
    owner.register("channels/shop", builders.channel(), **{FIRST: builders.channel_rate()})
    for product, mass_kg in MASSES.items():
        line = {"material": "chips", "quantity_per_piece": mass_kg}
        facts = builders.measured(name=product, mass_kg=mass_kg, bill_of_materials=[line], operations=[])
        owner.put(f"products/{product}", facts)
        owner.put(f"listings/{product}", on_sale(product))
    return owner


def on_sale(product: str, service: str = "post", **changes: object) -> dict[str, object]:
    sent = {"shipping_service": service, "shipping_zone": "home"}
    return builders.listing(product=product, channel="shop", tax=None, **sent, **changes)


def test_each_price_is_that_of_its_own_price_sheet(sender: Owner) -> None:
    sender.put("listings/clip-dear", on_sale("clip", policy=builders.policy(value="0.5")))
    prices = {code: change["new"]["price"] for code, change in previewed(sender).changes.items() if change["new"]}

    assert set(prices) == {"clip", "clip-dear", "peg", "post"}
    for code, price in prices.items():
        sheet = price_listing(sender.workspace, code, ListingQuestion(as_of=date.fromisoformat(MONDAY)))
        assert price == {"amount": str(sheet.price_per_piece.price.amount), "currency": "EUR"}


def test_what_no_parcel_holds_says_so_for_its_own_product(sender: Owner) -> None:
    found = previewed(sender)

    for code in ("beam", "pole"):
        assert found.decisions[code] == "unpriced"
        assert f"'{code}'" in found.changes[code]["problem"]


def test_services_of_one_price_are_both_among_the_rates_that_a_repricing_used(sender: Owner) -> None:
    sender.put("listings/clip", on_sale("clip", "courier"))

    recorded = applied(sender).id

    assert recorded is not None
    with sender.database.reading() as connection:
        rates = repricings.get_basis(connection, sender.workshop_id, recorded).card.rates
    assert {"shipping-services/post", "shipping-services/courier"} <= rates.keys()
