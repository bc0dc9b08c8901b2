"""Applying a repricing during concurrent changes, and to more listings than one read fetches."""

from datetime import date

import pytest

from service.domain.listing.repricing import RepricingRequest, RepricingScope
from service.domain.values.references import Thing
from service.encoding import encoded
from service.store.engine.database import Database
from service.store.listing import prices_in_force
from service.store.listing.prices_in_force import Narrowing
from service.store.registering import registrations
from service.store.workshop.workshops import lock_workshop, next_revision
from service.workflows.errors import StalePreviewError
from service.workflows.listing import listings, repricing, repricing_records
from service.workflows.listing.listings import ListingQuestion
from service.workflows.listing.repricing import Application
from tests.api.repriced import MONDAY
from tests.domain.examples import TODAY
from tests.support import builders
from tests.workflows.listing.repriced import previewed
from tests.workflows.owner import Owner

REQUEST = RepricingRequest(as_of=TODAY)


def apply(owner: Owner, request: RepricingRequest = REQUEST) -> Application:
    return repricing.apply(owner.workspace, request, lambda _: True)


@pytest.fixture
def selling(furnished: Owner) -> Owner:
    furnished.put("listings/sheet-online", builders.listing())
    return furnished


class TestWhileOthersChangeTheWorkshop:
    @pytest.mark.parametrize("times", [0, 1, 2, 3])
    def test_it_computes_again_and_in_the_end_locks_the_workshop(self, selling: Owner, times: int) -> None:
        """After each look somebody changes the price of flakes; the last price counts."""
        looks: list[str | None] = []

        def interrupted(tag: str | None) -> bool:
            looks.append(tag)
            if len(looks) <= times:
                selling.put_rate("materials/hdpe", "2026-11-01", builders.material_rate(f"{len(looks)}.50"))
            return True

        done = repricing.apply(selling.workspace, REQUEST, interrupted)

        assert len(looks) == len(set(looks)) == times + 1
        assert done.repricing is not None
        assert done.repricing.tag == looks[-1]
        assert apply(selling).repricing is None  # the applied prices already follow from the last rates

    def test_it_is_refused_once_the_preview_is_out_of_date(self, selling: Owner) -> None:
        seen: list[str | None] = []

        def as_at_first(tag: str | None) -> bool:
            seen.append(tag)
            if len(seen) == 1:
                selling.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("2"))
            return tag == seen[0]

        with pytest.raises(StalePreviewError):
            repricing.apply(selling.workspace, REQUEST, as_at_first)

        assert repricing_records.list_repricings(selling.workspace, before=None, limit=9) == []


MANY = 1203


def sell_many(owner: Owner) -> None:
    """Store so many listings, in one transaction, that it takes three reads to fetch them."""
    owner.put("listings/l", builders.listing())
    workshop_id = owner.workshop_id
    with owner.database.writing() as connection:
        lock_workshop(connection, workshop_id)
        found = registrations.find_registration(connection, workshop_id, Thing("listings", "l"))
        assert found is not None
        revision = next_revision(connection, workshop_id)
        for place in range(MANY - 1):
            registrations.save_registrations(
                connection, workshop_id, {Thing("listings", f"l-{place:04}"): found.facts}, revision
            )


def codes_of(database: Database, owner: Owner, after: str = "") -> list[str]:
    with database.reading() as connection:
        parts = prices_in_force.listings_with_prices(connection, owner.workshop_id, Narrowing(), TODAY, after)
        return [row.code for rows in parts for row in rows]


def test_more_listings_than_are_read_at_a_time_are_all_priced_listed_and_rolled_back(furnished: Owner) -> None:
    sell_many(furnished)

    first = apply(furnished)
    furnished.put_rate("materials/hdpe", TODAY.isoformat(), builders.material_rate("0.90"))
    second = apply(furnished)

    assert first.figures.summary.first == second.figures.summary.changed == MANY
    assert second.repricing is not None
    database, workspace = furnished.database, furnished.workspace
    told, after = [], ""
    while page := repricing_records.list_changes(workspace, second.repricing.id, after=after, limit=500):
        told += [code for code, _ in page]
        after = told[-1]
    assert told == codes_of(database, furnished)
    assert len(told) == MANY
    assert codes_of(database, furnished, told[700]) == told[701:]
    repricing_records.roll_back(workspace, second.repricing.id)
    again = apply(furnished)
    assert again.figures.summary.changed == MANY


@pytest.mark.parametrize("first", ["brick", "slab"])
def test_two_products_sold_and_shipped_alike_each_bear_shipping_for_their_own_weight(owner: Owner, first: str) -> None:
    """It holds whichever of the two listings comes first by code."""
    builders.register_shipping(owner, rate=builders.shipping_rate(divisor_cm3_per_kg="200000"))
    owner.register("products/slab", builders.measured(name="Slab", mass_kg="12"))
    owner.put_rate("channels/quay-market", "2026-01-01", builders.channel_rate(shipping_paid_by="seller"))
    products = {"a": first, "b": "slab" if first == "brick" else "brick"}
    for code, product in products.items():
        sent = {"shipping_service": "post", "shipping_zone": "home"}
        owner.register(f"listings/{code}", builders.listing(product=product, **sent))

    changes = previewed(owner).changes

    question = ListingQuestion(as_of=date.fromisoformat(MONDAY))
    asked = {code: listings.price_listing(owner.workspace, code, question).price_per_piece.price for code in products}
    assert {code: change["new"]["price"] for code, change in changes.items()} == encoded(asked)
    assert asked["a"] != asked["b"]


def test_the_recorded_request_has_the_scope_that_was_asked_for(selling: Owner) -> None:
    request = RepricingRequest(as_of=TODAY, scope=RepricingScope(resources=("tariffs/grid",)))

    done = apply(selling, request)

    assert done.repricing is not None
    found = repricing_records.find_repricing(selling.workspace, done.repricing.id)
    assert found == done.repricing
    assert found.request == request
