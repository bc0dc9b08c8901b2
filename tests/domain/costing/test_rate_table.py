"""Unit rates as a table: a cost is the sum of the batch's quantities times their unit rates."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given

from service.domain.costing.cost_sheet import CostSheet
from service.domain.costing.rate_table import RateTable
from service.domain.costing.rates import LabourRate, MaterialRate, OverheadRate, TariffRate
from service.domain.costing.variance import unit_costs
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.bill_of_resources import BatchBill
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import OverheadBase
from tests.domain.examples import VALUE_BASES, Shop, a_material, a_shop, an_overhead, terms_of
from tests.domain.strategies import batches, shops, tried
from tests.support import builders


def sum_of_products(bill: BatchBill, rates: Mapping[str, Decimal]) -> Fraction:
    return sum((Fraction(quantity) * Fraction(rates[part]) for part, quantity in bill.quantities.items()), Fraction(0))


def cost_of(sheet: CostSheet, *, variable_alone: bool = False) -> Fraction:
    counted = (line for line in sheet.lines if line.variable or not variable_alone)
    return sum((Fraction(line.amount) for line in counted), Fraction(0))


def size_of(sheet: CostSheet) -> Fraction:
    return sum((abs(Fraction(line.amount)) for line in sheet.lines), Fraction(0))


class TestTheSumOfProducts:
    @tried
    @given(shops(("EUR", "USD", "JPY")), batches)
    def test_is_the_cost_sheets_full_cost(self, shop: Shop, quantity: int) -> None:
        sheet = shop.sheet(quantity)

        found = sum_of_products(shop.batch_bill(quantity), shop.rating.table.full())

        assert abs(found - cost_of(sheet)) <= size_of(sheet) / 10**28

    @tried
    @given(shops(("EUR", "USD", "JPY")), batches)
    def test_is_the_cost_sheets_variable_cost(self, shop: Shop, quantity: int) -> None:
        sheet = shop.sheet(quantity)

        found = sum_of_products(shop.batch_bill(quantity), shop.rating.table.variable())

        assert abs(found - cost_of(sheet, variable_alone=True)) <= size_of(sheet) / 10**28

    def test_per_piece_is_divided_by_the_pieces(self) -> None:
        bill = BatchBill(pieces=4, quantities={"materials/a": Decimal(10), "materials/b": Decimal(2)})

        paid, credited = Decimal(3), Decimal(-1)
        rates = {"materials/a": (paid, paid), "materials/b": (credited, Decimal(0))}

        assert unit_costs(bill, rates) == (7, Decimal("7.5"))

    def test_fails_for_a_resource_without_a_rate(self) -> None:
        with pytest.raises(KeyError, match="materials/a"):
            unit_costs(BatchBill(pieces=1, quantities={"materials/a": Decimal(1)}), {})


def on_material(base: OverheadBase = OverheadBase.DIRECT_MATERIAL_VALUE, **changes: bool) -> Shop:
    """A workshop with a pool of a tenth of a value, by default the material's; flakes are at 0.80."""
    share = terms_of(OverheadRate, builders.overhead_rate("60", "600"))
    return a_shop(overheads={"pool": an_overhead(base.value, **changes)}, terms={"overheads/pool": share})


class TestAPoolOnAValue:
    def test_is_a_share_and_not_a_part(self) -> None:
        table = on_material().rating.table

        assert table.shares["overheads/pool"].share == Decimal("0.1")
        assert "overheads/pool" not in table.parts

    def test_adds_its_share_to_what_it_is_absorbed_on_and_to_nothing_else(self) -> None:
        table = on_material().rating.table

        full = table.full()

        assert full["materials/hdpe"] == Decimal("0.88")
        assert {part: full[part] for part in full if part != "materials/hdpe"} == {
            part: each.rate for part, each in table.parts.items() if part != "materials/hdpe"
        }

    @pytest.mark.parametrize(("variable", "cost"), [(False, "0.80"), (True, "0.88")])
    def test_adds_to_the_variable_cost_only_if_it_is_variable(self, variable: bool, cost: str) -> None:
        assert on_material(variable=variable).rating.table.variable()["materials/hdpe"] == Decimal(cost)

    def test_on_fixed_labour_adds_nothing_to_the_variable_cost(self) -> None:
        shop = on_material(OverheadBase.DIRECT_LABOUR_VALUE)

        assert shop.rating.table.full()["labour-grades/operator"] == Decimal("16.5")
        assert shop.rating.table.variable()["labour-grades/operator"] == 15

    def test_that_is_variable_adds_its_share_of_labour_paid_by_the_month(self) -> None:
        """The labour is fixed; the pool says of itself that it is not."""
        shop = on_material(OverheadBase.DIRECT_LABOUR_VALUE, variable=True)
        paid = terms_of(LabourRate, builders.labour_rate(paid_hours_per_month="160"))

        table = replace(shop, terms={**shop.terms, "labour-grades/operator": paid}).rating.table

        assert table.full()["labour-grades/operator"] == Decimal("16.5")
        assert table.variable()["labour-grades/operator"] == Decimal("1.5")

    def test_leaves_packaging_out(self) -> None:
        shop = a_shop(
            materials={"hdpe": a_material(), "carton": a_material(use="packaging")},
            overheads={"pool": an_overhead(VALUE_BASES[0].value)},
            terms={"overheads/pool": terms_of(OverheadRate, builders.overhead_rate("60", "600"))},
        )

        full = shop.rating.table.full()

        assert (full["materials/hdpe"], full["materials/carton"]) == (Decimal("0.88"), Decimal("0.80"))

    def test_without_a_rate_is_reported_and_costs_nothing(self) -> None:
        shop = on_material()
        unrated = Shop(
            catalogue=shop.catalogue,
            terms={resource: each for resource, each in shop.terms.items() if resource != "overheads/pool"},
        )

        assert unrated.rating.unrated_pools == ("overheads/pool",)
        assert unrated.rating.unusable == {}
        assert shop.rating.unrated_pools == ()


class TestParts:
    def test_what_the_terms_leave_out_costs_nothing(self) -> None:
        parts = a_shop().rating.table.parts

        assert parts["materials/hdpe#reclaimed"].rate == parts["tariffs/grid#standing"].rate == 0

    def test_what_the_terms_name_costs_what_they_say(self) -> None:
        shop = a_shop(
            terms={
                "materials/hdpe": terms_of(MaterialRate, builders.material_rate(reclaim_value=builders.money("0.30"))),
                "tariffs/grid": terms_of(
                    TariffRate,
                    builders.tariff_rate(standing_charge_per_month=builders.money("50"), expected_kwh_per_month="1000"),
                ),
            }
        )

        parts = shop.rating.table.parts

        assert parts["materials/hdpe#reclaimed"].rate == Decimal("-0.30")
        assert parts["tariffs/grid#standing"].rate == Decimal("0.05")

    def test_stand_under_the_cost_sheets_headings(self) -> None:
        parts = a_shop(overheads={"rent": an_overhead()}).rating.table.parts

        assert {part: (each.cost_class, each.variable) for part, each in parts.items()} == {
            "materials/hdpe": (CostClass.DIRECT_MATERIAL, True),
            "materials/hdpe#reclaimed": (CostClass.DIRECT_MATERIAL, True),
            "materials/hdpe#disposed": (CostClass.DIRECT_MATERIAL, True),
            "machines/press": (CostClass.MACHINE, False),
            "labour-grades/operator": (CostClass.DIRECT_LABOUR, True),
            "tariffs/grid#day": (CostClass.ELECTRICITY, True),
            "tariffs/grid#night": (CostClass.ELECTRICITY, True),
            "tariffs/grid#standing": (CostClass.ELECTRICITY, False),
            "tools/mould": (CostClass.TOOLING, True),
            "tools/mould#entire": (CostClass.TOOLING, True),
            "overheads/rent": (CostClass.OVERHEAD, False),
        }

    def test_of_a_resource_without_terms_are_left_out(self) -> None:
        shop = a_shop()
        without = Shop(catalogue=shop.catalogue, terms={})

        assert without.rating.table.parts == {}
        assert without.rating.unusable == {}

    def test_that_cannot_be_converted_are_left_out_and_the_reason_is_reported(self) -> None:
        abroad = terms_of(MaterialRate, {"price": builders.money("1", "USD")})
        shop = a_shop(materials={"hdpe": a_material(), "resin": a_material()}, terms={"materials/resin": abroad})

        found = shop.rating

        assert isinstance(found.unusable["materials/resin"], MissingExchangeRateError)
        assert "materials/hdpe" in found.table.parts
        assert "materials/resin" not in found.table.parts


def test_a_table_without_pools_adds_nothing() -> None:
    shop = a_shop()
    table: RateTable = shop.rating.table

    assert table.full() == {part: each.rate for part, each in table.parts.items()}
    assert all(table.charged_on(cost_class) == 0 for cost_class in CostClass)
