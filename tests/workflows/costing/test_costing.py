"""Bills, cost sheets and prices of a batch, computed from stored data, on every database engine."""

from datetime import date, timedelta
from decimal import Decimal
from time import thread_time
from typing import Any

import pytest

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.errors import InconsistentProductError
from service.domain.making.products import Product
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Thing
from service.encoding import trusted
from service.workflows.costing import cost_sheets
from service.workflows.errors import InUseError, NotRegisteredError
from service.workflows.registering import registering
from tests.domain.examples import TODAY, a_policy, euros
from tests.support import builders
from tests.workflows.owner import Owner

ALL = {"materials/hdpe", "machines/press", "labour-grades/operator", "tariffs/grid", "overheads/rent"}
NEEDED = ALL - {"overheads/rent"}
"""What must have a rate; a pool counts from its first one on."""


class TestTheBill:
    def test_needs_no_rates(self, owner: Owner) -> None:
        owner.put("materials/hdpe", builders.material())
        owner.put(
            "products/brick",
            {"name": "Brick", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1.5"}]},
        )

        found = cost_sheets.bill_of_product(owner.workspace, "brick", 7)

        assert [(line.resource, str(line.quantity)) for line in found.bill.lines] == [("materials/hdpe", "10.5")]
        assert found.warnings == ()
        assert {"storage", "no-promise-of-fitness"} >= {each.code for each in found.cautions}

    def test_carries_warnings_and_cautions(self, furnished: Owner) -> None:
        hot = builders.operation(processing_temperature_c="200", cycle_minutes="0.01")
        furnished.put("products/sheet", builders.product(operations=[hot], mass_kg="10"))

        found = cost_sheets.bill_of_product(furnished.workspace, "sheet", 7)
        sheet = furnished.cost(quantity=7)

        assert [each.code for each in found.warnings] == ["mass-above-materials", "less-energy-than-melting"]
        assert "hot-work" in [each.code for each in found.cautions]
        assert (sheet.warnings, sheet.cautions) == (found.warnings, found.cautions)

    @pytest.mark.parametrize("code", ["nothing", "sheet"])
    def test_an_unknown_or_retired_product_has_none(self, furnished: Owner, code: str) -> None:
        furnished.retire("products/sheet")

        with pytest.raises(NotRegisteredError, match=f"there is no product '{code}'"):
            cost_sheets.bill_of_product(furnished.workspace, code, 1)
        with pytest.raises(NotRegisteredError, match=f"there is no product '{code}'"):
            furnished.cost(code)

    def test_a_product_of_another_workshop_has_none(self, furnished: Owner, other_owner: Owner) -> None:
        with pytest.raises(NotRegisteredError):
            other_owner.cost("sheet")


class TestTheCost:
    def test_says_since_when_each_rate_has_been_in_force(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-20", builders.material_rate("1"))
        furnished.put_rate("materials/hdpe", "2026-11-26", builders.material_rate("2"))

        sheet = furnished.cost()

        assert sheet.rates_valid_from == {
            **{path: date(2026, 1, 1) for path in ALL},
            "materials/hdpe": date(2026, 11, 20),
        }
        assert sheet.lines[0].rate == Decimal("1.000000")
        assert sheet.exchange_rates == ()

    def test_can_be_of_any_day(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-20", builders.material_rate("1"))

        assert furnished.cost(as_of=date(2026, 11, 19)).lines[0].rate == Decimal("0.800000")

    def test_without_rates_names_every_resource_and_the_first_day_of_its_first_rate(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-02-01", builders.material_rate())

        with pytest.raises(MissingRatesError) as error:
            furnished.cost(as_of=date(2025, 12, 31))

        first = date(2026, 1, 1)
        assert {each.resource: each.first_valid_from for each in error.value.missing} == dict.fromkeys(NEEDED, first)
        assert MissingRate(resource="materials/hdpe", first_valid_from=first) in error.value.missing
        assert "materials/hdpe (first rate from 2026-01-01)" in str(error.value)

    @pytest.mark.parametrize("base", ["machine_hour", "direct_labour_value"])
    def test_has_a_pool_from_its_first_rate_on_and_says_before_that_it_is_left_out(
        self, furnished: Owner, base: str
    ) -> None:
        before = furnished.cost().subtotals
        pool = {"name": "Insurance", "base": base}
        furnished.register("overheads/insurance", pool, **{"2026-12-01": builders.overhead_rate("60", "600")})

        without, counted = furnished.cost(), furnished.cost(as_of=date(2026, 12, 1))

        assert without.subtotals == before
        (told,) = (each.text for each in without.warnings if each.code == "pool-left-out")
        assert told.startswith("Insurance is not in this cost, because it has no rate on this day.")
        assert counted.subtotals.full_cost.per_batch.amount > before.full_cost.per_batch.amount
        assert "pool-left-out" not in [each.code for each in counted.warnings]

    def test_of_thirty_levels_of_the_same_child_used_twice_is_right_and_quick(self, furnished: Owner) -> None:
        material = {"material": "hdpe", "quantity_per_piece": "0.001"}
        furnished.put("products/level-1", {"name": "Chip", "bill_of_materials": [material]})
        for level in range(2, 31):
            part = {"product": f"level-{level - 1}", "quantity_per_piece": "1"}
            furnished.put(f"products/level-{level}", {"name": "Pair", "bill_of_materials": [part, part]})

        began = thread_time()
        sheet = furnished.cost("level-30", quantity=1)

        assert thread_time() - began < 10  # 2^30 chips one by one would be hours
        assert sheet.subtotals.full_cost.per_batch == euros("429496.73")  # 2²⁹ × 0.001 kg × 0.80

    @pytest.mark.parametrize(
        ("machine", "reason"),
        [
            ({"tariff": "solar"}, "the tariff has no band day, night; it has roof"),
            ({"tariff": None, "rated_power_kw": "0"}, "the machine 'press' draws no power; leave them out"),
        ],
    )
    def test_of_a_product_whose_machine_has_changed_its_tariff_says_what_to_register_again(
        self, furnished: Owner, machine: dict[str, Any], reason: str
    ) -> None:
        furnished.put("tariffs/solar", builders.tariff(bands=["roof"]))
        furnished.put("machines/press", builders.machine(**machine))

        with pytest.raises(InconsistentProductError, match="register the product 'sheet' again") as error:
            furnished.cost()
        assert [str(problem) for problem in error.value.problems] == [f"operations/0/band_shares: {reason}"]

        shares = {"roof": "1"} if machine["tariff"] else {}
        furnished.put("products/sheet", builders.product(operations=[builders.operation(band_shares=shares)]))
        if machine["tariff"]:
            furnished.put_rate("tariffs/solar", "2026-01-01", {"price_per_kwh": {"roof": builders.money("0.1")}})
        assert furnished.cost().lines


class TestAPoolThatNamesProducts:
    def test_must_name_what_is_registered_and_keeps_it(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match="there is no product 'shet'") as error:
            furnished.put("overheads/care", {"name": "Care", "base": "piece", "products": ["sheet", "shet"]})
        assert [each.path for each in error.value.problems] == [("products", 1)]

        furnished.put("overheads/care", {"name": "Care", "base": "piece", "products": ["sheet"]})

        with pytest.raises(InUseError):
            furnished.retire("products/sheet")


class TestAnOrder:
    def test_of_half_a_piece_is_refused(self, furnished: Owner) -> None:
        batch = cost_sheets.Batch("sheet", Decimal(20), pieces_per_order=Decimal("2.5"))

        with pytest.raises(InvalidValuesError, match="pieces_per_order: must be whole"):
            cost_sheets.cost_product(furnished.workspace, batch, TODAY)

    @pytest.mark.parametrize(("sold", "orders"), [({}, 1), ({"pieces_per_order": Decimal(4)}, 5)])
    def test_sold_directly_is_the_whole_batch_unless_it_says_so(
        self, furnished: Owner, sold: dict[str, Decimal], orders: int
    ) -> None:
        before = furnished.price(**sold).price_per_piece.full_cost.amount
        pool = {"name": "Letters", "base": "order"}
        furnished.register("overheads/letters", pool, **{"2026-01-01": builders.overhead_rate("8", "1")})

        after = furnished.price(**sold).price_per_piece.full_cost.amount

        assert after - before == Decimal(8) * orders / 20


class TestWhatCostsNothing:
    """35 minutes at a bench, by a grade that was named without attendance when nothing required it."""

    @pytest.fixture
    def bench(self, furnished: Owner) -> Owner:
        work = {"name": "assembling", "cycle_minutes": "35", "yield_share": "0.95"}
        named = {**work, "labour": [{"labour_grade": "operator"}]}
        product = trusted({"name": "Bench", "operations": [named]}, Product)
        registering.register(furnished.workspace, Thing("products", "bench"), product)
        return furnished

    def test_is_warned_of_on_the_bill_and_on_every_sheet(self, bench: Owner) -> None:
        bill = cost_sheets.bill_of_product(bench.workspace, "bench", 1)
        sheet, price = bench.cost("bench", quantity=1), bench.price("bench", quantity=1)
        quoted = bench.quote(lines=[builders.quotation()["lines"][0] | {"product": "bench"}])

        assert (sheet.subtotals.full_cost.per_batch, price.price_per_piece.price) == (euros("0"), euros("0"))
        told = ["no-labour-time"]
        assert [each.code for each in bill.warnings] == [each.code for each in sheet.warnings] == told
        assert [each.code for each in price.warnings] == [*told, "zero-price"]
        assert [each.code for each in quoted.remarks.warnings] == [*told, "zero-price"]

    def test_includes_a_rate_of_0_and_every_sheet_warns_of_it(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-20", builders.material_rate("0"))

        sheet, price, quoted = furnished.cost(), furnished.price(), furnished.quote()

        for found in (sheet.warnings, price.warnings, quoted.remarks.warnings):
            assert [(each.code, each.text.facts) for each in found] == [("zero-line", {"resource": "HDPE flakes"})]

    def test_is_not_warned_of_where_the_customer_brings_it(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-20", builders.material_rate("0"))
        line = builders.quotation()["lines"][0] | {"supplied_materials": ["hdpe"]}

        assert furnished.quote(lines=[line]).remarks.warnings == ()


class TestForeignRates:
    def test_are_converted_on_the_day_and_say_with_what(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        furnished.put_exchange_rates("2026-11-20", USD="1.25", JPY="160")
        furnished.put_exchange_rates("2026-11-26", USD="5")

        sheet = furnished.cost()

        assert sheet.lines[0].rate == Decimal("1.000000")
        assert [(day.published_on, day.source) for day in sheet.exchange_rates] == [(date(2026, 11, 20), "manual")]

    def test_prefer_what_was_entered_by_hand_for_the_same_day(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        for source, rate in (("zzz", "5"), ("manual", "1.25"), ("aaa", "5")):
            furnished.put_exchange_rates("2026-11-20", source, USD=rate)

        sheet = furnished.cost()

        assert sheet.lines[0].rate == Decimal("1.000000")
        assert [day.source for day in sheet.exchange_rates] == ["manual"]

    def test_say_every_day_that_was_used_once(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        furnished.put_rate("labour-grades/operator", "2026-11-01", {"wage_per_hour": builders.money("1600", "JPY")})
        furnished.put_rate(
            "overheads/rent", "2026-11-01", builders.overhead_rate(amount_per_month=builders.money("750", "USD"))
        )
        furnished.put_exchange_rates("2026-11-20", USD="1.25")
        furnished.put_exchange_rates("2026-11-18", JPY="160", USD="9")

        days = furnished.cost().exchange_rates

        assert [day.published_on for day in days] == [date(2026, 11, 18), date(2026, 11, 20)]

    @pytest.mark.parametrize(
        ("days_before", "told"),
        [
            (32, ("32 days before, where 31 are allowed", "a newer one")),
            (
                None,
                ("on 2026-11-25 or within the 31 days before it", "one of 2026-11-25, or of a day shortly before it"),
            ),
        ],
    )
    def test_without_a_rate_or_with_one_that_is_too_old_are_refused(
        self, furnished: Owner, days_before: int | None, told: tuple[str, str]
    ) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        if days_before is not None:
            furnished.put_exchange_rates((TODAY - timedelta(days=days_before)).isoformat(), USD="1.25")

        with pytest.raises(MissingExchangeRateError) as error:
            furnished.cost()

        pair = "USD and EUR, which the rate of materials/hdpe from 2026-11-01 needs,"
        of_last = "on 2026-11-25: the last one, of 'manual', is of 2026-10-24, " if days_before else ""
        remedy = f"enter, import or fetch {told[1]}"
        assert str(error.value) == f"no exchange rate between {pair} {of_last}{told[0]}; {remedy}"

    def test_with_one_just_young_enough_are_converted(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        furnished.put_exchange_rates((TODAY - timedelta(days=31)).isoformat(), USD="1.25")

        assert furnished.cost().lines[0].rate == Decimal("1.000000")


class TestWhatIf:
    def test_the_same_rates_change_nothing(self, furnished: Owner) -> None:
        same = {
            "materials/hdpe": builders.material_rate(),
            "machines/press": builders.machine_rate(),
            "tariffs/grid": builders.tariff_rate(),
            "labour-grades/operator": builders.labour_rate(),
            "overheads/rent": builders.overhead_rate(),
        }

        supposed, sheet = furnished.cost(**same), furnished.cost()

        assert supposed.lines == sheet.lines
        assert supposed.subtotals == sheet.subtotals
        assert set(supposed.rates_valid_from.values()) == {TODAY}

    def test_another_rate_changes_this_answer_alone(self, furnished: Owner) -> None:
        revision, before = furnished.revision, furnished.cost(quantity=19)

        dearer = furnished.cost(quantity=19, **{"materials/hdpe": builders.material_rate("1.60")})

        assert before.lines[0].amount == euros("153.60")  # 9.6 kg × 19 ÷ 0.95 × 0.80
        assert dearer.lines[0].amount == euros("307.20")
        assert dearer.lines[1:] != before.lines[1:]  # their shares of the full cost have changed
        assert [line.amount for line in dearer.lines[1:]] == [line.amount for line in before.lines[1:]]
        assert furnished.cost(quantity=19) == before
        assert furnished.revision == revision

    def test_it_may_supply_a_rate_that_is_missing(self, furnished: Owner) -> None:
        furnished.put("overheads/new", {"name": "New", "base": "direct_labour_value"})

        sheet = furnished.cost(**{"overheads/new": builders.overhead_rate("10", "100")})

        assert "overheads/new" in {line.resource for line in sheet.lines}
        assert "overheads/new" not in {line.resource for line in furnished.cost().lines}

    def test_unknown_resources_and_unfit_terms_are_refused_all_at_once(self, furnished: Owner) -> None:
        furnished.put("materials/old", builders.material())
        furnished.retire("materials/old")

        with pytest.raises(InvalidValuesError) as error:
            furnished.cost(
                **{
                    "materials/nothing": builders.material_rate(),
                    "materials/old": builders.material_rate(),
                    "tariffs/grid": {"price_per_kwh": {"flat": builders.money("0.2")}},
                }
            )

        assert [str(problem) for problem in error.value.problems] == [
            "rates/materials/nothing: there is no material 'nothing'; register it first",
            "rates/materials/old: there is no material 'old'; register it first",
            "rates/tariffs/grid/price_per_kwh: must price exactly the tariff's bands: day, night",
        ]

    def test_in_another_currency_it_is_converted(self, furnished: Owner) -> None:
        furnished.put_exchange_rates("2026-11-20", USD="1.25")

        sheet = furnished.cost(**{"materials/hdpe": {"price": builders.money("1.25", "USD")}})

        assert sheet.lines[0].rate == Decimal("1.000000")


class TestThePrice:
    def test_of_a_piece_starts_from_the_cost_sheets_own_figures(self, furnished: Owner) -> None:
        sheet, priced = furnished.cost(), furnished.price()

        stated = priced.price_per_piece
        assert stated.full_cost == sheet.subtotals.full_cost.per_piece
        assert stated.variable_cost == sheet.subtotals.variable_cost.per_piece
        assert stated.margin_share is not None
        assert stated.margin_share >= Decimal("0.35")
        assert (priced.tax, stated.tax) == (None, euros("0.000000"))

    def test_takes_the_tax_of_the_day(self, furnished: Owner) -> None:
        furnished.put_rate("taxes/vat", "2026-11-01", {"rate_share": "0.25"})

        priced = furnished.price(tax="vat", policy=a_policy(target="fixed_price", value="10", display="tax_inclusive"))

        assert priced.price_per_piece.tax_share == Decimal("0.25")
        assert priced.price_per_piece.net_price == euros("8.000000")

    def test_may_be_asked_the_other_way_round(self, furnished: Owner) -> None:
        priced = furnished.price()
        asked = priced.price_per_piece.price.amount

        kept = furnished.price(kept_at=asked)

        assert kept.policy is None
        assert kept.price_per_piece.profit == priced.price_per_piece.profit
        assert priced.policy == a_policy()

    def test_finer_than_the_minor_unit_is_refused_and_every_such_member_named(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError) as error:
            furnished.price(policy=a_policy(price_step="0.015"), kept_at=Decimal("1.001"))

        assert [str(problem) for problem in error.value.problems] == [
            "price_step: must be a multiple of 0.01, the minor unit of EUR",
            "kept_at: must be a multiple of 0.01, the minor unit of EUR",
        ]

    def test_with_a_price_step_of_28_digits_is_refused_as_too_large(self, furnished: Owner) -> None:
        with pytest.raises(Exception, match="too large to be computed exactly"):
            furnished.price(policy=a_policy(price_step="1" * 28))

    def test_warns_of_a_tax_whose_name_holds_another_percentage(self, furnished: Owner) -> None:
        furnished.put_rate("taxes/vat", "2026-11-01", {"rate_share": "0.25"})

        before, after = (furnished.price(tax="vat", as_of=date(2026, month, 1)).warnings for month in (10, 11))

        (told,) = (each.text for each in after if each not in before)
        assert told.startswith("The tax 'VAT 21 %' is called by another percentage than its rate, which is 25 %.")

    @pytest.mark.parametrize("tax", ["nothing", "old"])
    def test_with_an_unknown_or_retired_tax_is_refused(self, furnished: Owner, tax: str) -> None:
        furnished.register("taxes/old", {"name": "Old tax"}, **{"2026-01-01": {"rate_share": "0.1"}})
        furnished.retire("taxes/old")

        with pytest.raises(InvalidValuesError, match=f"^tax: there is no tax '{tax}'; register it first$"):
            furnished.price(tax=tax)

    def test_with_a_tax_that_has_no_rate_yet_names_its_first_day(self, furnished: Owner) -> None:
        furnished.register("taxes/new", {"name": "New tax"}, **{"2027-01-01": {"rate_share": "0.1"}})

        with pytest.raises(MissingRatesError) as error:
            furnished.price(tax="new")

        assert error.value.missing == (MissingRate(resource="taxes/new", first_valid_from=date(2027, 1, 1)),)

    def test_raised_to_a_floor_that_is_high_by_a_rounding_error_says_so(self, owner: Owner) -> None:
        owner.register("materials/hdpe", builders.material(), **{"2026-01-01": builders.material_rate("3")})
        line = {"material": "hdpe", "quantity_per_piece": "1", "process_loss_share": "0.4"}
        owner.put("products/brick", {"name": "Brick", "bill_of_materials": [line]})

        stated = owner.price(
            "brick", quantity=1, policy=a_policy(target="fixed_price", value="4", never_below_cost="full_cost")
        ).price_per_piece

        assert stated.price == euros("5.00")
        assert stated.is_raised_to_floor
