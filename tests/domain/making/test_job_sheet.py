"""The job sheet of a batch: quantities by hand, and the bill's own quantities laid out by step."""

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.explosion import bill_of_resources
from service.domain.making.job_sheet import JobPart, JobSheet, job_sheet
from service.domain.making.products import Catalogue, Product
from service.domain.making.resources import DISPOSED, RECLAIMED
from service.domain.values.exact import ZERO
from service.domain.values.references import part_in
from tests.domain.examples import (
    D,
    a_bare_machine,
    a_catalogue,
    a_line,
    a_machine,
    a_material,
    a_product,
    an_operation,
    bench_work,
)
from tests.domain.strategies import catalogues, tried

ROUNDING = 10**25
"""A figure ÷ this is more than what divisions in it are rounded by."""


def sheet_of(*products: Product, quantity: int = 100, **changes: object) -> JobSheet:
    catalogue = a_catalogue(*products, **changes)
    return job_sheet(bill_of_resources("sheet", quantity, catalogue), catalogue)


def drawn(part: JobPart) -> dict[str, list[tuple[str, str, Decimal]]]:
    return {
        name: [(each.operation, each.item, each.quantity) for each in getattr(part, name)]
        for name in ("fetched", "returned", "wasted")
    }


class TestASheet:
    def test_says_where_material_is_lost_and_comes_back(self) -> None:
        """100 good of 125 pressed of 250 mixed; 2 kg each, of which a fifth is lost in the mixer, and 5 kg to purge.

        Issued 250 × 2 ÷ 0.8 + 5 = 630. Lost at mixing 630 − 500 + 125 × 2 = 380, at pressing 25 × 2 = 50; half back.
        """
        line = a_line(quantity_per_piece="2", process_loss_share="0.2", quantity_per_batch="5", reclaim_share="0.5")
        mixing, pressing = bench_work(name="mixing", yield_share="0.5"), an_operation(yield_share="0.8")

        (part,) = sheet_of(a_product(bill_of_materials=[line], operations=[mixing, pressing])).parts

        assert drawn(part) == {
            "fetched": [("mixing", "materials/hdpe", D(630))],
            "returned": [("mixing", "materials/hdpe", D(190)), ("pressing", "materials/hdpe", D(25))],
            "wasted": [("mixing", "materials/hdpe", D(190)), ("pressing", "materials/hdpe", D(25))],
        }
        assert [(each.pieces_started, each.pieces_good) for each in part.steps] == [(250, 125), (125, 100)]

    def test_says_what_it_is_ground_up_to_and_how_much_is_waste(self) -> None:
        """Of 8 kg lost by both materials half becomes a blend, a quarter is waste, and a quarter dries away."""
        lines = [
            a_line(
                material=code, quantity_per_batch="8", reclaim_share="0.5", reclaimed_as=blend, disposal_share="0.25"
            )
            for code, blend in (("hdpe", "blend"), ("green", "blend"), ("blend", None))
        ]
        names = {"hdpe": "HDPE", "green": "Green HDPE", "blend": "Blend"}
        materials = {code: a_material(name=name) for code, name in names.items()}

        (part,) = sheet_of(a_product(bill_of_materials=lines, operations=[]), materials=materials).parts

        assert [(each.item, each.name, each.made_of, each.quantity) for each in part.returned] == [
            ("materials/blend", "Blend", "HDPE", 4),
            ("materials/blend", "Blend", "Green HDPE", 4),
            ("materials/blend", "Blend", "", 4),
        ]
        assert [(each.name, each.made_of, each.quantity) for each in part.wasted] == [
            (name, "", 2) for name in names.values()
        ]

    def test_names_machine_mould_people_and_each_warm_up(self) -> None:
        """50 cycles of two pieces take 500 min with 20 of set-up 520, the third shift of 240."""
        work = an_operation(
            cycle_minutes="10", pieces_per_cycle=2, yield_share="1", warm_up_minutes="30", tool="mould",
            processing_temperature_c="190", runs_with_previous=True,
        )  # fmt: skip
        machine = a_machine(minutes_on_one_warm_up="240")

        sheet = sheet_of(a_product(operations=[work]), machines={"press": machine})

        ((step,),) = (part.steps for part in sheet.parts)
        assert (step.machine, step.tool, step.processing_temperature_c) == ("Sheet press", "Mould", 190)
        assert (step.warm_ups, step.warm_up_minutes, step.setup_minutes, step.run_minutes) == (3, 90, 20, 500)
        assert (step.cycles, step.pieces_per_cycle, step.minutes) == (50, 2, 610)
        assert step.runs_with_previous
        assert [(each.grade, each.setup_crew, each.attendance, each.minutes) for each in step.people] == [
            ("Operator", 1, D("0.25"), 145)
        ]
        assert sheet.electricity_kwh == step.electricity_kwh == D(60)  # 500 min at 12 kW × 0.6

    def test_has_no_kilowatt_hours_of_a_bench_or_a_hand_press(self) -> None:
        by_hand = an_operation(name="punching", machine="hand", band_shares={}, setup_minutes="0")
        machines = {"hand": a_bare_machine()}

        sheet = sheet_of(a_product(operations=[by_hand, bench_work()]), machines=machines)

        assert [step.electricity_kwh for step in sheet.parts[0].steps] == [None, None]
        assert sheet.electricity_kwh == 0
        assert [each.setup_crew for each in sheet.parts[0].steps[0].people] == [0]  # nobody sets it up

    def test_makes_a_part_before_what_it_goes_into(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="2")], operations=[])

        sheet = sheet_of(whole, a_product(name="Foot", bill_of_materials=[a_line(reclaim_share="1")], operations=[]))

        assert [(part.product, part.pieces) for part in sheet.parts] == [("part-1", 200), ("sheet", 100)]
        assert drawn(sheet.parts[1]) == {"fetched": [("", "products/part-1", D(200))], "returned": [], "wasted": []}
        assert [(each.name, each.unit) for each in sheet.parts[1].fetched] == [("Foot", "piece")]
        assert drawn(sheet.parts[0])["returned"] == []

    def test_of_a_product_without_steps_has_what_comes_back_at_none(self) -> None:
        line = a_line(quantity_per_batch="4", reclaim_share="0.5")

        (part,) = sheet_of(a_product(bill_of_materials=[line], operations=[])).parts

        assert drawn(part)["returned"] == [("", "materials/hdpe", D(2))]


@tried
@given(catalogue=catalogues(), quantity=st.integers(1, 5000))
def test_its_quantities_are_those_of_the_bill(catalogue: Catalogue, quantity: int) -> None:
    code = next(iter(catalogue.products))
    bill = bill_of_resources(code, quantity, catalogue)

    sheet = job_sheet(bill, catalogue)

    found: dict[str, Fraction] = {}
    for part in sheet.parts:
        for drawn, mark in ((part.fetched, ""), (part.returned, f"#{RECLAIMED}"), (part.wasted, f"#{DISPOSED}")):
            for each in drawn:
                if each.item.startswith("materials/"):
                    name = each.item + mark
                    found[name] = found.get(name, Fraction(0)) + Fraction(each.quantity)
    expected = {line.resource: line.quantity for line in bill.lines if line.resource.startswith("materials/")}
    assert found.keys() >= expected.keys()
    issued = sum(amount for name, amount in found.items() if not part_in(name))
    for name, amount in found.items():
        assert abs(amount - Fraction(expected.get(name, ZERO))) <= issued / ROUNDING, name
    minutes = sum(Fraction(step.minutes) for part in sheet.parts for step in part.steps if step.machine)
    machines = sum(Fraction(amount) for name, amount in bill.minutes.items() if name.startswith("machines/"))
    assert abs(minutes - machines) <= machines / ROUNDING
