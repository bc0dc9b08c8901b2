"""Decisions about a price when rates change, and what each rate contributes to the change."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.rate_card import unit_rates
from service.domain.costing.variance import Cause, Comparison, product_effect, unit_effects
from service.domain.listing.repricing import (
    COMING_INTO_FORCE,
    STAYING,
    Decision,
    RepricingRequest,
    RepricingRules,
    RepricingScope,
    decision,
    move_share,
)
from service.domain.making.bill_of_resources import BatchBill
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import EXACT
from service.encoding import decoded
from tests.domain.costing.tables import a_table, share, shares_of
from tests.domain.examples import TODAY, Shop
from tests.domain.strategies import batches, figures, moves, tried


def rules(least: str = "0", greatest: str | None = None) -> RepricingRules:
    return RepricingRules(
        least_move_share=Decimal(least), greatest_move_share=None if greatest is None else Decimal(greatest)
    )


def decided(
    old: str, new: str, by: RepricingRules | None = None, *, keeps: bool = True, confirmed: bool = False
) -> Any:
    return decision(Decimal(old), Decimal(new), by or rules(), keeps_policy=keeps, is_confirmed=confirmed)


prices = figures("0", "9", 0) | figures("0", "90", 2)


class TestTheMove:
    def test_is_a_share_of_the_old_price(self) -> None:
        assert move_share(Decimal(8), Decimal(10)) == Decimal("0.25")
        assert move_share(Decimal(10), Decimal(8)) == Decimal("-0.2")

    def test_from_0_is_none(self) -> None:
        assert move_share(Decimal(0), Decimal(10)) is None


class TestTheDecision:
    def test_an_equal_price_with_other_digits_is_the_same(self) -> None:
        assert decided("10.0", "10.00") is Decision.SAME

    def test_without_rules_every_other_price_takes_its_place(self) -> None:
        assert decided("10.00", "10.01") is decided("10.00", "9.99") is Decision.CHANGED
        assert decided("10.00", "1000") is decided("0", "10") is decided("10", "0") is Decision.CHANGED

    @pytest.mark.parametrize(
        ("new", "found"),
        [
            ("10.09", Decision.LEFT),
            ("9.91", Decision.LEFT),
            ("10.10", Decision.CHANGED),  # the least move is one that is made
            ("9.90", Decision.CHANGED),
            ("10.11", Decision.CHANGED),
        ],
    )
    def test_a_price_stays_below_the_least_move(self, new: str, found: Decision) -> None:
        assert decided("10.00", new, rules("0.01")) is found

    def test_a_price_that_misses_its_policy_is_never_kept(self) -> None:
        assert decided("10.00", "10.01", rules("0.01"), keeps=False) is Decision.CHANGED

    @pytest.mark.parametrize(
        ("new", "found"),
        [
            ("12.50", Decision.CHANGED),  # the greatest move is one that needs no confirmation
            ("7.50", Decision.CHANGED),
            ("12.51", Decision.HELD),
            ("7.49", Decision.HELD),
        ],
    )
    def test_a_price_waits_above_the_greatest_move(self, new: str, found: Decision) -> None:
        assert decided("10.00", new, rules(greatest="0.25")) is found

    def test_a_confirmed_price_does_not_wait(self) -> None:
        assert decided("10.00", "100", rules(greatest="0.25"), confirmed=True) is Decision.CHANGED

    def test_confirmation_moves_no_price_that_stays(self) -> None:
        assert decided("10.00", "10.05", rules("0.01", "0.25"), confirmed=True) is Decision.LEFT
        assert decided("10.00", "10.00", rules("0.01", "0.25"), confirmed=True) is Decision.SAME

    def test_a_price_of_0_waits_under_any_greatest_move_and_is_never_kept(self) -> None:
        assert decided("0", "0.01", rules(greatest="1000")) is Decision.HELD
        assert decided("0", "0.01", rules(greatest="1000"), confirmed=True) is Decision.CHANGED
        assert decided("0", "0.01", rules("0.5")) is Decision.CHANGED
        assert decided("0", "0", rules("0.5", "0.6")) is Decision.SAME

    @given(
        figures("0", "90", 2), figures("0", "90", 2), figures("0", "1", 2), st.none() | figures("0", "2", 2), st.data()
    )
    def test_is_one_of_four_and_depends_on_the_move_alone(
        self, old: Decimal, new: Decimal, least: Decimal, more: Decimal | None, data: st.DataObject
    ) -> None:
        keeps, confirmed = data.draw(st.booleans()), data.draw(st.booleans())
        by = RepricingRules(least_move_share=least, greatest_move_share=None if more is None else least + more)

        found = decision(old, new, by, keeps_policy=keeps, is_confirmed=confirmed)

        move = abs(Fraction(new) - Fraction(old)) / Fraction(old) if old else None
        is_near = move is not None and move < Fraction(least)
        is_far = by.greatest_move_share is not None and (move is None or move > Fraction(by.greatest_move_share))
        expected = Decision.HELD if is_far and not confirmed else Decision.CHANGED
        assert found is (Decision.SAME if old == new else Decision.LEFT if keeps and is_near else expected)

    def test_puts_a_price_in_force_or_leaves_the_old_one(self) -> None:
        assert {Decision.FIRST, Decision.CHANGED} == COMING_INTO_FORCE
        assert {Decision.SAME, Decision.LEFT} == STAYING


def problems_of(kind: type[Any], **members: Any) -> list[tuple[str | int, ...]]:
    with pytest.raises(InvalidValuesError) as caught:
        decoded(members, kind)
    return [tuple(problem.path) for problem in caught.value.problems]


class TestTheRequest:
    def test_asks_for_everything_where_it_says_nothing(self) -> None:
        assert decoded({}, RepricingRequest) == RepricingRequest()
        assert RepricingRequest().rules == rules()

    def test_a_greatest_move_below_the_least_would_hold_everything(self) -> None:
        assert problems_of(RepricingRules, least_move_share="0.2", greatest_move_share="0.19") == [
            ("greatest_move_share",)
        ]
        assert rules("0.2", "0.2").greatest_move_share == Decimal("0.2")

    def test_an_empty_scope_is_a_mistake(self) -> None:
        with pytest.raises(InvalidValuesError) as caught:
            RepricingRequest(scope=RepricingScope())

        assert [problem.path for problem in caught.value.problems] == [("scope",)]
        assert RepricingScope().is_empty
        assert not RepricingScope(tag="garden").is_empty

    def test_named_resources_and_a_day_since_which_they_changed_exclude_each_other(self) -> None:
        assert problems_of(RepricingScope, resources=["tariffs/grid"], changed_since="2026-11-01") == [
            ("changed_since",)
        ]

    @pytest.mark.parametrize("name", ["grid", "tariffs/", "/grid", "tariffs/grid#day", "Tariffs/grid", "tariffs/gr id"])
    def test_a_resource_is_named_by_its_collection_and_its_code(self, name: str) -> None:
        with pytest.raises(InvalidValuesError):
            RepricingScope(resources=(name,))


# What each change contributes


def a_bill(pieces: int = 1, **quantities: str) -> BatchBill:
    return BatchBill(
        pieces=pieces, quantities={f"materials/{part}": Decimal(each) for part, each in quantities.items()}
    )


def compared(before: Any, after: Any, **converted: str) -> Comparison:
    anew = {f"materials/{code}": {f"materials/{code}": Decimal(rate)} for code, rate in converted.items()}
    return Comparison(before, after, lambda resource: anew.get(resource, {}))


def effects(bill: BatchBill, comparison: Comparison) -> dict[tuple[str, str], Decimal]:
    """The effects by resource and cause."""
    changes, found = comparison.changes, unit_effects(bill, bill, comparison)
    return {(changes[place].resource, changes[place].cause.value): amount for place, amount in found.items()}


class TestARateThatMoved:
    def test_contributes_the_quantity_times_its_move(self) -> None:
        comparison = compared(a_table(flakes="0.80", resin="3"), a_table(flakes="1.00", resin="3"))

        assert effects(a_bill(pieces=4, flakes="10", resin="5"), comparison) == {
            ("materials/flakes", "rate"): Decimal("0.5")
        }

    def test_is_reported_with_its_old_rate_and_since_when(self) -> None:
        (change,) = compared(a_table(flakes="0.80"), a_table(flakes="1.00")).changes

        assert (change.resource, change.cause, change.since) == ("materials/flakes", Cause.RATE, TODAY)
        assert (change.old_rate, change.new_rate) == (Decimal("0.80"), Decimal("1.00"))

    def test_contributes_nothing_to_what_does_not_consume_it(self) -> None:
        comparison = compared(a_table(flakes="0.80"), a_table(flakes="1.00"))

        assert unit_effects(a_bill(resin="3"), a_bill(resin="3"), comparison) == {}
        assert unit_effects(a_bill(flakes="0"), a_bill(flakes="0"), comparison) == {}

    def test_written_in_another_way_has_not_moved(self) -> None:
        assert compared(a_table(flakes="0.80"), a_table(flakes="0.8")).changes == []

    def test_of_a_part_that_was_not_consumed_before_is_the_products_change(self) -> None:
        assert compared(a_table(), a_table(resin="3")).changes == []

    def test_that_is_gone_contributes_nothing(self) -> None:
        assert compared(a_table(resin="3"), a_table()).changes == []

    @pytest.mark.parametrize(
        ("converted", "found"),
        [
            ("1.00", {"exchange_rate": "0.2"}),
            ("0.80", {"rate": "0.2"}),
            ("0.90", {"exchange_rate": "0.1", "rate": "0.1"}),
            ("1.50", {"exchange_rate": "0.7", "rate": "-0.5"}),
        ],
    )
    def test_contributes_apart_from_the_exchange_rate_that_converts_it(
        self, converted: str, found: dict[str, str]
    ) -> None:
        """The old terms converted at the new exchange rate separate the two effects."""
        comparison = compared(a_table(flakes="0.80"), a_table(flakes="1.00"), flakes=converted)

        assert effects(a_bill(flakes="1"), comparison) == {
            ("materials/flakes", cause): Decimal(amount) for cause, amount in found.items()
        }


class TestAPoolOnAValue:
    def test_that_moves_contributes_its_share_of_the_value_as_it_is_now(self) -> None:
        before, after = shares_of(a_table(flakes="0.80"), pool="0.10"), shares_of(a_table(flakes="1.00"), pool="0.15")

        assert effects(a_bill(flakes="10"), compared(before, after)) == {
            ("materials/flakes", "rate"): Decimal("2.2"),  # 10 × (1.00 − 0.80) × (1 + 0.10)
            ("overheads/pool", "rate"): Decimal("0.5"),  # 10 × 1.00 × (0.15 − 0.10)
        }

    def test_that_is_new_contributes_all_it_adds_and_one_that_is_gone_takes_it_away(self) -> None:
        without, with_it = a_table(flakes="1"), shares_of(a_table(flakes="1"), pool="0.10")
        bill = a_bill(flakes="10")

        assert effects(bill, compared(without, with_it)) == {("overheads/pool", "rate"): 1}
        assert effects(bill, compared(with_it, without)) == {("overheads/pool", "rate"): -1}

    def test_is_reported_as_a_share(self) -> None:
        before, after = shares_of(a_table(flakes="1"), pool="0.10"), shares_of(a_table(flakes="1"), pool="0.15")

        (change,) = compared(before, after).changes

        assert (change.old_rate, change.new_rate) == (Decimal("0.10"), Decimal("0.15"))

    def test_contributes_nothing_to_what_was_not_consumed_before(self) -> None:
        before, after = shares_of(a_table(), pool="0.10"), shares_of(a_table(resin="3"), pool="0.15")

        assert unit_effects(a_bill(resin="1"), a_bill(resin="1"), compared(before, after)) == {}

    def test_beside_another_adds_up_with_it(self) -> None:
        before = shares_of(a_table(flakes="1"), one="0.10", other="0.20")
        after = shares_of(a_table(flakes="2"), one="0.30", other="0.20")

        assert effects(a_bill(flakes="1"), compared(before, after)) == {
            ("materials/flakes", "rate"): Decimal("1.3"),
            ("overheads/one", "rate"): Decimal("0.4"),
        }

    def test_on_labour_contributes_nothing_to_material(self) -> None:
        before, after = a_table(flakes="1"), replace(a_table(flakes="1"), shares=share("direct_labour_value", "0.2"))

        assert unit_effects(a_bill(flakes="1"), a_bill(flakes="1"), compared(before, after)) == {}


class TestAPoolByTheHour:
    def test_that_is_new_contributes_all_of_its_rate(self) -> None:
        bill = BatchBill(pieces=2, quantities={"overheads/rent": Decimal(3)})

        assert effects(bill, compared(a_table(), a_table(**{"overheads/rent": "4"}))) == {("overheads/rent", "rate"): 6}

    def test_that_is_gone_takes_away_what_it_added_to_the_earlier_bill(self) -> None:
        earlier = BatchBill(pieces=2, quantities={"overheads/rent": Decimal(3)})
        comparison = compared(a_table(**{"overheads/rent": "4"}), a_table())

        found = unit_effects(a_bill(pieces=5), earlier, comparison)

        assert [(each.resource, each.cause, each.old_rate, each.new_rate) for each in comparison.changes] == [
            ("overheads/rent", Cause.RATE, 4, 0)
        ]
        assert found == {0: -6}

    def test_that_is_gone_contributes_nothing_to_a_bill_without_it(self) -> None:
        comparison = compared(a_table(**{"overheads/rent": "4"}), a_table())

        assert unit_effects(a_bill(), a_bill(), comparison) == {}

    def test_that_cost_nothing_is_not_reported_when_it_is_gone(self) -> None:
        assert compared(a_table(**{"overheads/rent": "0"}), a_table()).changes == []


class TestWhatIsLeftForTheProduct:
    def test_is_what_no_rate_contributes(self) -> None:
        assert product_effect(Decimal(5), [Decimal(2), Decimal(-1)], Decimal(10)) == 4

    def test_is_0_where_only_the_last_digits_differ(self) -> None:
        assert product_effect(Decimal("1E-24"), [], Decimal(10)) == 0
        assert product_effect(Decimal("1E-22"), [], Decimal(-10)) == Decimal("1E-22")

    def test_is_the_whole_difference_where_the_costs_are_0(self) -> None:
        assert product_effect(Decimal("1E-30"), [], Decimal(0)) == Decimal("1E-30")
        assert product_effect(Decimal(0), [], Decimal(0)) == 0


# Laws


def full(quantity: int, shop: Shop, rates: dict[str, Decimal]) -> Fraction:
    """The unit cost from the cost sheet's exact lines."""
    lines = shop.sheet(quantity, rates).lines
    return sum((Fraction(line.amount) for line in lines), Fraction(0)) / quantity


def size(quantity: int, shop: Shop, *several: dict[str, Decimal]) -> Fraction:
    lines: Iterable[Any] = (line for rates in several for line in shop.sheet(quantity, rates).lines)
    return sum((abs(Fraction(line.amount)) for line in lines), Fraction(1)) / quantity


@st.composite
def compared_shops(draw: st.DrawFn) -> tuple[Shop, Shop, Comparison]:
    """A workshop before and after a change of rates, and the comparison of both."""
    before, after = draw(moves())
    exchange = after.exchange

    def anew(resource: str) -> dict[str, Decimal]:
        return unit_rates(before.card, [resource], after.pools, lambda money: exchange.converted(money, after.currency))

    return before, after, Comparison(before.rating.table, after.rating.table, anew)


class TestEffects:
    @tried
    @given(compared_shops(), batches)
    def test_add_up_to_the_change_in_cost(self, shops: tuple[Shop, Shop, Comparison], quantity: int) -> None:
        before, after, comparison = shops
        old, new = before.unit_rates(), after.unit_rates()

        found = unit_effects(after.batch_bill(quantity), before.batch_bill(quantity), comparison)

        change = full(quantity, after, new) - full(quantity, before, old)
        both = size(quantity, after, new) + size(quantity, before, old)
        assert abs(sum(map(Fraction, found.values()), Fraction(0)) - change) <= both / 10**26

    @tried
    @given(compared_shops(), batches)
    def test_are_each_the_difference_on_the_cost_sheet_when_that_rate_alone_moves(
        self, shops: tuple[Shop, Shop, Comparison], quantity: int
    ) -> None:
        """A part moves while all others keep their old rates; a pool on a value moves after every part has."""
        before, after, comparison = shops
        whole = replace(after, catalogue=replace(after.catalogue, overheads=before_and_after(before, after)))
        old, new = before.unit_rates(), after.unit_rates()
        nothing = dict.fromkeys((*old, *new, *whole.batch_bill(quantity).quantities), Decimal(0))
        old, new = {**nothing, **old}, {**nothing, **new}
        pools = {f"overheads/{code}" for code, pool in whole.catalogue.overheads.items() if pool.base.is_value}
        moved = {**new, **{pool: old[pool] for pool in pools}}

        found: dict[str, Fraction] = {}
        for place, amount in unit_effects(whole.batch_bill(quantity), before.batch_bill(quantity), comparison).items():
            resource = comparison.changes[place].resource
            found[resource] = found.get(resource, Fraction(0)) + Fraction(amount)

        for resource, amount in found.items():
            base = moved if resource in pools else old
            alone = {**base, resource: new[resource]}
            effect = full(quantity, whole, alone) - full(quantity, whole, base)
            assert abs(amount - effect) <= size(quantity, whole, alone, base) / 10**26, resource

    @tried
    @given(compared_shops(), batches)
    def test_are_the_same_whatever_context_the_caller_has(
        self, shops: tuple[Shop, Shop, Comparison], quantity: int
    ) -> None:
        _, after, comparison = shops
        bill = after.batch_bill(quantity)

        with localcontext(prec=3):
            coarse = unit_effects(bill, bill, comparison)

        with localcontext(EXACT):
            assert coarse == unit_effects(bill, bill, comparison)

    @tried
    @given(compared_shops())
    def test_of_exchange_rates_follow_from_the_old_terms_converted_at_the_new_rate(
        self, shops: tuple[Shop, Shop, Comparison]
    ) -> None:
        before, _, comparison = shops
        foreign = {resource for resource, terms in before.terms.items() if "USD" in repr(terms) or "JPY" in repr(terms)}

        for change in comparison.changes:
            if change.cause is Cause.EXCHANGE_RATE:
                assert change.resource.partition("#")[0] in foreign
            assert change.old_rate != change.new_rate


def before_and_after(before: Shop, after: Shop) -> dict[str, Any]:
    return {**before.catalogue.overheads, **after.catalogue.overheads}
