"""Cost sheets, a bill of resources times rates: every heading by hand, missing rates, and what is shown."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.cost_statement import cost_statement, for_people
from service.domain.costing.errors import MissingRatesError
from service.domain.costing.rates import OverheadRate, TariffRate, ToolRate
from service.domain.making.resources import STANDING, Tool
from tests.domain.examples import (
    TODAY,
    Shop,
    a_bare_machine,
    a_line,
    a_material,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    bench_work,
    euros,
    terms_of,
)
from tests.support import builders


def amounts(sheet: CostSheet) -> dict[str, Decimal]:
    return {line.resource: line.amount for line in sheet.lines}


def of_material(per_batch: str, **changes: object) -> Shop:
    """A product of one material at 1.00 a kilogram, this much a batch."""
    lines = [a_line(quantity_per_piece="0", quantity_per_batch=per_batch)]
    return a_shop(a_product(bill_of_materials=lines, operations=[], **changes), terms=AT_ONE)


AT_ONE = {"materials/hdpe": terms_of(type(a_shop().terms["materials/hdpe"]), builders.material_rate("1"))}


class TestHeadings:
    def test_every_class_of_cost_and_every_subtotal_by_hand(self) -> None:
        people = [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.5"}]
        pressing = an_operation(
            setup_minutes="30", cycle_minutes="6", yield_share="1", labour=people, band_shares={}, tool="mould"
        )
        carton = a_material(name="Carton", unit="piece", use="packaging", polymer=None)
        shop = a_shop(
            a_product(
                bill_of_materials=[a_line(quantity_per_piece="2"), a_line(material="carton", operation="pressing")],
                operations=[pressing],
            ),
            materials={"hdpe": a_material(), "carton": carton},
            machines={"press": a_bare_machine()},
            overheads={"rent": an_overhead(), "purchasing": an_overhead("direct_material_value", variable=True)},
            tools={"mould": Tool(name="Mould")},
            terms={
                "materials/carton": terms_of(type(AT_ONE["materials/hdpe"]), builders.material_rate("0.5")),
                "overheads/purchasing": OverheadRate(amount_per_month=euros("10"), base_per_month=Decimal(200)),
            },
        )

        sheet = shop.sheet(10)

        assert amounts(sheet) == {
            "materials/hdpe": Decimal(16),  # 20 kg × 0.80
            "materials/carton": Decimal(5),
            "labour-grades/operator": Decimal(15),  # 1 h × 15
            "machines/press": Decimal("2.25"),  # 1.5 h × 24000 ÷ 10 ÷ 1600
            "tools/mould": Decimal("0.5"),  # 10 × 3000 ÷ 60000
            "overheads/rent": Decimal("4.5"),  # 1.5 h × 600 ÷ 200
            "overheads/purchasing": Decimal("0.8"),  # 16 × 10 ÷ 200, packaging apart
        }
        assert sheet.prime_cost == 36
        assert sheet.conversion_cost == Decimal("23.05")
        assert sheet.variable_cost == Decimal("37.3")
        assert sheet.full_cost == Decimal("44.05")

    def test_reclaimed_material_is_deducted_before_a_pool_takes_its_share_of_the_material(self) -> None:
        rate = terms_of(
            type(AT_ONE["materials/hdpe"]), builders.material_rate("1", reclaim_value=builders.money("0.5"))
        )
        shop = a_shop(
            a_product(bill_of_materials=[a_line(reclaim_share="1")], operations=[bench_work(yield_share="0.5")]),
            overheads={"purchasing": an_overhead("direct_material_value")},
            terms={
                "materials/hdpe": rate,
                "overheads/purchasing": OverheadRate(amount_per_month=euros("1"), base_per_month=Decimal(10)),
            },
        )

        sheet = shop.sheet(10)

        assert amounts(sheet) == {
            "materials/hdpe": Decimal(20),
            "materials/hdpe#reclaimed": Decimal(-5),
            "overheads/purchasing": Decimal("1.5"),
        }
        reclaimed = next(line for line in sheet.lines if line.resource.endswith("#reclaimed"))
        assert reclaimed.effect_of_one_percent == Decimal("-0.055")

    def test_two_pools_on_one_value_both_count_in_the_effect_of_a_rate(self) -> None:
        half = OverheadRate(amount_per_month=euros("1"), base_per_month=Decimal(2))
        shop = a_shop(
            a_product(bill_of_materials=[a_line()], operations=[]),
            overheads={"a": an_overhead("direct_material_value"), "b": an_overhead("direct_material_value")},
            terms={**AT_ONE, "overheads/a": half, "overheads/b": half},
        )

        sheet = shop.sheet(100)

        assert sheet.full_cost == 200
        assert sheet.lines[0].effect_of_one_percent == 2


class TestMissingRates:
    def test_name_every_resource_once_and_the_date(self) -> None:
        shop = a_shop(overheads={"rent": an_overhead(), "purchasing": an_overhead("direct_material_value")})
        nothing = replace(shop, terms={})

        with pytest.raises(MissingRatesError) as error:
            nothing.sheet(1)

        assert error.value.as_of == TODAY
        assert [each.resource for each in error.value.missing] == [
            "materials/hdpe",
            "labour-grades/operator",
            "machines/press",
            "tariffs/grid",
        ]
        assert "no rate in force on 2026-11-25 for materials/hdpe, labour-grades/operator" in str(error.value)

    def test_do_not_include_a_standing_charge_or_a_reclaim_value_that_the_terms_leave_out(self) -> None:
        product = a_product(bill_of_materials=[a_line(reclaim_share="1")])
        shop = a_shop(product)

        sheet = shop.sheet(10)

        quantities = {line.resource: line.quantity for line in shop.bill(10).lines}
        assert quantities["materials/hdpe#reclaimed"] > 0
        assert quantities[f"tariffs/grid#{STANDING}"] > 0
        assert not {"materials/hdpe#reclaimed", f"tariffs/grid#{STANDING}"} & set(amounts(sheet))

    def test_include_a_band_that_the_terms_do_not_price(self) -> None:
        shop = a_shop(terms={"tariffs/grid": TariffRate(price_per_kwh={"day": euros("0.3")})})

        with pytest.raises(MissingRatesError) as error:
            shop.sheet(1)

        assert [each.resource for each in error.value.missing] == ["tariffs/grid"]


class TestShown:
    @pytest.mark.parametrize(("tooling", "cost"), [("entire", "90.00"), ("per_shot", "300.00")])
    def test_a_tool_is_variable_bought_or_worn(self, tooling: str, cost: str) -> None:
        product = a_product(bill_of_materials=[], operations=[bench_work(tool="mould", tooling=tooling)])
        shop = a_shop(product, terms={"tools/mould": ToolRate(cost=euros("90"), life_shots=Decimal(3))})

        stated = cost_statement(shop.sheet(10), rates_valid_from={})

        assert stated.subtotals.fixed_cost.per_batch == euros("0.00")
        assert stated.subtotals.variable_cost.per_batch == euros(cost)

    def test_shares_are_of_the_full_cost_and_absent_where_it_is_0(self) -> None:
        free = {"materials/hdpe": terms_of(type(AT_ONE["materials/hdpe"]), builders.material_rate("0"))}
        shop = of_material("3")

        assert cost_statement(shop.sheet(1), rates_valid_from={}).lines[0].share_of_full_cost == 1
        nothing = cost_statement(replace(shop, terms=free).sheet(1), rates_valid_from={})
        assert nothing.lines[0].share_of_full_cost is None
        assert nothing.subtotals.full_cost.per_batch == euros("0.00")

    def test_nothing_is_a_share_of_a_full_cost_below_0(self) -> None:
        paid = {"materials/hdpe": terms_of(type(AT_ONE["materials/hdpe"]), builders.material_rate("-0.25"))}

        stated = for_people(cost_statement(replace(of_material("3"), terms=paid).sheet(1), rates_valid_from={}))

        assert [(line.amount, line.share_of_full_cost) for line in stated.lines] == [(euros("-0.75"), None)]
        assert stated.subtotals.full_cost.per_piece == euros("-0.750")

    def test_a_unit_cost_at_a_tie_is_rounded_up_wherever_it_is_shown(self) -> None:
        """Three lines of 17/6 of a unit in the last place add up to 8.5 units, shown as 9."""
        shares = [a_line(material=code, quantity_per_piece="0", quantity_per_batch="0.000017") for code in "abc"]
        shop = a_shop(
            a_product(bill_of_materials=shares, operations=[]),
            materials={code: a_material() for code in "abc"},
            terms={f"materials/{code}": AT_ONE["materials/hdpe"] for code in "abc"},
        )

        stated = cost_statement(shop.sheet(6), rates_valid_from={})

        assert stated.subtotals.full_cost.per_piece == euros("0.000009")

    def test_no_amount_is_a_negative_zero(self) -> None:
        rate = terms_of(
            type(AT_ONE["materials/hdpe"]), builders.material_rate("1", reclaim_value=builders.money("0.0001"))
        )
        product = a_product(bill_of_materials=[a_line(reclaim_share="1")], operations=[bench_work(yield_share="0.99")])
        shop = a_shop(product, terms={"materials/hdpe": rate})

        stated = cost_statement(shop.sheet(1000), rates_valid_from={})

        assert "-0.000000" not in [f"{line.one_percent_adds_per_piece.amount:f}" for line in stated.lines]


def test_a_sheet_of_nothing_costs_nothing() -> None:
    shop = a_shop(a_product(bill_of_materials=[], operations=[bench_work()]))

    sheet = cost_sheet(shop.bill(5), {}, shop.card)

    assert sheet.full_cost == 0
    assert cost_statement(sheet, rates_valid_from={}).cost_classes == {}
