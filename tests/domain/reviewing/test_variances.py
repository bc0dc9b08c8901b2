"""The variances of a batch, cause by cause."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.rates import LabourRate, MaterialRate, OverheadRate, TariffRate
from service.domain.making.resources import MaterialUse
from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import record_basis
from service.domain.reviewing.comparison import batch_variances
from service.domain.reviewing.uncounted import lost_by_shares
from service.domain.reviewing.variance_kinds import Effect, VarianceKind
from service.domain.values.money import Money
from tests.domain.examples import (
    TODAY,
    Shop,
    a_line,
    a_material,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    bench_work,
    terms_of,
)
from tests.domain.records.recorded import a_record, counts_of, records
from tests.domain.reviewing.reviewed import amounts, amounts_of, compared, stated
from tests.domain.strategies import shops, tried
from tests.support import builders

K = VarianceKind


def eur(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "EUR"}


def bench(**changes: Any) -> Any:
    labour = [{"labour_grade": "operator", "attendance": "1"}]
    return bench_work(**{"cycle_minutes": "6", "labour": labour, **changes})


@pytest.fixture
def plain() -> Shop:
    """Twenty pieces take 40 kg at 0.80, 2 hours at 15, 20 machine hours at 1.50, and 100 kWh at 0.30."""
    line = a_line(quantity_per_piece="2", reclaim_share="0.5")
    press = an_operation(cycle_minutes="60", setup_minutes="0", yield_share="1", load_factor="0.5", labour=[])
    rates = {"materials/hdpe": terms_of(MaterialRate, builders.material_rate(reclaim_value=eur("0.20")))}
    return a_shop(
        a_product(bill_of_materials=[line], operations=[press, bench()]),
        terms=rates,
        machines={"press": replace(a_shop().catalogue.machines["press"], rated_power_kw=Decimal(10))},
    )


class TestABatchAsEstimated:
    def test_has_no_variance(self, plain: Shop) -> None:
        batch = compared(plain, a_record())

        assert batch.variances == ()
        assert batch.standard_cost == batch.actual_cost == 122

    def test_says_what_nobody_counted(self, plain: Shop) -> None:
        found = stated(plain, a_record())

        assert [(each.what.value, each.item) for each in found.taken_as_estimated] == [
            ("issued", "materials/hdpe"),
            ("hours", "labour-grades/operator"),
            ("kwh", "tariffs/grid"),
            ("minutes", "sheet/pressing"),
            ("scrap", "sheet/pressing"),
            ("minutes", "sheet/trimming"),
            ("scrap", "sheet/trimming"),
        ]
        assert found.text == "Nobody counted more than the 20 pieces that came out, so the cost is as estimated"

    def test_that_was_counted_so_cost_what_it_should(self, plain: Shop) -> None:
        found = stated(plain, a_record(materials=[{"material": "hdpe", "issued": "40"}]))

        assert found.text == "The batch cost what the 20 pieces that came out should have cost"

    def test_but_for_less_than_a_cent_has_no_cause_to_look_into(self, plain: Shop) -> None:
        found = stated(plain, a_record(materials=[{"material": "hdpe", "issued": "40.004"}]))

        assert (found.variances, found.variance.amount) == ((), 0)

    def test_of_one_piece_speaks_of_one(self, plain: Shop) -> None:
        found = stated(plain, a_record(good_units="1", units_started="2"))

        assert found.text.endswith("more than the 1 piece that came out should have")
        assert found.variances[0].text.startswith("Scrap was 1 piece, not 0: ")


class TestMaterial:
    def test_used_beyond_the_bill_is_usage_and_what_comes_back_of_it_regrind(self, plain: Shop) -> None:
        assert amounts_of(plain, materials=[{"material": "hdpe", "issued": "46"}]) == {
            (K.MATERIAL_USAGE, "materials/hdpe"): Decimal("4.8"),
            (K.MATERIAL_RECLAIMED, "materials/hdpe#reclaimed"): Decimal("-0.6"),
        }

    def test_that_is_lost_and_not_reclaimed_costs_its_disposal(self, plain: Shop) -> None:
        rate = builders.material_rate(reclaim_value=eur("0.20"), disposal_cost=eur("0.10"))
        shop = replace(plain, terms={**plain.terms, "materials/hdpe": terms_of(MaterialRate, rate)})

        found = amounts_of(shop, materials=[{"material": "hdpe", "issued": "46"}])

        assert found[K.MATERIAL_DISPOSED, "materials/hdpe#disposed"] == Decimal("0.3")
        assert stated(shop, a_record(materials=[{"material": "hdpe", "issued": "46"}])).variances[-1].text == (
            "By the estimated share, 3 kg had to be got rid of, not 0: HDPE flakes, disposal of waste: 0.30 EUR more, "
            "adverse"
        )

    def test_that_came_back_is_by_its_share_unless_somebody_counted_it(self, plain: Shop) -> None:
        def told(**returned: str) -> tuple[list[str], bool]:
            found = stated(plain, a_record(materials=[{"material": "hdpe", "issued": "46", **returned}]))
            what = [f"{each.text}" for each in found.variances if each.kind is K.MATERIAL_RECLAIMED]
            return what, ("returned", "materials/hdpe") in {(each.what, each.item) for each in found.taken_as_estimated}

        name = "HDPE flakes, credit for regrind"
        assert told() == ([f"By the estimated share, 3 kg came back, not 0: {name}: 0.60 EUR less, favourable"], True)
        assert told(returned="2") == ([f"2 kg came back, not 0: {name}: 0.40 EUR less, favourable"], False)
        assert told(returned="0") == ([], False)

    def test_that_came_back_of_a_part_nobody_can_count(self) -> None:
        part = a_line(product="part-1", reclaim_share="0.5", reclaimed_as="hdpe")
        press = an_operation(yield_share="1", labour=[])
        part_1 = a_product(bill_of_materials=[a_line()], mass_kg="1", operations=[bench()])
        shop = a_shop(a_product(bill_of_materials=[part], operations=[press]), part_1)
        record = a_record(operations=[{"operation": "pressing", "scrap": "4"}])

        by_shares = lost_by_shares(record, record_basis(record, shop.catalogue))

        assert by_shares == {"materials/hdpe#reclaimed", "materials/hdpe#disposed"}
        assert "returned" not in {each.what.value for each in stated(shop, record).taken_as_estimated}

    def test_dearer_than_its_rate_is_price(self, plain: Shop) -> None:
        found = compared(plain, a_record(materials=[{"material": "hdpe", "paid": eur("100"), "paid_for": "100"}]))

        assert amounts(found) == {(K.MATERIAL_PRICE, "materials/hdpe"): 8}
        assert found.variances[0].what == "HDPE flakes cost 1 EUR a kg, not 0.8"

    def test_that_the_workshop_is_paid_to_take_is_cheaper(self, plain: Shop) -> None:
        material = {"material": "hdpe", "paid": eur("-4")}

        assert amounts_of(plain, materials=[material]) == {(K.MATERIAL_PRICE, "materials/hdpe"): -36}

    def test_that_the_workshop_was_to_be_paid_for_says_so(self, plain: Shop) -> None:
        gate_fee = terms_of(MaterialRate, builders.material_rate("-0.10", disposal_cost=eur("0.10")))
        shop = replace(plain, terms={**plain.terms, "materials/hdpe": gate_fee})

        found = compared(shop, a_record(materials=[{"material": "hdpe", "paid": eur("-3")}]))

        assert found.variances[0].what == "The workshop was paid 0.075 EUR a kg for taking HDPE flakes, not 0.1"
        assert stated(shop, a_record(materials=[{"material": "hdpe", "issued": "60"}])).variances[
            0
        ].share_of_standard == (Decimal("-0.5"))

    def test_of_which_nothing_was_issued_has_no_price(self, plain: Shop) -> None:
        found = amounts_of(plain, materials=[{"material": "hdpe", "issued": "0", "paid": eur("90"), "paid_for": "100"}])

        assert found == {(K.MATERIAL_USAGE, "materials/hdpe"): -32}

    def test_paid_in_another_currency_is_converted(self, plain: Shop) -> None:
        record = a_record(materials=[{"material": "hdpe", "paid": {"amount": "50", "currency": "USD"}}])
        basis = record_basis(record, plain.catalogue)

        found = batch_variances(record, basis, plain.unit_rates(), plain.card, lambda money: money.amount * 2)

        assert amounts(found) == {(K.MATERIAL_PRICE, "materials/hdpe"): 68}


class TestTheMix:
    COUNTS: tuple[dict[str, str], ...] = ({"material": "hdpe", "issued": "10"}, {"material": "pure", "issued": "15"})

    def mixing(self, use: MaterialUse = MaterialUse.DIRECT_MATERIAL, unit: str = "kg") -> Shop:
        lines = [a_line(quantity_per_piece="0.6"), a_line(material="pure", quantity_per_piece="0.4")]
        pure = replace(a_material(name="Pure", unit=unit), use=use)
        price = terms_of(MaterialRate, builders.material_rate("2"))
        return a_shop(
            a_product(bill_of_materials=lines, operations=[bench()]),
            materials={"hdpe": a_material(), "pure": pure},
            terms={"materials/pure": price},
        )

    def of(self, **changes: Any) -> Mapping[Any, Decimal]:
        return amounts_of(self.mixing(**changes), materials=self.COUNTS)

    def test_that_uses_more_is_told_of_all_of_it(self) -> None:
        found = stated(self.mixing(), a_record(materials=self.COUNTS))

        assert [each.text for each in found.variances if each.kind is K.MATERIAL_USAGE] == [
            "25 kg of the mix were used, not 20: Pure: 4.00 EUR more, adverse",
            "25 kg of the mix were used, not 20: HDPE flakes: 2.40 EUR more, adverse",
        ]

    @pytest.mark.parametrize(("of_it", "issued"), [(1, "10"), (2, "0")])
    def test_is_not_known_unless_each_of_it_was_counted_and_used(self, of_it: int, issued: str) -> None:
        found = amounts_of(self.mixing(), materials=[{**each, "issued": issued} for each in self.COUNTS[:of_it]])

        assert {kind for kind, _ in found} == {K.MATERIAL_USAGE}

    def test_of_materials_of_one_unit_is_told_apart_from_the_rest_of_their_usage(self) -> None:
        assert self.of() == {
            (K.MATERIAL_MIX, "materials/hdpe"): -4,
            (K.MATERIAL_USAGE, "materials/hdpe"): Decimal("2.4"),
            (K.MATERIAL_MIX, "materials/pure"): 10,
            (K.MATERIAL_USAGE, "materials/pure"): 4,
        }

    @pytest.mark.parametrize("other", [{"use": MaterialUse.PACKAGING}, {"unit": "l"}])
    def test_is_only_of_materials_of_one_unit_that_are_in_the_piece(self, other: dict[str, Any]) -> None:
        assert self.of(**other) == {
            (K.MATERIAL_USAGE, "materials/hdpe"): Decimal("-1.6"),
            (K.MATERIAL_USAGE, "materials/pure"): 14,
        }


class TestLabour:
    def test_that_took_longer_is_efficiency_and_dearer_an_hour_rate(self, plain: Shop) -> None:
        labour = [{"labour_grade": "operator", "hours": "3", "paid": eur("48")}]

        assert amounts_of(plain, labour=labour) == {
            (K.LABOUR_EFFICIENCY, "labour-grades/operator"): 15,
            (K.LABOUR_RATE, "labour-grades/operator"): 3,
        }

    def test_paid_and_not_worked_is_idle_time(self, plain: Shop) -> None:
        found = compared(plain, a_record(labour=[{"labour_grade": "operator", "hours": "2", "idle_hours": "1.5"}]))

        assert amounts(found) == {(K.LABOUR_IDLE_TIME, "labour-grades/operator"): Decimal("22.5")}
        assert found.variances[0].what == "Operator was paid for 1.5 h without work"
        assert found.actual_cost == Decimal("144.5")

    def test_paid_by_the_month_is_no_money_spent(self, plain: Shop) -> None:
        terms = terms_of(LabourRate, builders.labour_rate(paid_hours_per_month="160"))
        shop = replace(plain, terms={**plain.terms, "labour-grades/operator": terms})

        (found,) = compared(shop, a_record(labour=[{"labour_grade": "operator", "hours": "3"}])).variances

        assert (found.amount, found.variable) == (15, 0)


class TestMachinesAndElectricity:
    def test_a_longer_run_costs_machine_time_and_the_electricity_that_follows_from_it(self, plain: Shop) -> None:
        found = amounts_of(plain, operations=[{"operation": "pressing", "minutes": "1260"}])

        assert found == {
            (K.MACHINE_TIME, "machines/press"): Decimal("1.5"),
            (K.ENERGY_USAGE, "tariffs/grid#day"): Decimal("1.05"),
            (K.ENERGY_USAGE, "tariffs/grid#night"): Decimal("0.45"),
        }

    def test_kilowatt_hours_and_what_they_cost_are_usage_and_price(self, plain: Shop) -> None:
        electricity = [{"tariff": "grid", "meter_begin": "0", "meter_end": "110", "paid": eur("44")}]

        assert amounts_of(plain, electricity=electricity) == {
            (K.ENERGY_USAGE, "tariffs/grid#day"): Decimal("2.1"),
            (K.ENERGY_USAGE, "tariffs/grid#night"): Decimal("0.9"),
            (K.ENERGY_PRICE, "tariffs/grid#day"): Decimal("7.7"),
            (K.ENERGY_PRICE, "tariffs/grid#night"): Decimal("3.3"),
        }

    def test_a_band_has_a_price_of_its_own(self, plain: Shop) -> None:
        electricity = [{"tariff": "grid", "band": "night", "paid": eur("12")}]

        assert amounts_of(plain, electricity=electricity) == {(K.ENERGY_PRICE, "tariffs/grid#night"): 3}

    def test_what_is_free_of_charge_may_have_been_paid_for(self, plain: Shop) -> None:
        free = terms_of(TariffRate, {"price_per_kwh": {"day": eur("0"), "night": eur("0")}})
        shop = replace(plain, terms={**plain.terms, "tariffs/grid": free})

        assert amounts_of(shop, electricity=[{"tariff": "grid", "paid": eur("20")}]) == {
            (K.ENERGY_PRICE, "tariffs/grid#day"): 14,
            (K.ENERGY_PRICE, "tariffs/grid#night"): 6,
        }

    def test_standing_charges_are_fixed_cost_that_follows_the_kilowatt_hours(self, plain: Shop) -> None:
        prices = {"day": eur("0.30"), "night": eur("0.30")}
        terms = {"price_per_kwh": prices, "standing_charge_per_month": eur("10"), "expected_kwh_per_month": "100"}
        shop = replace(plain, terms={**plain.terms, "tariffs/grid": terms_of(TariffRate, terms)})

        batch = compared(shop, a_record(electricity=[{"tariff": "grid", "kwh": "150"}]))

        found = {each.kind: (each.amount, each.variable) for each in batch.variances}
        assert found[K.FIXED_OVERHEAD_EFFICIENCY] == (5, 0)
        absorbed = {each.resource: (each.standard, each.actual) for each in batch.absorbed}
        assert absorbed == {"machines/press": (30, 30), "tariffs/grid": (10, 15)}


class TestTools:
    def test_wear_with_the_units_begun(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(tool="mould", yield_share="1"), bench()]))
        electricity = [{"tariff": "grid", "kwh": "96"}]

        found = compared(shop, a_record(operations=[{"operation": "trimming", "scrap": "1"}], electricity=electricity))

        assert found.variances[0].kind is K.YIELD
        assert not [each for each in found.variances if each.resource.startswith("tools")]


class TestTheYield:
    def test_is_what_the_units_lost_cost_beyond_the_yields_over_all_resources(self, plain: Shop) -> None:
        batch = compared(plain, a_record(operations=[{"operation": "trimming", "scrap": "5"}]))

        (found,) = batch.variances
        # 10 kg at 0.80, of which half come back at 0.20; half an hour, five machine hours, 25 kWh
        assert found.amount == 8 - 1 + Decimal("7.5") + Decimal("7.5") + Decimal("7.5")
        assert found.variable == found.amount - Decimal("7.5")
        assert (found.kind, found.resource, found.what) == (K.YIELD, "products/sheet", "Scrap was 5 pieces, not 0")
        assert found.effect is Effect.ADVERSE

    def test_of_a_batch_of_no_good_unit_is_all_that_it_cost(self, plain: Shop) -> None:
        found = stated(plain, a_record(good_units="0", units_started="20"))

        assert found.standard_cost.amount == 0
        # of 40 kg lost, 20 come back at 0.20
        assert found.actual_cost.amount == found.variance.amount == 118
        assert found.text == "Nothing good came out: the batch cost 118.00 EUR and brought nothing"
        (variance,) = found.variances
        assert (
            variance.text
            == "Nothing good came out: what the units begun should have cost is lost: 118.00 EUR more, adverse"
        )
        assert (found.standard_unit_cost, found.actual_unit_cost, variance.share_of_standard) == (None, None, None)

    def test_is_favourable_with_less_scrap_than_the_yields_allow_for(self) -> None:
        found = stated(a_shop(), a_record(units_started="20"))

        (variance,) = found.variances
        assert variance.effect is Effect.FAVOURABLE
        assert variance.text == "Scrap was 0 pieces, not 1.053: 13.28 EUR less, favourable"
        assert found.text == "The batch cost 13.28 EUR less than the 20 pieces that came out should have"

    def test_tells_of_the_products_own_scrap_and_else_of_that_of_its_parts(self) -> None:
        """Sheets are glued of two boards each, of which a tenth are scrap."""
        board = a_product(name="Board", operations=[bench(name="sawing", yield_share="0.9")])
        bin_ = a_product(name="Bin", bill_of_materials=[a_line(product="board", quantity_per_piece="2")])
        shop = a_shop(products={"sheet": bin_, "board": board})

        of_parts = compared(shop, a_record(operations=[{"operation": "sawing", "product": "board", "scrap": "9"}]))
        own = compared(shop, a_record(operations=[{"operation": "pressing", "scrap": "3"}]))
        counts = [{"operation": "sawing", "product": "board", "scrap": "9"}, {"operation": "pressing", "scrap": "3"}]
        both = compared(shop, a_record(operations=counts))

        assert of_parts.variances[0].what == "What it is made of had other scrap than it should"
        assert own.variances[0].what == "Scrap was 3 pieces, not 1.053"
        told = "Scrap was 3 pieces, not 1.053, and what it is made of had other scrap than it should"
        assert both.variances[0].what == told


class TestOverheads:
    def of(self, base: str, *, variable: bool, **counts: Any) -> Mapping[Any, Decimal]:
        shop = a_shop(
            a_product(operations=[bench()], bill_of_materials=[a_line()]),
            overheads={"pool": an_overhead(base, variable=variable)},
            terms={"overheads/pool": terms_of(OverheadRate, builders.overhead_rate("500", "100"))},
        )
        of_pool = amounts_of(shop, **counts)
        return {kind: amount for (kind, resource), amount in of_pool.items() if resource == "overheads/pool"}

    def test_follow_the_hours_that_they_bear_on(self) -> None:
        labour = [{"labour_grade": "operator", "hours": "3"}]

        assert self.of("labour_hour", variable=True, labour=labour) == {K.VARIABLE_OVERHEAD_EFFICIENCY: 5}
        assert self.of("labour_hour", variable=False, labour=labour) == {K.FIXED_OVERHEAD_EFFICIENCY: 5}

    def test_follow_the_value_that_they_bear_on_with_its_price(self) -> None:
        material = [{"material": "hdpe", "issued": "25", "paid": eur("30")}]

        assert self.of("direct_material_value", variable=False, materials=material) == {
            K.FIXED_OVERHEAD_EFFICIENCY: (30 - 16) * 5
        }

    @pytest.mark.parametrize(("base", "borne"), [("labour_hour", 10), ("direct_labour_value", 150)])
    def test_of_which_more_was_spent_are_spending(self, base: str, borne: int) -> None:
        spent = [{"overhead": "pool", "paid": eur("160")}]

        assert self.of(base, variable=True, overheads=spent) == {K.VARIABLE_OVERHEAD_SPENDING: 160 - borne}

    def test_of_which_was_spent_what_they_bear_have_no_variance(self) -> None:
        assert self.of("labour_hour", variable=True, overheads=[{"overhead": "pool", "paid": eur("10")}]) == {}

    def test_without_a_rate_cost_what_was_spent(self) -> None:
        shop = a_shop(a_product(operations=[bench()]), overheads={"pool": an_overhead("labour_hour", variable=True)})
        shop = replace(shop, terms={name: each for name, each in shop.terms.items() if name != "overheads/pool"})

        found = amounts_of(shop, overheads=[{"overhead": "pool", "paid": eur("9")}])

        assert found == {(K.VARIABLE_OVERHEAD_SPENDING, "overheads/pool"): 9}


class TestTheStatement:
    def test_leads_from_the_rounded_standard_to_the_rounded_actual_cost(self) -> None:
        counts = {
            "units_started": "23",
            "materials": [{"material": "hdpe", "issued": "231.7", "paid": eur("199.99")}],
            "labour": [{"labour_grade": "operator", "hours": "4.7"}],
            "electricity": [{"tariff": "grid", "kwh": "117"}],
            "operations": [{"operation": "pressing", "minutes": "901"}],
        }

        found = stated(a_shop(), a_record(**counts))

        assert found.standard_cost.amount + sum(each.amount.amount for each in found.variances) == (
            found.actual_cost.amount
        )
        sizes = [abs(each.amount.amount) for each in found.variances]
        assert sizes == sorted(sizes, reverse=True)
        assert found.taken_as_estimated == ()
        assert (
            found.text
            == f"The batch cost {found.variance.amount} EUR more than the 20 pieces that came out should have"
        )
        assert found.actual_unit_cost is not None
        assert round(found.actual_unit_cost.amount * 20, 2) == found.actual_cost.amount


class TestLaws:
    @tried
    @given(st.data())
    def test_variances_add_up_exactly_from_standard_to_actual_cost(self, data: st.DataObject) -> None:
        shop = data.draw(shops(("EUR", "USD")))
        record: BatchRecord = data.draw(records(shop))

        batch = compared(shop, record)
        found = stated(shop, record)

        assert batch.standard_cost + sum(each.amount for each in batch.variances) == batch.actual_cost
        assert found.standard_cost.amount + sum(each.amount.amount for each in found.variances) == (
            found.actual_cost.amount
        )
        fixed = sum(each.actual - each.standard for each in batch.absorbed)
        assert sum(each.amount - each.variable for each in batch.variances) == fixed

    @tried
    @given(st.data())
    def test_a_record_equal_to_the_estimate_has_none(self, data: st.DataObject) -> None:
        shop = data.draw(shops())
        good = data.draw(st.integers(1, 300))
        rates = shop.unit_rates()
        bill = shop.bill(good)

        def paid(resource: str, quantity: Decimal) -> Money:
            return Money(amount=quantity * rates[resource], currency=shop.currency)

        counts = counts_of(bill, shop, lambda: Decimal(1), paid=paid)
        record = BatchRecord(product=shop.top, made_on=TODAY, good_units=Decimal(good), **counts)

        batch = compared(shop, record)

        assert batch.variances == ()
        assert batch.actual_cost == batch.standard_cost

    @tried
    @given(st.data(), st.sampled_from(["2", "0.25", "1000"]).map(Decimal))
    def test_scaling_all_money_scales_them(self, data: st.DataObject, times: Decimal) -> None:
        shop = data.draw(shops())
        record: BatchRecord = data.draw(records(shop))
        basis = record_basis(record, shop.catalogue)
        values = {f"overheads/{code}" for code, pool in shop.catalogue.overheads.items() if pool.base.is_value}
        rates = shop.unit_rates()
        scaled = {part: rate if part in values else rate * times for part, rate in rates.items()}

        one = batch_variances(record, basis, rates, shop.card, lambda money: money.amount)
        other = batch_variances(record, basis, scaled, shop.card, lambda money: money.amount * times)

        found = amounts(other)
        for (kind, resource), amount in amounts(one).items():
            assert abs(found.get((kind, resource), Decimal(0)) - amount * times) < Decimal("0.0001")
        assert abs(other.actual_cost - one.actual_cost * times) < Decimal("1E-9")
