"""What a plan takes of materials, electricity and work, and what it earns an hour: examples, laws and an own count."""

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Catalogue
from service.domain.month.resources_used import Use, resources_used, uses
from service.domain.values.message import Message
from tests.domain.examples import a_line, a_material, a_product, euros
from tests.domain.strategies import batches, catalogues, tried

FLAKES = "materials/hdpe"
USES = (
    Use(resource=FLAKES, name="Flakes", unit="kg", quantity=Decimal(1) / 3),
    Use(resource=f"{FLAKES}#reclaimed", name="Flakes, credit for regrind", unit="kg", quantity=Decimal(1) / 6),
    Use(resource="materials/screw", name="Screw", unit="piece", quantity=Decimal("1200.0000000004")),
    Use(resource="labour-grades/operator", name="Operator", unit="h", quantity=Decimal(45)),
    Use(resource="labour-grades/helper", name="Helper", unit="h", quantity=Decimal(15)),
    Use(resource="tariffs/grid#day", name="Grid, day", unit="kWh", quantity=Decimal(70)),
    Use(resource="tariffs/grid#night", name="Grid, night", unit="kWh", quantity=Decimal(30)),
)


def test_materials_are_what_is_issued_less_what_is_reclaimed() -> None:
    flakes, screw = resources_used(USES, Decimal(0), Decimal(0), "EUR").materials

    assert (flakes.issued, flakes.reclaimed, flakes.net) == (
        Decimal("0.333333333"),
        Decimal("0.166666667"),
        Decimal("0.166666666"),
    )
    assert (screw.name, screw.unit, screw.issued, screw.reclaimed) == ("Screw", "piece", Decimal(1200), Decimal(0))


def test_what_is_lost_and_not_reclaimed_is_told_with_what_it_costs() -> None:
    waste = Use(
        resource=f"{FLAKES}#disposed",
        name=Message("{name}, disposal of waste", name="Flakes"),
        unit="kg",
        quantity=Decimal("12.5"),
        rate=Decimal("0.18"),
    )

    flakes, screw = resources_used((*USES, waste), Decimal(0), Decimal(0), "EUR").materials

    assert (flakes.disposed, flakes.disposal_cost, flakes.net) == (
        Decimal("12.5"),
        euros("2.25"),
        Decimal("0.166666666"),
    )
    assert (screw.disposed, screw.disposal_cost) == (Decimal(0), None)


@pytest.mark.parametrize(("rate", "fee"), [("-0.05", "64.48"), ("0", None), ("0.80", None)])
def test_a_gate_fee_is_what_the_workshop_is_paid_for_taking_a_material(rate: str, fee: str | None) -> None:
    crates = Use(resource=FLAKES, name="Crates", unit="kg", quantity=Decimal("1289.68"), rate=Decimal(rate))

    (found,) = resources_used((crates,), Decimal(0), Decimal(0), "EUR").materials

    assert found.gate_fee == (fee and euros(fee))


def test_what_comes_back_as_another_material_is_told_of_that_one() -> None:
    """HDPE that becomes a blend is issued and not gained; of the blend only what comes back is known."""
    blended = a_line(process_loss_share="0.2", reclaim_share="0.6", reclaimed_as="blend")
    catalogue = Catalogue(
        products={"lid": a_product(bill_of_materials=[blended], operations=[])},
        materials={"hdpe": a_material(), "blend": a_material(name="Green blend")},
    )

    found = resources_used(
        uses([(bill_of_resources("lid", 40, catalogue), Decimal(20))]), Decimal(0), Decimal(0), "EUR"
    ).materials

    told = {each.name: (each.resource, each.issued, each.reclaimed, each.disposed, each.net) for each in found}
    assert told == {
        "HDPE flakes": (FLAKES, Decimal(25), Decimal(0), Decimal(2), Decimal(25)),
        "Green blend": ("materials/blend", Decimal(0), Decimal(3), Decimal(0), Decimal(-3)),
    }


def test_electricity_is_by_band_and_work_by_grade() -> None:
    found = resources_used(USES, Decimal(0), Decimal(0), "EUR")

    assert [(each.resource, each.band, each.kwh) for each in found.electricity] == [
        ("tariffs/grid", "day", Decimal(70)),
        ("tariffs/grid", "night", Decimal(30)),
    ]
    assert [(each.name, each.hours) for each in found.labour] == [("Operator", Decimal(45)), ("Helper", Decimal(15))]
    assert found.hours_worked == 60


def test_an_hour_of_work_brings_its_part_of_contribution_and_profit() -> None:
    found = resources_used(USES, Decimal("1200.50"), Decimal(-100), "EUR")

    assert found.contribution_per_hour_worked == euros("20.008333")
    assert found.profit_per_hour_worked == euros("-1.666667")


def test_nothing_is_earned_an_hour_where_nobody_works() -> None:
    found = resources_used(USES[:3], Decimal(9), Decimal(9), "EUR")

    assert found.hours_worked == 0
    assert (found.contribution_per_hour_worked, found.profit_per_hour_worked) == (None, None)


def counted(catalogue: Catalogue, code: str, quantity: int) -> dict[str, Fraction]:
    """Quantities of a batch counted from issues and steps, not from the lines of the bill."""
    bill = bill_of_resources(code, quantity, catalogue)
    found: dict[str, Fraction] = defaultdict(Fraction)
    for issue in bill.issues:
        if issue.item.startswith("materials/"):
            found[issue.item] += Fraction(issue.issued)
            gained = f"materials/{issue.reclaimed_as}" if issue.reclaimed_as else issue.item
            found[f"{gained}#reclaimed"] += Fraction(issue.reclaimed)
            found[f"{issue.item}#disposed"] += Fraction(issue.disposed)
    for step in bill.steps:
        for grade, minutes in step.labour_minutes.items():
            found[f"labour-grades/{grade}"] += Fraction(minutes) / 60
        if step.machine and (tariff := catalogue.machines[step.machine].tariff):
            found[f"tariffs/{tariff}"] += Fraction(step.electricity_kwh)
    return found


@tried
@given(catalogues(), st.lists(st.tuples(batches, st.integers(0, 900)), min_size=1, max_size=3), st.data())
def test_an_own_count_in_fractions_finds_the_same(
    catalogue: Catalogue, lines: list[tuple[int, int]], data: st.DataObject
) -> None:
    codes = [data.draw(st.sampled_from(sorted(catalogue.products))) for _ in lines]
    wanted: dict[str, Fraction] = defaultdict(Fraction)
    for code, (quantity, pieces) in zip(codes, lines, strict=True):
        for resource, each in counted(catalogue, code, quantity).items():
            wanted[resource] += each * pieces / quantity

    planned = [
        (bill_of_resources(code, quantity, catalogue), pieces)
        for code, (quantity, pieces) in zip(codes, lines, strict=True)
    ]
    found = resources_used(uses(planned), Decimal(0), Decimal(0), "EUR")

    told: dict[str, Fraction] = defaultdict(Fraction)
    for material in found.materials:
        told[material.resource] += Fraction(material.issued)
        told[f"{material.resource}#reclaimed"] += Fraction(material.reclaimed)
        told[f"{material.resource}#disposed"] += Fraction(material.disposed)
        assert material.net == material.issued - material.reclaimed
        assert material.reclaimed >= 0
        assert 0 <= material.disposed <= material.issued
    for grade in found.labour:
        told[grade.resource] += Fraction(grade.hours)
    for band in found.electricity:
        told[band.resource] += Fraction(band.kwh)
    for resource in told | wanted:
        assert abs(told[resource] - wanted[resource]) < Fraction(1, 10**6) + wanted[resource] / 10**20, resource
    assert abs(Fraction(found.hours_worked) - sum(Fraction(each.hours) for each in found.labour)) < Fraction(1, 10**6)
