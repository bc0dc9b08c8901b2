"""Unit rates computed from terms, and terms that are refused."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.rate_card import DatedRate, rate_problems, unit_components, unit_rates
from service.domain.costing.rates import LabourRate, MachineRate, MaterialRate, OverheadRate, TariffRate, ToolRate
from service.domain.making.resources import LabourGrade
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.values.errors import InvalidValuesError, UnknownCurrencyError
from service.domain.values.exact import exactly
from service.domain.values.money import Money
from service.domain.values.references import part_of
from service.encoding import decoded
from tests.domain.examples import TODAY, a_shop, a_tariff, an_overhead, euros, terms_of
from tests.support import builders


def components(terms: Any) -> dict[str, dict[str, Decimal]]:
    return exactly(terms.components)(lambda money: money.amount)


class TestComponents:
    def test_of_a_material_are_its_price_and_the_credit_for_regrind(self) -> None:
        assert components(MaterialRate(price=euros("2"))) == {"": {"price": 2}}
        assert components(MaterialRate(price=euros("2"), reclaim_value=euros("0.5"))) == {
            "": {"price": 2},
            "reclaimed": {"reclaim value": Decimal("-0.5")},
        }

    def test_of_a_machine_hour_are_depreciation_interest_space_maintenance_and_other(self) -> None:
        rate = terms_of(
            MachineRate,
            builders.machine_rate(
                residual_value=builders.money("4000"),
                interest_share="0.05",
                floor_m2="10",
                space_cost_per_m2_month=builders.money("8"),
                maintenance_share="0.04",
                other_per_year=builders.money("200"),
                utilisation_share="0.5",
            ),
        )

        assert components(rate) == {
            "": {
                "depreciation": Decimal("2.5"),  # 20000 ÷ 10 ÷ 800
                "interest": Decimal("0.875"),  # 14000 × 0.05 ÷ 800
                "space": Decimal("1.2"),
                "maintenance": Decimal("1.2"),
                "other": Decimal("0.25"),
            }
        }

    def test_of_a_machine_with_a_purchase_price_only_are_its_depreciation(self) -> None:
        amounts = components(terms_of(MachineRate, builders.machine_rate()))[""]

        assert sum(amounts.values()) == amounts["depreciation"] == Decimal("1.5")

    def test_of_labour_are_the_wage_its_on_costs_and_the_paid_hours_not_worked(self) -> None:
        rate = LabourRate(wage_per_hour=euros("15"), on_cost_share=Decimal("0.2"), productive_share=Decimal("0.8"))

        assert components(rate) == {"": {"wage": 15, "on-cost": 3, "paid but unproductive time": Decimal("4.5")}}

    def test_of_labour_are_the_same_whether_it_is_paid_by_the_hour_or_by_the_month(self) -> None:
        by_the_month = builders.labour_rate(on_cost_share="0.2", paid_hours_per_month="160", people="2")

        found = components(terms_of(LabourRate, by_the_month))

        assert found == components(terms_of(LabourRate, builders.labour_rate(on_cost_share="0.2")))

    @pytest.mark.parametrize(
        ("charges", "standing"),
        [
            ({}, None),
            ({"expected_kwh_per_month": "100"}, None),
            (
                {"expected_kwh_per_month": "100", "standing_charge_per_month": builders.money("20")},
                {"standing charge": Decimal("0.2")},
            ),
            (
                {
                    "expected_kwh_per_month": "100",
                    "standing_charge_per_month": builders.money("20"),
                    "demand_charge_per_month": builders.money("5"),
                },
                {"standing charge": Decimal("0.2"), "demand charge": Decimal("0.05")},
            ),
        ],
    )
    def test_of_a_tariff_are_its_bands_and_its_charges_spread_over_the_expected_use(
        self, charges: dict[str, Any], standing: dict[str, Decimal] | None
    ) -> None:
        found = components(terms_of(TariffRate, builders.tariff_rate(**charges)))

        bands = {"day": {"energy": Decimal("0.30")}, "night": {"energy": Decimal("0.18")}}
        assert found == (bands if standing is None else {**bands, "standing": standing})

    def test_of_a_tool_are_one_shot_and_the_whole_tool(self) -> None:
        found = components(ToolRate(cost=euros("3000"), life_shots=Decimal(60_000)))

        assert found == {"": {"tool": Decimal("0.05")}, "entire": {"tool": 3000}}

    def test_of_a_tax_are_none(self) -> None:
        tax = DatedRate(resource="taxes/vat", valid_from=TODAY, terms=TaxRate(rate_share=Decimal("0.21")))

        assert unit_components(tax, None, lambda money: money.amount) == {}

    def test_in_a_currency_that_has_ended_are_refused_by_the_rate_and_its_day(self) -> None:
        rate = DatedRate(resource="materials/hdpe", valid_from=TODAY, terms=MaterialRate(price=euros("2")))

        def convert(money: Money) -> Decimal:
            raise UnknownCurrencyError(money.currency, TODAY, "XYZ")

        with pytest.raises(UnknownCurrencyError) as error:
            unit_components(rate, None, convert)

        assert str(error.value) == (
            f"the rate of materials/hdpe from {TODAY}: EUR is no longer in use; its last day was {TODAY}; use XYZ"
        )


class TestThePayOfAMonth:
    @pytest.mark.parametrize(("people", "wage", "on_cost"), [({}, "2400", "480"), ({"people": "2.5"}, "6000", "1200")])
    def test_is_wage_and_on_cost_for_all_paid_hours_of_everybody(
        self, people: dict[str, str], wage: str, on_cost: str
    ) -> None:
        terms = builders.labour_rate(on_cost_share="0.2", productive_share="0.8", paid_hours_per_month="160", **people)

        found = terms_of(LabourRate, terms).per_month(lambda money: money.amount)

        assert found == {"wage": Decimal(wage), "on-cost": Decimal(on_cost)}

    def test_is_none_where_it_is_paid_by_the_hour(self) -> None:
        assert terms_of(LabourRate, builders.labour_rate()).per_month(lambda money: money.amount) == {}


class TestUnitRates:
    def test_of_a_pool_on_a_value_is_a_share_and_takes_no_conversion(self) -> None:
        shop = a_shop(
            overheads={"a": an_overhead(), "b": an_overhead("direct_labour_value")},
            terms={
                f"overheads/{code}": OverheadRate(amount_per_month=euros("50"), base_per_month=Decimal(200))
                for code in "ab"
            },
        )

        rates = unit_rates(shop.card, shop.card.rates, shop.pools, lambda money: money.amount * 3)

        assert rates["overheads/a"] == Decimal("0.75")
        assert rates["overheads/b"] == Decimal("0.25")
        assert rates["materials/hdpe"] == Decimal("2.40")

    def test_are_listed_by_part(self) -> None:
        assert part_of("tariffs/grid", "day") == "tariffs/grid#day"
        assert part_of("materials/hdpe", "") == "materials/hdpe"
        shop = a_shop()

        rates = unit_rates(shop.card, ["tariffs/grid", "materials/hdpe"], shop.pools, lambda money: money.amount)

        assert "tariffs/grid#day" in rates
        assert rates["materials/hdpe"] == Decimal("0.80")

    def test_of_a_resource_without_a_rate_or_not_asked_for_are_left_out(self) -> None:
        shop = a_shop()

        rates = unit_rates(shop.card, ["materials/unknown"], shop.pools, lambda money: money.amount)

        assert rates == {}


def negative(of: str = "-0.01") -> dict[str, str]:
    return builders.money(of)


class TestInvalidTerms:
    @pytest.mark.parametrize(
        ("kind", "body", "message"),
        [
            (MaterialRate, builders.material_rate(disposal_cost=negative()), "disposal_cost/amount: must be 0 or more"),
            (MaterialRate, builders.material_rate(reclaim_value=negative()), "reclaim_value/amount: must be 0 or more"),
            (MachineRate, builders.machine_rate(replacement_value=negative()), "replacement_value/amount: must be 0"),
            (MachineRate, builders.machine_rate(other_per_year=negative()), "other_per_year/amount: must be 0"),
            (MachineRate, builders.machine_rate(floor_m2="3"), "space_cost_per_m2_month: is required where floor_m2"),
            (
                MachineRate,
                builders.machine_rate(residual_value=builders.money("24001")),
                "residual_value/amount: must not be above the replacement value",
            ),
            (MachineRate, builders.machine_rate(life_years="0"), "life_years: must be more than 0"),
            (MachineRate, builders.machine_rate(planned_hours_per_year="8785"), "planned_hours_per_year: must be 8784"),
            (LabourRate, builders.labour_rate("-1"), "wage_per_hour/amount: must be 0 or more"),
            (LabourRate, builders.labour_rate(productive_share="0"), "productive_share: must be more than 0"),
            (
                LabourRate,
                builders.labour_rate(people="2"),
                "people: is for pay by the month: give paid_hours_per_month too, or leave it out",
            ),
            (LabourRate, builders.labour_rate(paid_hours_per_month="0"), "paid_hours_per_month: must be more than 0"),
            (
                LabourRate,
                builders.labour_rate(paid_hours_per_month="744.5"),
                "paid_hours_per_month: must be 744 or less",
            ),
            (LabourRate, builders.labour_rate(paid_hours_per_month="160", people="0"), "people: must be more than 0"),
            (TariffRate, builders.tariff_rate(day="-0.1"), "price_per_kwh/day/amount: must be 0 or more"),
            (TariffRate, {"price_per_kwh": {}}, "price_per_kwh: must have 1 to 24 entries"),
            (
                TariffRate,
                builders.tariff_rate(demand_charge_per_month=builders.money("9")),
                "expected_kwh_per_month: is required to spread the monthly charges over",
            ),
            (OverheadRate, builders.overhead_rate("-1"), "amount_per_month/amount: must be 0 or more"),
            (OverheadRate, builders.overhead_rate(base="0"), "base_per_month: must be more than 0"),
            (ToolRate, {"cost": negative(), "life_shots": "1"}, "cost/amount: must be 0 or more"),
            (TaxRate, {"rate_share": "1"}, "rate_share: must be less than 1"),
        ],
    )
    def test_are_refused(self, kind: type[Any], body: dict[str, Any], message: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            decoded(body, kind)

        assert message in str(error.value)

    def test_a_machine_may_have_a_disposal_cost_or_a_residual_value_in_another_currency(self) -> None:
        disposal = builders.machine_rate(residual_value=builders.money("-800"))
        foreign = builders.machine_rate(residual_value=builders.money("99999", "JPY"))

        assert components(terms_of(MachineRate, disposal))[""]["depreciation"] == Decimal("1.55")
        assert terms_of(MachineRate, foreign).residual_value is not None


class TestTermsForWhatTheyAreRegisteredUnder:
    def test_a_tariff_is_priced_in_exactly_its_bands(self) -> None:
        (problem,) = rate_problems(terms_of(TariffRate, builders.tariff_rate()), a_tariff(bands=["flat"]), TODAY)

        assert (problem.path, problem.reason) == (("price_per_kwh",), "must price exactly the tariff's bands: flat")
        assert rate_problems(terms_of(TariffRate, builders.tariff_rate()), a_tariff(), TODAY) == []

    @pytest.mark.parametrize(
        ("category", "is_taxed"), [("S", True), ("L", True), ("M", True), ("Z", False), ("E", False)]
    )
    def test_an_untaxed_category_has_a_rate_of_0(self, category: str, is_taxed: bool) -> None:
        tax = decoded({"name": "tax", "category": category, "exemption_reason": "as the law says"}, Tax)

        problems = rate_problems(TaxRate(rate_share=Decimal("0.1")), tax, TODAY)

        assert [each.reason for each in problems] == ([] if is_taxed else [f"must be 0 for category {category}"])
        assert rate_problems(TaxRate(rate_share=Decimal(0)), tax, TODAY) == []

    def test_anything_else_takes_any_terms_of_its_kind(self) -> None:
        assert rate_problems(terms_of(LabourRate, builders.labour_rate()), LabourGrade(name="Operator"), TODAY) == []
