"""The bill of resources of a batch: quantities by hand, loops, depth, and products that no longer fit."""

from dataclasses import replace
from decimal import Decimal
from time import thread_time

import pytest

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.errors import InconsistentProductError, ProductLoopError
from service.domain.making.explosion import MAX_RESOURCES, MAX_STEPS, bill_of_resources
from service.domain.making.nesting import MAX_DEPTH, made_in_order
from service.domain.making.products import Catalogue, Product
from service.domain.making.resources import LabourGrade
from service.domain.values.errors import FigureTooLargeError, TooComplexError
from service.domain.values.shown import shown
from tests.domain.examples import (
    a_bare_machine,
    a_catalogue,
    a_line,
    a_machine,
    a_material,
    a_product,
    a_tariff,
    an_operation,
    an_overhead,
    bench_work,
)


def quantities(bill: BillOfResources) -> dict[str, Decimal]:
    return {line.resource: line.quantity for line in bill.lines}


def bill_of(*products: Product, quantity: int = 10, **changes: object) -> BillOfResources:
    return bill_of_resources("sheet", quantity, a_catalogue(*products, **changes))


def chain(levels: int) -> dict[str, Product]:
    """This many products, of which each contains the next; the last is made at a bench."""
    made = {
        f"level-{level}": a_product(bill_of_materials=[a_line(product=f"level-{level + 1}")], operations=[])
        for level in range(1, levels)
    }
    return {**made, f"level-{levels}": a_product(bill_of_materials=[], operations=[bench_work()])}


class TestMaterial:
    def test_is_issued_for_every_piece_started_and_for_process_losses(self) -> None:
        line = a_line(quantity_per_piece="2", process_loss_share="0.2")
        product = a_product(bill_of_materials=[line], operations=[bench_work(yield_share="0.5")])

        bill = bill_of(product, quantity=10)

        assert quantities(bill) == {
            "materials/hdpe": Decimal(50),
            "materials/hdpe#disposed": Decimal(30),
        }  # 2 × 10/0.5 ÷ 0.8

    def test_enters_at_the_operation_its_line_names(self) -> None:
        steps = [bench_work(name="first", yield_share="0.5"), bench_work(name="last")]
        late = a_product(bill_of_materials=[a_line(operation="last")], operations=steps)
        early = a_product(bill_of_materials=[a_line()], operations=steps)

        assert quantities(bill_of(late, quantity=10)) == {"materials/hdpe": Decimal(10)}
        assert quantities(bill_of(early, quantity=10))["materials/hdpe"] == 20

    def test_of_a_product_without_operations_is_issued_for_every_piece(self) -> None:
        bill = bill_of(a_product(bill_of_materials=[a_line(quantity_per_batch="3")], operations=[]), quantity=10)

        assert quantities(bill)["materials/hdpe"] == 13
        assert bill.issues[0].operation == ""

    def test_that_does_not_end_in_a_good_piece_is_reclaimed_by_its_share(self) -> None:
        line = a_line(quantity_per_piece="2", quantity_per_batch="1", reclaim_share="0.5")
        product = a_product(bill_of_materials=[line], operations=[bench_work(yield_share="0.8")])

        bill = bill_of(product, quantity=10)

        assert quantities(bill)["materials/hdpe"] == 26  # 2 × 10/0.8 + 1
        assert quantities(bill)["materials/hdpe#reclaimed"] == 3  # half of 26 − 20
        assert quantities(bill)["materials/hdpe#disposed"] == 3
        assert [line.name for line in bill.lines] == [
            "HDPE flakes",
            "HDPE flakes, credit for regrind",
            "HDPE flakes, disposal of waste",
        ]

    def test_used_as_packaging_stands_under_packaging(self) -> None:
        carton = a_material(name="Carton", unit="piece", use="packaging", polymer=None)
        product = a_product(bill_of_materials=[a_line(), a_line(material="carton")], operations=[])

        bill = bill_of(product, materials={"hdpe": a_material(), "carton": carton})

        assert [(line.resource, line.cost_class) for line in bill.lines] == [
            ("materials/hdpe", "direct_material"),
            ("materials/carton", "packaging"),
        ]


class TestOperation:
    def test_runs_whole_cycles_for_what_is_required_and_repeats_them_by_yield(self) -> None:
        product = a_product(operations=[bench_work(cycle_minutes="3", pieces_per_cycle=4, yield_share="0.8")])

        (step,) = bill_of(product, quantity=10).steps

        assert (step.pieces_good, step.pieces_started) == (Decimal(10), Decimal("12.5"))
        assert step.cycles == Decimal("3.75")  # ⌈10/4⌉ ÷ 0.8
        assert step.run_minutes == Decimal("11.25")

    def test_at_a_bench_takes_labour_and_neither_machine_nor_electricity(self) -> None:
        work = bench_work(
            setup_minutes="30",
            cycle_minutes="6",
            labour=[{"labour_grade": "operator", "setup_crew": "2", "attendance": "0.5"}],
        )

        bill = bill_of(a_product(bill_of_materials=[], operations=[work]), quantity=10)

        assert quantities(bill) == {"labour-grades/operator": Decimal("1.5")}  # (30 × 2 + 60 × 0.5) ÷ 60
        assert bill.steps[0].machine_minutes == bill.steps[0].electricity_kwh == 0

    def test_on_a_machine_draws_electricity_for_warm_up_setup_and_run_by_band(self) -> None:
        machine = a_machine(rated_power_kw="12", load_factor="0.5", idle_power_kw="2", warm_up_power_kw="8")
        work = an_operation(
            setup_minutes="30",
            warm_up_minutes="15",
            cycle_minutes="6",
            yield_share="1",
            labour=[],
            band_shares={"day": "0.75", "night": "0.25"},
        )

        bill = bill_of(a_product(bill_of_materials=[], operations=[work]), machines={"press": machine})

        assert quantities(bill) == {
            "machines/press": Decimal("1.75"),  # 30 + 15 + 10 × 6 minutes
            "tariffs/grid#day": Decimal("6.75"),  # 0.25 h × 8 kW + 0.5 h × 2 kW + 1 h × 12 kW × 0.5 = 9 kWh
            "tariffs/grid#night": Decimal("2.25"),
            "tariffs/grid#standing": Decimal(9),
        }
        assert [line.variable for line in bill.lines] == [False, True, True, False]

    @pytest.mark.parametrize(
        ("pieces", "warm_ups"),
        [(15, 1), (16, 2), (35, 2), (36, 3)],  # 30 + 6 × 15 = 120 minutes; the 16th needs 126, the 36th 246
    )
    def test_on_a_machine_that_runs_two_hours_on_one_warm_up_warms_up_again(self, pieces: int, warm_ups: int) -> None:
        machine = a_machine(rated_power_kw="0", warm_up_power_kw="8", minutes_on_one_warm_up="120")
        work = an_operation(setup_minutes="30", warm_up_minutes="15", cycle_minutes="6", yield_share="1", labour=[])

        (step,) = bill_of(a_product(operations=[work]), quantity=pieces, machines={"press": machine}).steps

        assert step.machine_minutes == 30 + 15 * warm_ups + 6 * pieces
        assert step.electricity_kwh == 2 * warm_ups  # 0.25 h × 8 kW

    def test_that_takes_no_time_of_a_machine_warms_it_up_once(self) -> None:
        machine = a_machine(warm_up_power_kw="8", minutes_on_one_warm_up="120")
        work = an_operation(setup_minutes="0", warm_up_minutes="15", cycle_minutes="0", labour=[])

        assert bill_of(a_product(operations=[work]), machines={"press": machine}).steps[0].machine_minutes == 15

    def test_has_a_load_factor_of_its_own_where_it_names_one(self) -> None:
        work = an_operation(setup_minutes="0", cycle_minutes="6", yield_share="1", load_factor="1", labour=[])

        bill = bill_of(a_product(bill_of_materials=[], operations=[work]))

        assert bill.steps[0].electricity_kwh == 12

    def test_may_leave_the_division_out_where_the_tariff_has_one_band(self) -> None:
        work = an_operation(setup_minutes="0", cycle_minutes="6", yield_share="1", labour=[], band_shares={})

        bill = bill_of(a_product(bill_of_materials=[], operations=[work]), tariffs={"grid": a_tariff(bands=["flat"])})

        assert quantities(bill)["tariffs/grid#flat"] == Decimal("7.2")

    def test_on_the_same_machine_by_the_same_grade_adds_to_the_quantities_of_the_one_before(self) -> None:
        pressing = an_operation(name="pressing", setup_minutes="10", cycle_minutes="3", yield_share="1")
        trimming = an_operation(name="trimming", setup_minutes="5", cycle_minutes="1", yield_share="1")
        first, second, both = (
            bill_of(a_product(bill_of_materials=[], operations=operations))
            for operations in ([pressing], [trimming], [pressing, trimming])
        )

        assert set(both.minutes) == set(first.minutes) == set(second.minutes) != set()
        for resource, minutes in both.minutes.items():
            assert minutes == first.minutes[resource] + second.minutes[resource], resource
            assert quantities(both)[resource] * 60 == minutes, resource

    def test_on_a_machine_without_a_tariff_draws_nothing(self) -> None:
        work = an_operation(yield_share="1", setup_minutes="0", labour=[], band_shares={})

        bill = bill_of(a_product(bill_of_materials=[], operations=[work]), machines={"press": a_bare_machine()})

        assert set(quantities(bill)) == {"machines/press"}

    def test_wears_its_tool_by_the_shot_or_charges_all_of_it_to_the_batch(self) -> None:
        by_shot = bench_work(name="moulding", pieces_per_cycle=4, yield_share="0.5", tool="mould")
        entire = replace(by_shot, tooling="entire")

        worn, bought = (
            bill_of(a_product(bill_of_materials=[], operations=[each]), quantity=10) for each in (by_shot, entire)
        )

        tools = {line.resource: (line.quantity, line.unit, line.variable) for line in (*worn.lines, *bought.lines)}
        assert tools == {
            "tools/mould": (Decimal(6), "shot", True),  # ⌈10/4⌉ ÷ 0.5
            "tools/mould#entire": (Decimal(1), "piece", True),
        }
        assert (worn.tools_bought, bought.tools_bought) == ((), ("tools/mould",))

    def test_buys_a_tool_once_for_all_operations_and_sub_assemblies_and_counts_no_wear_besides(self) -> None:
        entire = bench_work(tool="mould", tooling="entire")
        works = [entire, replace(entire, name="again"), bench_work(name="worn", tool="mould")]
        part = a_product(name="Part", bill_of_materials=[], operations=works)
        whole = a_product(bill_of_materials=[a_line(material=None, product="part-1")], operations=works)

        lines = bill_of(whole, part, quantity=10).lines

        assert [(each.resource, each.quantity) for each in lines] == [("tools/mould#entire", 1)]

    def test_shortens_its_run_labour_and_nothing_else_by_the_learning_curve(self) -> None:
        work = bench_work(
            setup_minutes="60",
            cycle_minutes="60",
            labour=[{"labour_grade": "operator", "setup_crew": "1", "attendance": "1"}],
        )
        new = a_product(bill_of_materials=[], operations=[work], learning_curve={"rate_share": "0.8"})

        bill = bill_of(new, quantity=4)

        assert bill.steps[0].run_minutes == 240
        assert quantities(shown(BillOfResources, "", bill))["labour-grades/operator"] == Decimal("3.56")  # 1 + 4 × 0.8²


class TestOverhead:
    def test_follows_machine_hours_labour_hours_and_pieces_through_every_sub_assembly(self) -> None:
        people = [{"labour_grade": "operator", "attendance": "0.5"}]
        pressing = an_operation(
            cycle_minutes="6", setup_minutes="0", yield_share="1", labour=people, band_shares={}, machine="press"
        )
        part = a_product(bill_of_materials=[], operations=[pressing])
        whole = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="3")], operations=[])
        pools = {base: an_overhead(base) for base in ("machine_hour", "labour_hour", "piece", "direct_labour_value")}

        bill = bill_of(whole, part, machines={"press": a_bare_machine()}, overheads=pools)

        assert quantities(bill)["overheads/machine_hour"] == 3
        assert quantities(bill)["overheads/labour_hour"] == Decimal("1.5")
        assert quantities(bill)["overheads/piece"] == 40  # 10 and 30 parts
        assert [pool.resource for pool in bill.value_pools] == ["overheads/direct_labour_value"]


class TestSubAssemblies:
    def test_are_made_in_one_lot_as_large_as_everything_above_needs(self) -> None:
        bolt = a_product(bill_of_materials=[a_line(quantity_per_piece="0.01")], operations=[])
        panel = a_product(bill_of_materials=[a_line(product="part-2", quantity_per_piece="4")], operations=[])
        bench = a_product(
            bill_of_materials=[a_line(product="part-1", quantity_per_piece="2"), a_line(product="part-2")],
            operations=[bench_work(yield_share="0.8")],
        )

        bill = bill_of(bench, panel, bolt, quantity=8)

        assert bill.pieces_made == {"sheet": 8, "part-1": 20, "part-2": 90}  # 10 × 1 + 20 × 4
        assert quantities(bill) == {"materials/hdpe": Decimal("0.9")}

    def test_are_made_before_whatever_needs_them(self) -> None:
        products = chain(6)
        products["level-1"] = a_product(
            bill_of_materials=[a_line(product="level-6"), a_line(product="level-2")], operations=[]
        )

        assert made_in_order("level-1", products) == [f"level-{level}" for level in range(1, 7)]

    def test_twice_in_each_of_thirty_levels_are_counted_right_in_the_time_of_thirty(self) -> None:
        products = {
            f"level-{level}": a_product(bill_of_materials=[a_line(product=f"level-{level + 1}")] * 2, operations=[])
            for level in range(1, 30)
        }
        products["level-30"] = a_product(bill_of_materials=[a_line()], operations=[])

        began = thread_time()
        bill = bill_of_resources("level-1", 3, replace(a_catalogue(), products=products))

        assert thread_time() - began < 10  # 2^29 lines one by one would be hours
        assert quantities(bill) == {"materials/hdpe": Decimal(3 * 2**29)}


class TestLoops:
    def test_a_product_in_itself_is_refused(self) -> None:
        with pytest.raises(ProductLoopError, match="a product cannot contain itself: a → a") as error:
            made_in_order("a", {"a": a_product(bill_of_materials=[a_line(product="a")])})

        assert error.value.loop == ("a", "a")

    def test_a_longer_loop_is_listed_from_where_it_begins(self) -> None:
        products = {
            one: a_product(bill_of_materials=[a_line(product=other)])
            for one, other in {"top": "a", "a": "b", "b": "c", "c": "a"}.items()
        }

        with pytest.raises(ProductLoopError, match="a → b → c → a") as error:
            made_in_order("top", products)

        assert error.value.loop == ("a", "b", "c", "a")


class TestLimits:
    def test_as_many_levels_as_allowed_are_made_and_one_more_is_refused(self) -> None:
        assert len(made_in_order("level-1", chain(MAX_DEPTH))) == MAX_DEPTH

        with pytest.raises(TooComplexError, match=f"more than {MAX_DEPTH} levels of sub-assemblies") as error:
            made_in_order("level-1", chain(MAX_DEPTH + 1))

        assert (error.value.what, error.value.limit) == ("levels of sub-assemblies", MAX_DEPTH)

    def test_more_steps_than_can_be_made_at_once_are_refused_before_any_is_made(self) -> None:
        """The labour grade is missing, so making any of the parts would fail."""
        people = [{"labour_grade": "gone", "setup_crew": "1"}]
        work = [bench_work(name=f"s{n}", setup_minutes="1", labour=people) for n in range(100)]
        part = a_product(bill_of_materials=[], operations=work)
        parts = {f"part-{place}": part for place in range(MAX_STEPS // 100)}
        halves = {
            f"half-{half}": a_product(bill_of_materials=[a_line(product=each) for each in list(parts)[half::2]])
            for half in range(2)
        }
        whole = a_product(bill_of_materials=[a_line(product=half) for half in halves])

        with pytest.raises(TooComplexError, match="more than 50000 operations and bill-of-materials lines"):
            bill_of_resources("whole", 1, a_catalogue(products={"whole": whole, **halves, **parts}))

    def test_more_resources_than_a_sheet_can_hold_are_refused(self) -> None:
        grades = {f"g{place}": LabourGrade(name="Operator") for place in range(MAX_RESOURCES + 1)}
        people = [{"labour_grade": grade, "setup_crew": "1"} for grade in grades]
        groups = [people[start : start + 20] for start in range(0, len(people), 20)]
        steps = [bench_work(name=f"s{n}", setup_minutes="1", labour=group) for n, group in enumerate(groups)]
        parts = [
            a_product(bill_of_materials=[], operations=steps[start : start + 100])
            for start in range(0, len(steps), 100)
        ]
        whole = a_product(
            bill_of_materials=[a_line(product=f"part-{place}") for place in range(1, len(parts) + 1)], operations=[]
        )

        with pytest.raises(TooComplexError, match="more than 10000 resources; split the product"):
            bill_of(whole, *parts, labour_grades=grades)

    def test_a_quantity_beyond_the_exact_digits_is_refused(self) -> None:
        huge = a_product(bill_of_materials=[a_line(quantity_per_piece="9" * 28)], operations=[])

        with pytest.raises(FigureTooLargeError, match="too large to be computed exactly"):
            shown(BillOfResources, "", bill_of(huge, quantity=10**9))


class TestAProductThatNoLongerFits:
    @pytest.mark.parametrize(
        ("machine", "tariff", "reason"),
        [
            ({"tariff": "grid"}, {"bands": ["flat"]}, "the tariff has no band day, night; it has flat"),
            ({"tariff": "grid"}, {"bands": ["day", "night", "peak"]}, None),
            ({"tariff": None, "rated_power_kw": "0"}, {}, "the machine 'press' draws no power; leave them out"),
        ],
    )
    def test_is_refused_saying_what_to_register_again(
        self, machine: dict[str, str], tariff: dict[str, list[str]], reason: str | None
    ) -> None:
        catalogue = a_catalogue(machines={"press": a_machine(**machine)}, tariffs={"grid": a_tariff(**tariff)})

        if reason is None:  # a band that the work never runs in
            assert bill_of_resources("sheet", 1, catalogue).steps
            return
        with pytest.raises(InconsistentProductError, match="register the product 'sheet' again") as error:
            bill_of_resources("sheet", 1, catalogue)

        assert error.value.product == "sheet"
        (problem,) = error.value.problems
        assert (problem.path, problem.reason) == (("operations", 0, "band_shares"), reason)


class TestShown:
    def test_every_quantity_has_nine_decimals_at_most_and_no_trailing_zeros(self) -> None:
        product = a_product(
            bill_of_materials=[a_line(quantity_per_piece="0.50", process_loss_share="0.3")],
            operations=[bench_work(cycle_minutes="7", yield_share="0.9")],
        )

        bill = shown(BillOfResources, "", bill_of(product, quantity=100))

        assert str(bill.lines[0].quantity) == "79.365079365"  # 0.5 × 100/0.9 ÷ 0.7
        assert str(bill.steps[0].pieces_started) == "111.111111111"
        assert str(bill.steps[0].learning_factor) == "1"
        assert str(bill.pieces_made["sheet"]) == "100"
        assert str(bill.issues[0].in_good_pieces) == "50"


class TestCatalogue:
    def test_is_empty_by_default(self) -> None:
        assert Catalogue().products == {}
