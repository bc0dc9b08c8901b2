"""Whether a month pays, from stored data: its fixed costs, its sales, its time, its best mix."""

import sys
from datetime import UTC, date, datetime
from fractions import Fraction
from typing import Any

import pytest

from service import clock
from service.domain.costing.errors import MissingRatesError
from service.domain.month.best_mix_statement import BestMixStatement, MixOutcome
from service.domain.month.statement import LoadStatement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import Milestone, ProfitAtVolume
from service.domain.scheduling.period import PeriodStatement
from service.domain.values.errors import InvalidValuesError
from tests.domain.examples import D, euros, money
from tests.support import builders
from tests.support.builders import planned
from tests.workflows.owner import Owner

DAY = "2026-01-01"
MINUTES_OF_20 = 20 + Fraction(20) / Fraction("0.95") * 40
"""Minutes of a batch of 20 sheets on the press: set-up, and a cycle for each piece started."""


def owed(name: str, amount: str, currency: str = "EUR") -> dict[str, Any]:
    return {"name": name, "amount": builders.money(amount, currency)}


class TestWhatTheMonthMustBear:
    def test_is_a_twelfth_of_each_machine_s_year_and_each_fixed_pool_line_by_line(self, furnished: Owner) -> None:
        found = furnished.plan_month(other_fixed_costs=[owed("Own pay", "2400")])

        assert [(each.resource, each.name, each.amount) for each in found.fixed_costs] == [
            ("machines/press", "Sheet press", euros("200.00")),  # 24,000 ÷ 10 years ÷ 12
            ("overheads/rent", "Rent", euros("600.00")),
            (None, "Own pay", euros("2400.00")),
        ]
        assert found.fixed_cost == euros("3200.00")

    def test_names_the_parts_of_a_machine_and_the_charges_of_a_tariff(self, furnished: Owner) -> None:
        terms = builders.machine_rate(
            residual_value=builders.money("4000"),
            interest_share="0.06",
            floor_m2="10",
            space_cost_per_m2_month=builders.money("7.50"),
            maintenance_share="0.02",
            other_per_year=builders.money("240"),
        )
        furnished.put_rate("machines/press", DAY, terms)
        charged = builders.tariff_rate(
            standing_charge_per_month=builders.money("36"),
            demand_charge_per_month=builders.money("44"),
            expected_kwh_per_month="1700",
        )
        furnished.put_rate("tariffs/grid", DAY, charged)

        press, _, grid = furnished.plan_month().fixed_costs

        assert press.components == {
            "depreciation": euros("166.67"),  # 20,000 ÷ 10 ÷ 12
            "interest": euros("70.00"),  # 14,000 × 0.06 ÷ 12
            "space": euros("75.00"),
            "maintenance": euros("40.00"),
            "other": euros("20.00"),
        }
        assert press.amount == euros("371.67")
        assert grid.components == {"demand charge": euros("44.00"), "standing charge": euros("36.00")}

    def test_is_the_whole_pay_of_labour_paid_by_the_month_which_its_pieces_do_not_bear_again(
        self, furnished: Owner
    ) -> None:
        lines = [planned(policy=None, price="60")]
        hourly = furnished.plan_month(lines=lines)
        terms = builders.labour_rate(
            on_cost_share="0.2", productive_share="0.8", paid_hours_per_month="160", people="1.5"
        )
        furnished.put_rate("labour-grades/operator", DAY, terms)

        monthly = furnished.plan_month(lines=lines)

        (pay,) = [each for each in monthly.fixed_costs if each.resource == "labour-grades/operator"]
        assert (pay.name, pay.amount) == ("Operator", euros("4320.00"))  # 15 × 1.2 × 160 × 1.5, productive or not
        assert pay.components == {"wage": euros("3600.00"), "on-cost": euros("720.00")}
        assert monthly.fixed_cost.amount == hourly.fixed_cost.amount + 4320
        labour = next(each for each in furnished.cost().lines if each.resource == pay.resource)
        assert monthly.lines[0].variable_cost == furnished.cost().subtotals.variable_cost.per_piece
        hourly_labour = labour.amount_per_piece.amount / (D("1.2") / D("0.8"))
        gained = monthly.lines[0].contribution.amount - hourly.lines[0].contribution.amount
        assert abs(gained - hourly_labour) < D("0.00001")
        assert monthly.verdict is Verdict.LOSES

    def test_leaves_out_what_the_plan_excludes(self, furnished: Owner) -> None:
        furnished.put_rate("labour-grades/operator", DAY, builders.labour_rate(paid_hours_per_month="160"))

        found = furnished.plan_month(leave_out=["machines/press", "overheads/rent", "labour-grades/operator"])

        assert found.fixed_costs == ()
        assert found.fixed_cost == euros("0.00")
        assert found.break_even is not None
        assert found.break_even.pieces == 0

    def test_excludes_variable_pools_since_they_are_in_the_cost_of_a_piece(self, furnished: Owner) -> None:
        before = furnished.plan_month().lines[0].variable_cost.amount
        bags = {"name": "Bags", "base": "piece", "variable": True}
        furnished.register("overheads/bags", bags, **{DAY: builders.overhead_rate("100", "50")})

        found = furnished.plan_month()

        assert "overheads/bags" not in [each.resource for each in found.fixed_costs]
        assert found.lines[0].variable_cost.amount == before + 2  # 100 ÷ 50 pieces

    def test_counts_an_entire_tool_with_every_batch(self, furnished: Owner) -> None:
        before = furnished.plan_month()
        furnished.register("tools/die", {"name": "Die"}, **{DAY: {"cost": builders.money("30"), "life_shots": "500"}})
        pressing = builders.operation(tool="die", tooling="entire")
        furnished.put("products/sheet", builders.product(operations=[pressing]))

        (line,) = furnished.plan_month(lines=[planned(policy=None, price="100")]).lines

        assert line.tooling == euros("1.500000")  # 30 ÷ 20 pieces
        assert line.variable_cost.amount == before.lines[0].variable_cost.amount + D("1.5")
        assert line.contribution.amount == line.proceeds.amount - line.variable_cost.amount

    def test_is_converted_where_it_is_in_another_currency(self, furnished: Owner) -> None:
        furnished.put_exchange_rates("2026-11-25", USD="1.25")

        found = furnished.plan_month(
            other_fixed_costs=[owed("Loan", "250", "USD")], target_profit=builders.money("125", "USD")
        )

        assert found.fixed_costs[-1].amount == euros("200.00")
        assert found.target_profit == euros("100.00")
        assert [each.base for each in found.exchange_rates] == ["EUR"]

    def test_is_computed_again_once_a_rate_has_changed(self, furnished: Owner) -> None:
        assert furnished.plan_month() == furnished.plan_month()

        furnished.put_rate("overheads/rent", DAY, builders.overhead_rate("700"))

        assert furnished.plan_month().fixed_cost == euros("900.00")


class TestHowProductsAreSold:
    def test_the_figures_are_those_of_the_price_and_cost_sheets(self, furnished: Owner) -> None:
        found = furnished.plan_month()

        (line,) = found.lines
        assert line.price == furnished.price(tax="vat").price_per_piece.price
        assert line.variable_cost == furnished.cost().subtotals.variable_cost.per_piece
        assert line.contribution.amount == line.price.amount - line.variable_cost.amount
        assert abs(found.contribution.amount - line.contribution.amount * 100) < D("0.01")
        assert found.profit.amount == found.contribution.amount - 800
        assert line.sales == found.sales == euros(f"{line.price.amount * 100:.2f}")

    def test_a_listing_may_be_planned_at_another_price_and_batch(self, furnished: Owner) -> None:
        furnished.put("listings/sheet-online", builders.listing(name="Board"))
        its_own = {"listing": "sheet-online", "pieces": 6}

        usual, other = furnished.plan_month(lines=[its_own, {**its_own, "price": "99.90", "standard_batch": 50}]).lines

        assert (usual.product, usual.listing, usual.name, usual.standard_batch) == (
            "sheet",
            "sheet-online",
            "Board",
            20,
        )
        assert usual.proceeds.amount < usual.net_price.amount  # the channel's fees come off
        assert (other.price, other.standard_batch) == (euros("99.90"), 50)
        assert other.variable_cost == furnished.cost(quantity=50).subtotals.variable_cost.per_piece

    def test_a_sale_in_another_currency_is_settled_in_the_workshops_own(self, furnished: Owner) -> None:
        furnished.put_exchange_rates("2026-11-25", USD="1.25")

        found = furnished.plan_month(lines=[planned(policy=None, price="50", currency="USD", tax=None)])

        assert found.lines[0].price == money("50", "USD")
        assert found.lines[0].net_price == euros("40.000000")
        assert found.sales == euros("4000.00")

    def test_a_price_below_variable_cost_never_breaks_even_and_says_so(self, furnished: Owner) -> None:
        found = furnished.plan_month(lines=[planned(policy=None, price="0.50")], target_profit=builders.money("10"))

        assert found.contribution.amount < 0
        assert (found.break_even, found.target, found.margin_of_safety) == (None, None, None)
        assert found.lines[0].alone_break_even is None
        assert found.operating_leverage is None
        assert [each.milestone for each in found.profit_by_volume] == [Milestone.NOTHING, Milestone.PLAN]

    def test_a_plan_of_nothing_sells_nothing_and_has_no_mix(self, furnished: Owner) -> None:
        found = furnished.plan_month(lines=[planned(pieces=0)])

        assert found.sales == euros("0.00")
        assert found.profit == euros("-800.00")
        assert found.break_even is None
        assert found.contribution_per_piece is None
        assert found.contribution_margin_share is None
        assert found.lines[0].alone_break_even is not None
        assert found.lines[0].alone_break_even.whole_pieces > 0

    def test_a_plan_that_pays_states_its_operating_leverage(self, furnished: Owner) -> None:
        found = furnished.plan_month(lines=[planned(policy=None, price="100")])

        assert found.profit.amount > 0
        assert found.operating_leverage == round(found.contribution.amount / found.profit.amount, 6)


class TestItsTime:
    @pytest.fixture
    def timed(self, furnished: Owner) -> Owner:
        furnished.put("machines/press", builders.machine(hours_per_week="15"))
        furnished.put("labour-grades/operator", {"name": "Operator", "hours_per_week": "40"})
        return furnished

    def loads(self, owner: Owner, **changes: Any) -> dict[str, LoadStatement]:
        return {load.resource: load for load in owner.plan_month(**changes).loads}

    def test_minutes_needed_are_compared_with_minutes_available(self, timed: Owner) -> None:
        loads = self.loads(timed)

        press = loads["machines/press"]
        assert abs(Fraction(press.minutes_needed) - 5 * MINUTES_OF_20) < Fraction("0.000001")
        assert press.minutes_available == 3900  # 15 × 60 × 52 ÷ 12
        assert press.load_share == round(press.minutes_needed / 3900, 6)
        assert press.is_bottleneck
        assert press.is_over_full
        assert not loads["labour-grades/operator"].is_over_full
        assert timed.plan_month().bottleneck == "machines/press"

    def test_the_plan_may_set_another_number_of_weeks(self, timed: Owner) -> None:
        assert {resource: each.minutes_available for resource, each in self.loads(timed, weeks="3.5").items()} == {
            "machines/press": 3150,
            "labour-grades/operator": 8400,
        }

    def test_closures_shorten_the_month_that_is_named_and_no_fixed_cost(self, timed: Owner) -> None:
        year_end = {"name": "Year's end", "first_day": "2026-12-24", "last_day": "2027-01-04"}
        timed.put("closures/year-end", year_end)

        usual, december = timed.plan_month(), timed.plan_month(month="2026-12")

        assert (usual.weeks, usual.period) == (D("4.333333"), None)
        assert december.weeks == D("3.4")  # 17 of its 23 days from Monday to Friday
        assert december.period == PeriodStatement(
            first_day=date(2026, 12, 1), last_day=date(2026, 12, 31), days_closed=8
        )
        assert {load.resource: load.minutes_available for load in december.loads} == {
            "machines/press": 17 * 3 * 60,
            "labour-grades/operator": 17 * 8 * 60,
        }
        assert december.fixed_cost == usual.fixed_cost

    def test_a_month_without_a_working_day_leaves_no_time(self, timed: Owner) -> None:
        timed.put("closures/move", {"name": "Move", "first_day": "2026-11-30", "last_day": "2027-01-04"})

        found = timed.plan_month(month="2026-12")

        assert found.weeks == 0
        assert found.verdict is Verdict.CANNOT_BE_MADE
        assert {load.minutes_available for load in found.loads} == {0}

    def test_its_rates_are_those_of_the_nearest_day_to_today_in_it(self, timed: Owner) -> None:
        with clock.set_to(datetime(2026, 11, 25, 12, tzinfo=UTC)):
            days = [timed.plan_month(as_of=None, month=month).as_of for month in ("2026-10", "2026-11", "2026-12")]

        assert days == [date(2026, 10, 31), date(2026, 11, 25), date(2026, 12, 1)]

    def test_a_resource_without_known_hours_limits_nothing(self, furnished: Owner) -> None:
        found = furnished.plan_month()

        assert [load.minutes_available for load in found.loads] == [None, None]
        assert (found.bottleneck, found.lines[0].rank, found.lines[0].contribution_per_hour) == (None, None, None)
        assert found.best_mix == BestMixStatement(outcome=MixOutcome.UNLIMITED, limited_by=("sheet",))

    def test_a_machine_with_no_hours_at_all_is_the_bottleneck(self, furnished: Owner) -> None:
        furnished.put("machines/press", builders.machine(hours_per_week="0"))

        found = furnished.plan_month()

        press = {load.resource: load for load in found.loads}["machines/press"]
        assert found.bottleneck == "machines/press"
        assert press.load_share is None
        assert press.is_over_full
        assert [each.bottleneck_share for each in found.profit_by_volume] == [None] * 4

    def test_profit_by_volume_rises_from_nothing_to_the_full_machine(self, timed: Owner) -> None:
        found = timed.plan_month(lines=[planned(policy=None, price="60")], target_profit=builders.money("500"))

        profits: dict[str, ProfitAtVolume] = {each.milestone.value: each for each in found.profit_by_volume}
        assert list(profits) == ["nothing", "break_even", "target", "full_capacity", "plan"]
        assert profits["nothing"].profit == euros("-800.00")
        assert profits["nothing"].cost == found.fixed_cost
        assert profits["break_even"].profit == euros("0.00")
        assert profits["target"].profit == euros("500.00")
        assert profits["plan"].profit == found.profit
        assert profits["full_capacity"].bottleneck_share == 1
        pieces = 3900 / MINUTES_OF_20 * 20
        assert abs(Fraction(profits["full_capacity"].pieces) - pieces) < Fraction("0.000001")
        for each in found.profit_by_volume:
            assert each.proceeds.amount - each.cost.amount == each.profit.amount


class TestWhatCannotBeMade:
    @pytest.fixture
    def narrow(self, furnished: Owner) -> Owner:
        """The press works an hour a week: time for 6 sheets a month."""
        furnished.put("machines/press", builders.machine(hours_per_week="1"))
        return furnished

    def test_does_not_pay_although_the_planned_volumes_would(self, narrow: Owner) -> None:
        found = narrow.plan_month(lines=[planned(policy=None, price="100")])

        assert found.profit.amount > 0
        assert found.verdict is Verdict.CANNOT_BE_MADE
        assert found.best_mix is not None
        assert found.best_mix.profit is not None
        assert found.best_mix.profit.amount < 0  # the mix that fits loses

    def test_does_not_break_even_either(self, narrow: Owner) -> None:
        found = narrow.plan_month(
            lines=[planned(policy=None, price="100", pieces=1)], target_profit=builders.money("10")
        )

        assert found.verdict is Verdict.LOSES
        assert found.beyond_capacity == {Milestone.BREAK_EVEN, Milestone.TARGET}
        alone = found.lines[0].alone_break_even
        assert alone is not None
        assert alone.is_beyond_capacity

    def test_is_unknown_where_no_hours_are_registered(self, furnished: Owner) -> None:
        found = furnished.plan_month(lines=[planned(policy=None, price="100", pieces=1_000_000)])

        assert found.verdict is Verdict.PAYS
        assert found.beyond_capacity == frozenset()


class TestTheBestMix:
    @pytest.fixture
    def timed(self, furnished: Owner) -> Owner:
        """The press works 15 hours a week: time for 90 sheets a month."""
        furnished.put("machines/press", builders.machine(hours_per_week="15"))
        return furnished

    def mix(self, owner: Owner, *lines: Any) -> BestMixStatement:
        found = owner.plan_month(lines=lines).best_mix
        assert found is not None
        return found

    def test_fills_the_press_in_whole_pieces(self, timed: Owner) -> None:
        found = timed.plan_month(lines=[planned(policy=None, price="60")])

        mix = found.best_mix
        assert mix is not None
        assert mix.outcome is MixOutcome.FOUND
        assert mix.is_proven
        assert [(line.pieces, line.change) for line in mix.lines] == [(90, -10)]
        assert mix.profit is not None
        assert mix.profit == mix.profit_at_most
        assert mix.gain == euros(str(mix.profit.amount - found.profit.amount))
        (hour,) = mix.time_values
        assert hour.resource == "machines/press"
        assert hour.value_of_another_hour == found.lines[0].contribution_per_hour

    def test_the_best_mix_may_be_of_whole_batches(self, timed: Owner) -> None:
        mix = self.mix(timed, planned(policy=None, price="60", in_whole_batches=True))

        assert [line.pieces for line in mix.lines] == [80]

    def test_the_best_mix_of_whole_batches_is_no_less_than_what_must_be_made(self, timed: Owner) -> None:
        """Every piece loses, so no more than the least are made: 21 pieces, in batches of 20."""
        mix = self.mix(timed, planned(policy=None, price="1", least_per_month=21, in_whole_batches=True))

        assert [line.pieces for line in mix.lines] == [40]

    def test_the_best_mix_meets_all_demand_where_there_is_time(self, timed: Owner) -> None:
        mix = self.mix(timed, planned(policy=None, price="60", most_per_month=30))

        assert [line.pieces for line in mix.lines] == [30]
        assert mix.time_values == ()

    def test_there_is_none_where_the_required_quantities_take_too_much_time(self, timed: Owner) -> None:
        mix = self.mix(timed, planned(least_per_month=100))

        assert mix == BestMixStatement(outcome=MixOutcome.TOO_LITTLE_TIME, limited_by=("machines/press",))

    def test_a_product_off_the_bottleneck_ranks_first_if_it_contributes_and_last_if_not(self, timed: Owner) -> None:
        flakes = [{"material": "hdpe", "quantity_per_piece": "1"}]
        timed.put("products/bag", {"name": "Bag of flakes", "bill_of_materials": flakes})
        bag = planned(product="bag", policy=None, pieces=5, most_per_month=9)
        lines = [planned(policy=None, price="60"), {**bag, "price": "2"}, {**bag, "price": "0.50"}]

        found = timed.plan_month(lines=lines)

        assert [line.rank for line in found.lines] == [2, 1, 3]
        assert [line.contribution_per_hour is None for line in found.lines] == [False, True, True]
        assert found.best_mix is not None
        assert [line.pieces for line in found.best_mix.lines] == [90, 9, 0]

    def test_is_not_called_proven_where_divided_batches_would_earn_more(self, timed: Owner) -> None:
        """A batch of 20 takes 862 of the 3,900 minutes, a batch of 7 takes 315."""
        small = planned(policy=None, price="60", standard_batch=7, in_whole_batches=True)

        mix = self.mix(timed, planned(policy=None, price="60", in_whole_batches=True), small)

        assert [line.pieces for line in mix.lines] == [60, 28]
        assert not mix.is_proven
        assert mix.profit is not None
        assert mix.profit_at_most is not None
        assert mix.profit.amount < mix.profit_at_most.amount

    def test_is_reported_as_missing_where_there_is_no_solver(
        self, timed: Owner, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setitem(sys.modules, "highspy", None)

        mix = self.mix(timed, planned(policy=None, price="60"))

        assert mix == BestMixStatement(outcome=MixOutcome.NOT_SOLVED)

    def test_is_not_computed_unless_asked_for(self, timed: Owner) -> None:
        assert timed.plan_month(best_mix=False).best_mix is None


class TestWhatCannotBePlanned:
    @pytest.fixture
    def dear(self, furnished: Owner) -> Owner:
        """A channel that keeps half of the net price, and a listing there with a target margin of 60 %."""
        half = builders.fee(name="half", base="net_price", share="0.5")
        furnished.put_rate("channels/quay-market", DAY, builders.channel_rate(fees=[half]))
        furnished.put("listings/dear", builders.listing(policy=builders.policy(value="0.6")))
        return furnished

    @pytest.mark.parametrize(
        ("changes", "paths"),
        [
            (
                {"lines": [planned(in_whole_batches=True, least_per_month=21, most_per_month=39)]},
                {("lines", 0, "in_whole_batches")},
            ),
            ({"lines": [planned(product="gold"), planned(tax="gold")]}, {("lines", 0, "product"), ("lines", 1, "tax")}),
            ({"lines": [planned(), {"listing": "gold", "pieces": 1}]}, {("lines", 1, "listing")}),
            ({"lines": [planned(policy=None, price="1.001")]}, {("lines", 0, "price")}),
            ({"lines": [planned(policy=builders.policy(price_step="0.001"))]}, {("lines", 0, "policy", "price_step")}),
            ({"lines": [{"listing": "dear", "pieces": 1, "price": "1.001"}]}, {("lines", 0, "price")}),
            ({"lines": [planned(), {"listing": "dear", "pieces": 1}]}, {("lines", 1)}),
            ({"leave_out": ["machines/press", "machines/gold"]}, {("leave_out", 1)}),
            ({"target_profit": builders.money("10", "HRK")}, {("target_profit", "currency")}),
        ],
        ids=[
            "no batch between",
            "products and taxes that are not registered",
            "a listing that is not registered",
            "a price finer than a cent",
            "a step finer than a cent",
            "a listing at a price finer than a cent",
            "a listing that cannot be priced",
            "an unknown machine left out",
            "a currency that has ended",
        ],
    )
    def test_is_named_by_its_place_in_the_plan(
        self, dear: Owner, changes: dict[str, Any], paths: set[tuple[str | int, ...]]
    ) -> None:
        with pytest.raises(InvalidValuesError) as refusal:
            dear.plan_month(**changes)

        assert {tuple(each.path) for each in refusal.value.problems} == paths

    def test_says_why_a_listing_cannot_be_priced(self, dear: Owner) -> None:
        with pytest.raises(InvalidValuesError, match=r"cannot be priced: a margin of 60 % cannot be reached"):
            dear.plan_month(lines=[{"listing": "dear", "pieces": 1}])

    def test_names_every_resource_without_a_rate(self, furnished: Owner) -> None:
        with pytest.raises(MissingRatesError) as refusal:
            furnished.plan_month(as_of="2025-06-30")

        of_resources = {"machines/press", "materials/hdpe", "labour-grades/operator", "tariffs/grid"}
        assert {each.resource for each in refusal.value.missing} == of_resources | {"taxes/vat"}
