"""When a price in force is replaced: small moves, great moves, confirmation, and listings that cannot be priced."""

from collections.abc import Callable
from typing import Any

import pytest

from service.domain.listing.price_change import RepricingSummary
from service.workflows.errors import NothingPricedError
from tests.api.repriced import DAY, FIRST, MONDAY
from tests.support import builders
from tests.workflows.listing.repriced import Repriced, applied, history, previewed, put_in_force, withdraw
from tests.workflows.owner import Owner

LISTINGS = {
    "margin": builders.policy(),
    "steps": builders.policy(price_step="1"),
    "fixed": builders.policy("fixed_price", "20"),
}


@pytest.fixture
def pegs(owner: Owner) -> Owner:
    """A peg takes a kilogram of resin at 6.50; at a margin of 0.35 its price in force is 10.00."""
    owner.register("materials/resin", builders.material(), **{DAY: builders.material_rate("6.50")})
    peg = {"name": "Peg", "bill_of_materials": [{"material": "resin", "quantity_per_piece": "1"}]}
    owner.register("products/peg", peg)
    owner.register("channels/fair", builders.channel(display="tax_exclusive"), **{DAY: {"currency": "EUR"}})
    for code, policy in LISTINGS.items():
        facts = builders.listing(product="peg", channel="fair", tax=None, policy=policy, standard_batch=1)
        owner.register(f"listings/{code}", facts)
    assert {code: change["new"]["price"]["amount"] for code, change in applied(owner).changes.items()} == {
        "fixed": "20.00",
        "margin": "10.00",
        "steps": "10.00",
    }
    return owner


def resin(owner: Owner, price: str) -> None:
    owner.put_rate("materials/resin", MONDAY, builders.material_rate(price))


def decided(owner: Owner, listing: str = "margin", **body: Any) -> Any:
    return previewed(owner, include_unchanged=True, **body).changes[listing]["decision"]


class TestTheLeastMove:
    def test_keeps_a_price_that_still_meets_its_policy(self, pegs: Owner) -> None:
        """At 6.44 the policy asks for 9.91, which is 0.9 % less."""
        resin(pegs, "6.44")

        assert decided(pegs) == "changed"
        assert decided(pegs, rules={"least_move_share": "0.0091"}) == "kept"
        assert decided(pegs, rules={"least_move_share": "0.009"}) == "changed"

    def test_does_not_keep_a_price_that_misses_its_policy(self, pegs: Owner) -> None:
        """At 6.51 the policy asks for 10.02; 10.00 would leave a margin of 0.349."""
        resin(pegs, "6.51")

        assert decided(pegs, rules={"least_move_share": "0.5"}) == "changed"

    def test_leaves_the_price_in_force_and_says_the_margin_it_keeps(self, pegs: Owner) -> None:
        resin(pegs, "6.44")
        rules = {"least_move_share": "0.01"}

        kept = previewed(pegs, rules=rules, include_unchanged=True).changes["margin"]
        done = put_in_force(pegs, MONDAY, rules=rules)

        assert kept["kept_margin_share"] == "0.356000"
        assert kept["move_share"] == "-0.009000"
        assert kept["new"]["price"]["amount"] == "9.91"
        assert (done.id, done.figures.summary.kept) == (None, 1)
        assert history(pegs, "margin") == ["10.00"]

    def test_does_not_apply_to_a_price_that_is_fixed_or_moves_by_a_step(self, pegs: Owner) -> None:
        resin(pegs, "6.44")

        found = previewed(pegs, include_unchanged=True)

        assert found.decisions == {"fixed": "same", "margin": "changed", "steps": "same"}
        assert found.changes["fixed"]["kept_margin_share"] == "0.678000"

    def test_is_measured_from_the_price_in_force_however_many_small_moves_were_left_out(self, pegs: Owner) -> None:
        for day, price in ((MONDAY, "6.47"), ("2026-12-01", "6.44"), ("2026-12-02", "6.41")):
            pegs.put_rate("materials/resin", day, builders.material_rate(price))
        rules = {"least_move_share": "0.01"}

        found = [decided(pegs, as_of=day, rules=rules) for day in (MONDAY, "2026-12-01", "2026-12-02")]

        assert found == ["kept", "kept", "changed"]


class TestTheGreatestMove:
    @pytest.mark.parametrize(
        ("price", "found"), [("8.125", "changed"), ("8.13", "held"), ("4.875", "changed"), ("4.86", "held")]
    )
    def test_is_itself_still_made(self, pegs: Owner, price: str, found: str) -> None:
        """At 8.125 the policy asks for 12.50, a quarter more; at 4.875 for 7.50, a quarter less."""
        resin(pegs, price)

        assert decided(pegs, rules={"greatest_move_share": "0.25"}) == found

    def test_holds_a_price_until_it_is_confirmed(self, pegs: Owner) -> None:
        resin(pegs, "9.75")
        rules = {"greatest_move_share": "0.25"}

        held = put_in_force(pegs, MONDAY, rules=rules)
        assert (held.id, held.figures.summary.held) == (None, 2)

        one = applied(pegs, MONDAY, rules=rules, confirmed=["margin"])
        assert one.decisions == {"margin": "changed", "steps": "held"}
        assert {code: history(pegs, code)[0] for code in LISTINGS} == {
            "margin": "15.00",
            "steps": "10.00",
            "fixed": "20.00",
        }

        rest = applied(pegs, MONDAY, rules=rules, confirm_all=True)
        assert rest.decisions == {"steps": "changed"}
        assert history(pegs, "steps")[0] == "15.00"

    def test_holds_no_first_price(self, pegs: Owner) -> None:
        pegs.register("listings/new", builders.listing(product="peg", channel="fair", tax=None))

        assert decided(pegs, "new", rules={"greatest_move_share": "0"}) == "first"

    def test_of_0_holds_every_move(self, pegs: Owner) -> None:
        resin(pegs, "6.51")

        assert decided(pegs, rules={"greatest_move_share": "0"}) == "held"

    def test_with_a_least_move_leaves_small_ones_and_holds_great_ones(self, pegs: Owner) -> None:
        rules = {"least_move_share": "0.02", "greatest_move_share": "0.02"}
        for price, found in (("6.44", "kept"), ("6.37", "changed"), ("6.30", "held"), ("6.51", "changed")):
            resin(pegs, price)
            assert decided(pegs, rules=rules) == found, price

    def test_is_not_confirmed_by_an_unknown_code(self, pegs: Owner) -> None:
        """A code without a listing confirms nothing."""
        resin(pegs, "9.75")

        assert decided(pegs, rules={"greatest_move_share": "0.25"}, confirmed=["no-such-listing"]) == "held"


class TestAPriceOfNothing:
    @pytest.fixture
    def given_away(self, pegs: Owner) -> Owner:
        """A listing that costs nothing and is sold for nothing."""
        resin(pegs, "0")
        assert applied(pegs, MONDAY).changes["margin"]["new"] == {
            "price": {"amount": "0.00", "currency": "EUR"},
            "base_quantity": 1,
            "unit_cost": {"amount": "0.000000", "currency": "EUR"},
            "margin_share": None,
        }
        return pegs

    def test_has_no_relative_move(self, given_away: Owner) -> None:
        given_away.put_rate("materials/resin", "2026-12-01", builders.material_rate("6.50"))

        change = previewed(given_away, "2026-12-01").changes["margin"]

        assert (change["decision"], change["move_share"], change["kept_margin_share"]) == ("changed", None, None)
        assert decided(given_away, as_of="2026-12-01", rules={"greatest_move_share": "99"}) == "held"
        assert decided(given_away, as_of="2026-12-01", rules={"least_move_share": "99"}) == "changed"


class TestAListingThatCannotBePriced:
    def test_stands_beside_the_others_with_its_reason_and_its_old_price(self, pegs: Owner) -> None:
        policy = builders.policy(value="0.99")
        pegs.register(
            "channels/dear", builders.channel(), **{DAY: {"currency": "EUR", "fees": [builders.fee(share="0.5")]}}
        )
        pegs.register("listings/steps", builders.listing(product="peg", channel="dear", tax=None, policy=policy))
        resin(pegs, "7")

        found = previewed(pegs)

        assert found.decisions == {"margin": "changed", "steps": "unpriced"}
        unpriced = found.changes["steps"]
        assert unpriced["new"] is None
        assert unpriced["old"]["price"]["amount"] == "10.00"
        assert (list(unpriced["effects"]), unpriced["move_share"], unpriced["kept_margin_share"]) == ([], None, None)
        assert "99 %" in unpriced["problem"]
        assert found.figures.summary == RepricingSummary(
            listings=3, first=0, changed=1, same=1, kept=0, held=0, unpriced=1
        )

    def test_keeps_its_price_in_force_when_the_others_are_applied(self, pegs: Owner) -> None:
        pegs.register("materials/clay", builders.material())
        pegs.register(
            "products/pot", {"name": "Pot", "bill_of_materials": [{"material": "clay", "quantity_per_piece": "1"}]}
        )
        pegs.register("listings/pot", builders.listing(product="pot", channel="fair", tax=None))
        resin(pegs, "7")

        done = applied(pegs, MONDAY)

        assert done.decisions == {"margin": "changed", "pot": "unpriced", "steps": "changed"}
        assert "materials/clay" in done.changes["pot"]["problem"]
        assert history(pegs, "pot") == []

    @pytest.mark.parametrize("ask", [previewed, put_in_force], ids=["preview", "application"])
    def test_is_a_problem_where_no_other_can_be_priced_either(self, pegs: Owner, ask: Callable[..., Repriced]) -> None:
        with pytest.raises(NothingPricedError) as refusal:
            ask(pegs, "2025-12-31")

        assert refusal.value.listings == 3
        assert len(refusal.value.reasons) == 3
        assert all("channels/fair" in reason for reason in refusal.value.reasons)

    def test_names_five_reasons_at_most_in_the_problem(self, pegs: Owner) -> None:
        for place in range(5):
            pegs.register(f"listings/more-{place}", builders.listing(product="peg", channel="fair", tax=None))

        with pytest.raises(NothingPricedError) as refusal:
            previewed(pegs, "2025-12-31")

        assert (refusal.value.listings, len(refusal.value.reasons)) == (8, 5)

    @pytest.mark.parametrize(
        ("shipped", "reason"),
        [
            ({"shipping_service": "post", "shipping_zone": "moon"}, "moon"),
            ({"shipping_service": "post", "shipping_zone": "home"}, "mass_kg"),
        ],
    )
    def test_may_be_one_that_cannot_be_sent(self, pegs: Owner, shipped: dict[str, str], reason: str) -> None:
        pegs.register("shipping-services/post", builders.shipping_service(), **{DAY: builders.shipping_rate()})
        pegs.register("listings/steps", builders.listing(product="peg", channel="fair", tax=None, **shipped))

        change = previewed(pegs).changes["steps"]

        assert change["decision"] == "unpriced"
        assert reason in change["problem"]

    def test_may_be_one_in_a_currency_that_cannot_be_converted(self, pegs: Owner) -> None:
        pegs.register("listings/steps", builders.listing(product="peg", channel="fair", tax=None, currency="USD"))

        change = previewed(pegs).changes["steps"]

        assert change["decision"] == "unpriced"
        assert "USD" in change["problem"]

    def test_may_be_one_whose_tax_has_no_rate_on_the_day(self, pegs: Owner) -> None:
        pegs.register("taxes/vat", {"name": "VAT 21 %"}, **{"2027-01-01": {"rate_share": "0.21"}})
        pegs.register("listings/steps", builders.listing(product="peg", channel="fair"))

        change = previewed(pegs).changes["steps"]

        assert change["decision"] == "unpriced"
        assert "taxes/vat" in change["problem"]

    def test_is_not_counted_among_the_unchanged(self, pegs: Owner) -> None:
        withdraw(pegs, "materials/resin", DAY)
        pegs.register("listings/fixed", builders.listing(product="peg", channel="fair", tax=None))

        with pytest.raises(NothingPricedError, match="materials/resin"):
            previewed(pegs, FIRST, scope={"product": "peg"})
