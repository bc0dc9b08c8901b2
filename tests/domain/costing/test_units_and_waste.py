"""Products by weight and by the hour, throughput, waste that costs or brings money, and overhead by order and setup."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.orders_of_one import orders_of_one
from service.domain.costing.rates import MaterialRate, OverheadRate
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.cost_classes import CostClass
from service.domain.making.explosion import bill_of_resources
from service.domain.making.job_sheet import job_sheet
from service.domain.making.products import inconsistencies
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import EXACT
from service.domain.values.references import whole_of
from service.domain.values.units import Unit
from tests.domain.costing.test_laws_of_costs import are_alike, exact_cost
from tests.domain.examples import (
    D,
    Shop,
    a_catalogue,
    a_line,
    a_material,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    bench_work,
    euros,
)
from tests.domain.strategies import batches, figures, shops, tried

_UNTIMED = {"cycle_minutes": "0", "pieces_per_cycle": 1}


def amounts(sheet: CostSheet) -> dict[str, Decimal]:
    return {line.resource: line.amount for line in sheet.lines}


def quantities(bill: BillOfResources) -> dict[str, Decimal]:
    return {line.resource: line.quantity for line in bill.lines}


def a_pool(base: str, **changes: Any) -> Shop:
    """A workshop with a pool of 2.00 for each unit of its base."""
    pressing = an_operation(yield_share="1")
    foot = a_product(name="Foot", bill_of_materials=[a_line()], operations=[pressing])
    sheet = a_product(bill_of_materials=[a_line(), a_line(product="part-1")], operations=[pressing, bench_work()])
    terms = {"overheads/pool": OverheadRate(amount_per_month=euros("200"), base_per_month=D(100))}
    return a_shop(sheet, foot, overheads={"pool": an_overhead(base, **changes)}, terms=terms)


class TestAnHour:
    def test_costs_what_its_minutes_do(self) -> None:
        press_work = a_product(
            name="Press work",
            unit="hour",
            bill_of_materials=[],
            operations=[an_operation(units_per_hour="1", yield_share="1", **_UNTIMED)],
        )
        run_of_150_minutes = replace(
            press_work,
            unit=Unit.PIECE,
            operations=(an_operation(cycle_minutes="150", pieces_per_cycle=1, yield_share="1"),),
        )

        by_the_hour, by_the_piece = a_shop(press_work), a_shop(run_of_150_minutes)

        assert amounts(by_the_hour.sheet(D("2.5"))) == amounts(by_the_piece.sheet(D(1)))


class TestAThroughput:
    @pytest.mark.parametrize(("yield_share", "minutes"), [("1", "90"), ("0.8", "112.5")])
    def test_is_of_what_is_started_and_never_rounded_up(self, yield_share: str, minutes: str) -> None:
        shredding = an_operation(units_per_hour="20", yield_share=yield_share, setup_minutes="0", **_UNTIMED)
        flakes = a_product(unit="kg", mass_kg=None, bill_of_materials=[a_line()], operations=[shredding])

        (step,) = a_shop(flakes).bill(D(30)).steps

        assert (step.run_minutes, step.cycles) == (D(minutes), 0)
        assert step.labour_minutes["operator"] == step.run_minutes * shredding.labour[0].attendance

    @tried
    @given(figures("0.5", "90", 2), st.integers(1, 500), figures("0.5", "1", 2))
    def test_costs_what_a_cycle_for_each_unit_does(self, an_hour: Decimal, quantity: int, share: Decimal) -> None:
        by_throughput = an_operation(units_per_hour=str(an_hour), yield_share=str(share), **_UNTIMED)
        cycle = replace(by_throughput, units_per_hour=None, cycle_minutes=EXACT.divide(D(60), an_hour))

        one, other = (a_shop(a_product(operations=[each])).sheet(D(quantity)) for each in (by_throughput, cycle))

        assert are_alike(exact_cost(one), exact_cost(other), one)

    def test_wears_its_tool_by_the_cycle(self) -> None:
        untimed = {**_UNTIMED, "pieces_per_cycle": 4}
        filling = an_operation(units_per_hour="20", tool="mould", yield_share="0.8", **untimed)

        (step,) = (bill := a_shop(a_product(operations=[filling])).bill(D(10))).steps

        assert step.run_minutes == D("37.5")  # 10 ÷ 0.8 at 20 an hour
        assert quantities(bill)["tools/mould"] == D("3.75")  # ⌈10/4⌉ ÷ 0.8


class TestAUnit:
    @tried
    @given(shops(), batches)
    def test_is_a_name_a_kilogram_costs_what_a_piece_of_one_kilogram_does(self, shop: Shop, quantity: int) -> None:
        made = shop.catalogue.products
        whole = all(each.pieces_per_cycle % 1 == 0 for product in made.values() for each in product.operations)
        units = (Unit.PIECE if whole else Unit.HOUR, Unit.KILOGRAM)
        pieces, kilograms = (
            replace(shop, catalogue=replace(shop.catalogue, products={c: replace(p, unit=u) for c, p in made.items()}))
            for u in units
        )

        assert amounts(pieces.sheet(quantity)) == amounts(kilograms.sheet(quantity))

    def test_of_a_part_is_not_rounded_up(self) -> None:
        flakes = a_product(unit="kg", mass_kg=None, bill_of_materials=[a_line()], operations=[])
        brick = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="0.3")], operations=[])

        bill = a_shop(brick, flakes).bill(D(7))

        assert bill.pieces_made["part-1"] == D("2.1")
        assert quantities(bill)["materials/hdpe"] == D("2.1")

    @pytest.mark.parametrize(
        ("unit", "quantity", "problem"),
        [
            ("piece", "2.5", "quantity: must be whole: pieces are not divided"),
            ("kg", "0.0001", "quantity: must have at most 3 decimals"),
        ],
    )
    def test_refuses_what_it_does_not_count(self, unit: str, quantity: str, problem: str) -> None:
        shop = a_shop(a_product(unit=unit, mass_kg=None))

        with pytest.raises(InvalidValuesError) as error:
            shop.bill(D(quantity))

        assert str(error.value) == problem


class TestThePriceOfAMaterial:
    @tried
    @given(shops(lowest_price="-200"), batches, figures("-300", "300", 2))
    def test_changes_the_cost_by_quantity_times_difference(self, shop: Shop, quantity: int, change: Decimal) -> None:
        """Below zero too; where a pool is absorbed on material, with its share."""
        before, bill = shop.sheet(quantity), shop.bill(quantity)
        material = next(whole_of(line.resource) for line in bill.lines if line.resource.startswith("materials/"))
        terms = shop.terms[material]
        assert isinstance(terms, MaterialRate)
        cheaper = replace(terms, price=replace(terms.price, amount=terms.price.amount - change))
        drawn = Fraction(quantities(bill).get(material, D(0)))
        use = CostClass(shop.catalogue.materials[material.partition("/")[2]].use.value)
        share = Fraction(shop.rating.table.charged_on(use))

        after = replace(shop, terms={**shop.terms, material: cheaper}).sheet(quantity)

        difference = drawn * Fraction(change) * (1 + share)
        assert are_alike(exact_cost(before) - exact_cost(after), difference, before, after)

    def test_below_zero_is_what_the_workshop_is_paid_to_take_it(self) -> None:
        gate_fee = MaterialRate(price=euros("-0.20"))
        shop = a_shop(a_product(operations=[], bill_of_materials=[a_line()]), terms={"materials/hdpe": gate_fee})

        assert shop.sheet(D(10)).full_cost == -2


class TestWaste:
    """2 kg in each of 10 pieces, of which 8 in 10 are good: 25 kg are issued, 5 are lost."""

    def shop(self, **line: str) -> Shop:
        sorted_out = a_line(quantity_per_piece="2", **line)
        product = a_product(bill_of_materials=[sorted_out], operations=[bench_work(yield_share="0.8")])
        green = MaterialRate(price=euros("0.30"), reclaim_value=euros("0.10"))
        pure = MaterialRate(price=euros("1"), reclaim_value=euros("0.40"), disposal_cost=euros("0.25"))
        return a_shop(
            product,
            materials={"hdpe": a_material(), "green": a_material(name="Green blend")},
            terms={"materials/hdpe": pure, "materials/green": green},
        )

    def test_that_is_not_reclaimed_costs_its_disposal(self) -> None:
        assert amounts(self.shop(reclaim_share="0.6").sheet(D(10))) == {
            "materials/hdpe": 25,
            "materials/hdpe#reclaimed": D("-1.2"),
            "materials/hdpe#disposed": D("0.5"),
        }

    def test_that_vanishes_costs_nothing(self) -> None:
        sheet = self.shop(reclaim_share="0.6", disposal_share="0.1").sheet(D(10))

        assert amounts(sheet)["materials/hdpe#disposed"] == D("0.125")

    def test_is_credited_as_the_material_that_it_becomes(self) -> None:
        shop = self.shop(reclaim_share="0.6", reclaimed_as="green")

        assert amounts(shop.sheet(D(10))) == {
            "materials/hdpe": 25,
            "materials/green#reclaimed": D("-0.3"),
            "materials/hdpe#disposed": D("0.5"),
        }
        assert [(each.reclaimed_as, each.reclaimed, each.disposed) for each in shop.bill(D(10)).issues] == [
            ("green", 3, 2)
        ]

    def test_of_parts_is_the_material_that_they_become_by_their_mass(self) -> None:
        """10 of 12.5 feet are good; a foot weighs 2 kg, so 5 kg are lost, of which 3 are ground up again."""
        foot = a_product(name="Foot", mass_kg="2", bill_of_materials=[a_line()], operations=[bench_work()])
        line = a_line(product="part-1", reclaim_share="0.6", reclaimed_as="green")
        sheet = a_product(bill_of_materials=[line], operations=[bench_work(yield_share="0.8")])
        green = MaterialRate(price=euros("0.30"), reclaim_value=euros("0.10"), disposal_cost=euros("0.25"))

        shop = a_shop(
            sheet,
            foot,
            materials={"hdpe": a_material(), "green": a_material(name="Green blend")},
            terms={"materials/green": green},
        )

        found = amounts(shop.sheet(D(10)))
        assert found["materials/green#reclaimed"] == D("-0.3")
        assert found["materials/green#disposed"] == D("0.5")
        (left,) = job_sheet(shop.bill(D(10)), shop.catalogue).parts[-1].wasted
        assert (left.item, left.made_of, left.quantity) == ("materials/green", "Foot", 2)

    def test_of_parts_without_a_mass_becomes_no_kilograms(self) -> None:
        foot = a_product(name="Foot", mass_kg=None, bill_of_materials=[a_line()], operations=[bench_work()])
        line = a_line(product="part-1", reclaim_share="0.6", reclaimed_as="hdpe")
        catalogue = a_catalogue(a_product(bill_of_materials=[line], operations=[bench_work()]), foot)

        (problem,) = inconsistencies(catalogue.products["sheet"], catalogue)

        assert str(problem) == (
            "bill_of_materials/0/reclaimed_as: is counted in kg, and what is lost is not; "
            "register its mass_kg, and name a material in kg"
        )

    def test_does_not_become_what_is_counted_otherwise(self) -> None:
        line = a_line(reclaim_share="1", reclaimed_as="paint")
        catalogue = a_catalogue(
            a_product(bill_of_materials=[line]), materials={"hdpe": a_material(), "paint": a_material(unit="l")}
        )

        (problem,) = inconsistencies(catalogue.products["sheet"], catalogue)

        assert str(problem) == (
            "bill_of_materials/0/reclaimed_as: is counted in l, and what is lost is not; "
            "name a material that is counted like it"
        )


class TestAPool:
    """Of 2.00 for each order, setup, hour or piece: 10 sheets, set up once, with 10 feet, set up once."""

    @pytest.mark.parametrize(
        ("base", "changes", "amount"),
        [
            ("order", {}, 2),
            ("order", {"products": ["sheet"]}, 2),
            ("order", {"products": ["part-1"]}, 0),
            ("setup", {}, 4),
            ("setup", {"products": ["part-1"]}, 2),
            ("setup", {"machines": ["press"]}, 4),
            ("setup", {"machines": ["saw"]}, 0),
            ("piece", {}, 40),
            ("piece", {"products": ["part-1"]}, 20),
        ],
    )
    def test_bears_on_what_it_names(self, base: str, changes: dict[str, list[str]], amount: int) -> None:
        sheet = a_pool(base, **changes).sheet(D(10))

        assert amounts(sheet).get("overheads/pool", 0) == amount

    @pytest.mark.parametrize("base", ["machine_hour", "labour_hour"])
    def test_of_hours_at_some_machines_bears_on_the_work_there(self, base: str) -> None:
        everywhere, there = (amounts(a_pool(base, **named).sheet(D(10))) for named in ({}, {"machines": ["press"]}))
        product = amounts(a_pool(base, products=["sheet"]).sheet(D(10)))

        assert there["overheads/pool"] == everywhere["overheads/pool"]  # nobody works at the bench
        assert 0 < product["overheads/pool"] < there["overheads/pool"]

    def test_of_orders_is_borne_by_every_order_that_a_batch_is_sold_in(self) -> None:
        shop = a_pool("order")

        bill = bill_of_resources("sheet", D(10), shop.catalogue, orders=D("2.5"))

        assert amounts(cost_sheet(bill, shop.unit_rates(), shop.card))["overheads/pool"] == 5


class TestAnOrderOfOne:
    def test_is_warned_of_where_a_pool_is_spread_over_orders(self) -> None:
        shop = a_pool("order")

        (warning,) = orders_of_one(shop.sheet(D(10)), shop.pools, D(1))

        assert str(warning.text) == (
            "Every order is taken to have 1 of it, and bears 2 of Rent. "
            "Give pieces_per_order if more is usually ordered together."
        )

    def test_is_not_warned_of_without_one(self) -> None:
        shop = a_pool("setup")

        assert list(orders_of_one(shop.sheet(D(10)), shop.pools, D(1))) == []
