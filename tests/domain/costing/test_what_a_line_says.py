"""Names, units and labels of cost lines, and the members that refusals name; no other test checks these words."""

from decimal import Decimal

import pytest

from service.domain.costing.rate_card import rate_problems
from service.domain.costing.rates import MachineRate, OverheadRate, TariffRate
from service.domain.making.resources import STANDING, Tariff
from service.domain.pricing.price import UnitCosts
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded
from tests.domain.examples import (
    TODAY,
    a_line,
    a_material,
    a_policy,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    euros,
    price,
)
from tests.support import builders


def furnished() -> tuple[dict[str, str], dict[str, str]]:
    """Names and units, by resource, of a sheet with every kind of line."""
    shop = a_shop(
        products={
            "sheet": a_product(
                bill_of_materials=[a_line(), a_line(material="carton", quantity_per_piece="0.5")],
                operations=[an_operation(tool="mould")],
            )
        },
        materials={"hdpe": a_material(), "carton": a_material(name="Carton", unit="piece", use="packaging")},
        overheads={
            "rent": an_overhead(name="Rent"),
            "office": an_overhead("labour_hour", name="Office"),
            "labels": an_overhead("piece", name="Labels"),
            "buying": an_overhead("direct_material_value", name="Buying"),
        },
        terms={
            "tariffs/grid": decoded(
                builders.tariff_rate(standing_charge_per_month=builders.money("60"), expected_kwh_per_month="2000"),
                TariffRate,
            )
        },
    )
    lines = shop.sheet(20).lines
    return {line.resource: line.name for line in lines}, {line.resource: line.unit for line in lines}


def test_every_line_has_the_name_of_its_resource_and_the_unit_of_its_quantity() -> None:
    names, units = furnished()

    assert units == {
        "materials/hdpe": "kg",
        "materials/carton": "piece",
        "labour-grades/operator": "h",
        "machines/press": "h",
        "tariffs/grid#day": "kWh",
        "tariffs/grid#night": "kWh",
        f"tariffs/grid#{STANDING}": "kWh",
        "tools/mould": "shot",
        "overheads/labels": "piece",
        "overheads/office": "h",
        "overheads/rent": "h",
        "overheads/buying": "EUR",
    }
    assert names["materials/carton"] == "Carton"
    assert names["overheads/buying"] == "Buying"
    assert names["overheads/labels"] == "Labels"
    assert names["tariffs/grid#day"] == "Grid, day"


def test_a_pool_without_a_base_on_the_sheet_does_not_hide_the_pools_after_it() -> None:
    shop = a_shop(
        products={"sheet": a_product(operations=[an_operation(labour=[])])},
        overheads={"a": an_overhead("direct_labour_value"), "b": an_overhead("direct_material_value")},
        terms={
            f"overheads/{code}": OverheadRate(amount_per_month=euros("50"), base_per_month=Decimal(1000))
            for code in "ab"
        },
    )

    assert [line.resource for line in shop.sheet(20).lines if line.resource.startswith("overheads/")] == ["overheads/b"]


class TestTheFloorShown:
    costs = UnitCosts(variable=Decimal(5), full=Decimal(8), shown_variable=Decimal(5))

    def test_is_the_variable_cost_with_tax_where_the_policy_names_none(self) -> None:
        policy = a_policy(display="tax_inclusive")

        assert price(policy, self.costs, tax_share=Decimal("0.2"), currency="EUR").floor_price == 6

    def test_is_the_policys_own_where_it_names_one(self) -> None:
        policy = a_policy(display="tax_inclusive", never_below_cost="full_cost")

        assert price(policy, self.costs, tax_share=Decimal("0.2"), currency="EUR").floor_price == Decimal("9.60")


@pytest.mark.parametrize("member", ["standing_charge_per_month", "demand_charge_per_month"])
def test_a_negative_charge_is_refused_by_its_member(member: str) -> None:
    body = builders.tariff_rate(expected_kwh_per_month="2000", **{member: builders.money("-1")})

    with pytest.raises(InvalidValuesError) as refused:
        decoded(body, TariffRate)

    assert [problem.path for problem in refused.value.problems] == [(member, "amount")]


def test_the_residual_value_of_a_machine_may_equal_its_price() -> None:
    body = builders.machine_rate(residual_value=builders.money("24000"))

    assert decoded(body, MachineRate).components(lambda money: money.amount)[""]["depreciation"] == 0


def test_a_rate_on_an_untaxed_category_and_an_unpriced_band_are_refused_by_member() -> None:
    exempt = decoded({"name": "Exempt", "category": "E", "exemption_reason": "small business"}, Tax)
    tariff = decoded(builders.tariff(bands=["day", "night", "weekend"]), Tariff)

    (tax_problem,) = rate_problems(TaxRate(rate_share=Decimal("0.2")), exempt, TODAY)
    (band_problem,) = rate_problems(decoded(builders.tariff_rate(), TariffRate), tariff, TODAY)

    assert tax_problem.path == ("rate_share",)
    assert band_problem.path == ("price_per_kwh",)
    assert band_problem.reason == "must price exactly the tariff's bands: day, night, weekend"


def test_the_components_of_a_pool_are_called_overhead() -> None:
    terms = OverheadRate(amount_per_month=euros("50"), base_per_month=Decimal(200))

    assert terms.components(lambda money: money.amount) == {"": {"overhead": Decimal("0.25")}}


def test_a_card_with_what_if_rates_has_the_same_day_and_currency() -> None:
    shop = a_shop()
    supposed = decoded(builders.tariff_rate(day="0.5"), TariffRate)

    card = shop.card.replaced({"tariffs/grid": supposed})

    assert (card.as_of, card.currency) == (TODAY, "EUR")
    assert (card.rates["tariffs/grid"].resource, card.rates["tariffs/grid"].valid_from) == ("tariffs/grid", TODAY)
    assert card.rates["tariffs/grid"].terms == supposed
    assert card.rates["materials/hdpe"] == shop.card.rates["materials/hdpe"]


def test_a_price_too_fine_for_the_currency_is_refused_with_the_minor_unit() -> None:
    policy = a_policy(target="fixed_price", value="0.125", price_step="0.001", price_endings=["0.0005"])

    told = {problem.path: problem.reason for problem in policy.grid_problems("EUR")}

    assert told == {
        ("value",): "must be a multiple of 0.01, the minor unit of EUR",
        ("price_step",): "must be a multiple of 0.01, the minor unit of EUR",
        ("price_endings",): "must be a multiple of 0.01, the minor unit of EUR",
    }
