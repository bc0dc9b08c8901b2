"""What a record is compared by: bills of the good units, of those begun, and of what was taken."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.resources import LabourGrade
from service.domain.records.batch_record import BatchRecord
from service.domain.records.observation import Fact
from service.domain.records.record_basis import RecordBasis, record_basis
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import snapped
from service.domain.values.references import part_in
from tests.domain.examples import (
    Shop,
    a_bare_machine,
    a_line,
    a_machine,
    a_material,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    bench_work,
)
from tests.domain.records.recorded import a_record, quantities, records
from tests.domain.strategies import shops, tried

EUR = {"amount": "12", "currency": "EUR"}


def basis_of(shop: Shop | None = None, **changes: Any) -> RecordBasis:
    return record_basis(a_record(**changes), (shop or a_shop()).catalogue)


def taken(basis: RecordBasis) -> dict[str, Decimal]:
    """What was taken of each resource, waste apart, without what divisions leave in the last digits."""
    found = quantities(basis.taken).items()
    return {resource: snapped(each).normalize() for resource, each in found if part_in(resource) != "disposed"}


def waste(basis: RecordBasis) -> Decimal:
    return snapped(quantities(basis.taken).get("materials/hdpe#disposed", Decimal(0)))


def minutes(basis: RecordBasis, resource: str) -> Decimal:
    return round(quantities(basis.taken).get(resource, Decimal(0)) * 60, 12)


def observed(basis: RecordBasis) -> dict[Fact, Decimal]:
    return {each.fact: round(each.ratio, 6) for each in basis.observations}


def refused(shop: Shop | None = None, **changes: Any) -> dict[str, str]:
    with pytest.raises(InvalidValuesError) as caught:
        basis_of(shop, **changes)
    return {"/".join(map(str, each.path)): each.reason for each in caught.value.problems}


def pressed(**changes: Any) -> dict[str, Any]:
    return {"operation": "pressing", **changes}


class TestARecordOfWhatNobodyCounted:
    def test_takes_what_was_estimated_and_says_nothing_of_the_facts(self) -> None:
        shop = a_shop()

        basis = basis_of(shop)

        assert basis.standard == basis.begun == basis.taken == shop.bill(20)
        assert basis.observations == ()


class TestUnits:
    def test_started_and_not_good_were_lost_at_the_only_operation(self) -> None:
        basis = basis_of(units_started="25")

        (step,) = basis.begun.steps
        assert (step.pieces_good, step.pieces_started) == (20, 25)
        assert observed(basis) == {Fact.YIELD_SHARE: Decimal("0.8")}
        assert taken(basis)["materials/hdpe"] == 240

    def test_counted_scrap_stands_at_its_operation(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(), an_operation(name="milling", yield_share="0.8")]))

        basis = basis_of(shop, operations=[pressed(scrap="5")])

        pressing, milling = basis.begun.steps
        assert (milling.pieces_started, pressing.pieces_started) == (25, 30)
        assert [(each.item, each.weight, each.amount) for each in basis.observations] == [("pressing", 30, 25)]

    def test_what_nobody_counted_at_an_operation_was_lost_as_the_yields_expect(self) -> None:
        operations = [an_operation(yield_share="0.5"), an_operation(name="milling", yield_share="0.8")]

        basis = basis_of(a_shop(a_product(operations=operations)), units_started="80")

        # 20 good ones take 25 begun at milling and 50 at pressing: 5 and 25 lost of 30, so 10 and 50 of 60.
        assert [(step.pieces_good, step.pieces_started) for step in basis.begun.steps] == [(30, 80), (20, 30)]

    def test_that_no_yield_expects_to_be_lost_were_lost_at_the_last_operation_that_nobody_counted(self) -> None:
        operations = [an_operation(name=name, yield_share="1") for name in ("pressing", "milling", "packing")]
        counted = [pressed(operation="packing", scrap="2")]

        basis = basis_of(a_shop(a_product(operations=operations)), units_started="26", operations=counted)

        flows = [(step.pieces_good, step.pieces_started) for step in basis.begun.steps]
        assert flows == [(26, 26), (22, 26), (20, 22)]

    @pytest.mark.parametrize(
        ("started", "scrap", "reason"),
        [
            ("21", "5", "must be 25, which is the good units and the scrap counted"),
            ("26", "5", "must be 25, which is the good units and the scrap counted"),
        ],
    )
    def test_must_agree_with_the_scrap_counted(self, started: str, scrap: str, reason: str) -> None:
        assert refused(units_started=started, operations=[pressed(scrap=scrap)]) == {"units_started": reason}

    def test_are_at_least_the_good_ones_and_the_scrap_counted(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(), an_operation(name="milling")]))

        assert refused(shop, units_started="22", operations=[pressed(scrap="5")]) == {
            "units_started": "must be 25 or more, which is the good units and the scrap counted"
        }

    def test_of_a_product_without_operations_cannot_be_lost(self) -> None:
        assert refused(a_shop(a_product(operations=[])), units_started="22") == {
            "units_started": "must be 20: the product has no operation at which units could be lost"
        }

    def test_of_a_part_are_lost_at_the_operations_of_the_part(self) -> None:
        lid = a_product(operations=[an_operation(name="moulding", yield_share="1")])
        sheet = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="2")])

        basis = basis_of(a_shop(sheet, lid), operations=[pressed(operation="moulding", product="part-1", scrap="8")])

        moulding = basis.begun.steps[-1]
        assert moulding.pieces_started - moulding.pieces_good == 8

    def test_are_whole_where_the_product_is(self) -> None:
        lid = a_product(operations=[an_operation(name="moulding")])
        shop = a_shop(a_product(unit="kg", bill_of_materials=[a_line(product="part-1")]), lid)
        scrap = [pressed(scrap="0.5"), pressed(operation="moulding", product="part-1", scrap="0.5")]
        reason = "must be whole: pieces are not divided"

        assert refused(shop, good_units="2.5", operations=scrap) == {"operations/1/scrap": reason}
        assert refused(good_units="2.5", units_started="3.5") == {"good_units": reason, "units_started": reason}


class TestABatchOfNoGoodUnit:
    def test_took_what_was_begun_and_has_no_standard(self) -> None:
        basis = basis_of(good_units="0", units_started="20")

        assert basis.standard is None
        assert taken(basis)["materials/hdpe"] == 192
        assert minutes(basis, "machines/press") == 820
        assert observed(basis) == {Fact.YIELD_SHARE: 0}

    def test_ends_at_the_last_operation_that_a_unit_reached(self) -> None:
        milling = an_operation(name="milling", machine="mill", cycle_minutes="7", band_shares={})
        painting = an_operation(name="painting", cycle_minutes="9")
        lines = [a_line(), a_line(material="paint", operation="painting")]
        shop = a_shop(
            a_product(operations=[an_operation(), milling, painting], bill_of_materials=lines),
            machines={"press": a_machine(), "mill": a_bare_machine()},
            materials={"hdpe": a_material(), "paint": a_material(name="Paint")},
        )
        counts = [pressed(scrap="2"), pressed(operation="painting", scrap="0"), pressed(operation="milling", scrap="8")]

        basis = basis_of(shop, good_units="0", operations=counts)

        assert [(step.operation, step.cycles) for step in basis.begun.steps] == [("pressing", 10), ("milling", 8)]
        assert "materials/paint" not in taken(basis)
        late = [pressed(operation="painting", minutes="5"), *counts[:1], counts[2]]
        paint = [{"material": "paint", "issued": "1"}]
        assert refused(shop, good_units="0", operations=late, materials=paint) == {
            "operations/0/minutes": "must be left out: no unit came as far as this operation",
            "materials/0/issued": "must be left out: no unit came as far as where this material enters",
        }
        unused = [pressed(operation="painting", minutes="0"), *counts[:1], counts[2]]
        none = [{"material": "paint", "issued": "0"}]
        assert basis_of(shop, good_units="0", operations=unused, materials=none).taken == basis.taken

    def test_bears_no_pool_on_good_units(self) -> None:
        pools = {"design": an_overhead("piece"), "rent": an_overhead("machine_hour")}

        basis = basis_of(a_shop(overheads=pools), good_units="0", units_started="20")

        assert [each for each in taken(basis) if each.startswith("overheads")] == ["overheads/rent"]

    def test_gives_back_what_was_lost_of_it(self) -> None:
        shop = a_shop(a_product(bill_of_materials=[a_line(reclaim_share="0.5")], operations=[an_operation()]))

        basis = basis_of(shop, good_units="0", units_started="20")

        assert taken(basis)["materials/hdpe#reclaimed"] == 10


class TestMinutes:
    def test_beyond_set_up_and_warm_up_were_run(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(warm_up_minutes="30", yield_share="1")]))

        basis = basis_of(shop, operations=[pressed(minutes="950")])

        assert minutes(basis, "machines/press") == 950
        assert observed(basis) == {Fact.CYCLE_MINUTES: 45}

    def test_of_set_up_are_counted_by_themselves(self) -> None:
        basis = basis_of(
            a_shop(a_product(operations=[an_operation(yield_share="1")])),
            operations=[pressed(minutes="950", setup_minutes="50")],
        )

        assert observed(basis) == {Fact.CYCLE_MINUTES: 45, Fact.SETUP_MINUTES: 50}
        assert minutes(basis, "labour-grades/operator") == 50 + 900 / 4

    def test_of_set_up_alone_leave_the_run_as_estimated(self) -> None:
        basis = basis_of(operations=[pressed(setup_minutes="50")])

        assert observed(basis) == {Fact.SETUP_MINUTES: 50}
        assert minutes(basis, "machines/press") == minutes(basis_of(), "machines/press") + 30

    @pytest.mark.parametrize(("counted", "setup"), [("25", {}), ("25", {"setup_minutes": "15"}), ("0", {})])
    def test_fewer_than_of_set_up_and_warm_up_shorten_all_that_nobody_counted(
        self, counted: str, setup: dict[str, str]
    ) -> None:
        shop = a_shop(a_product(operations=[an_operation(warm_up_minutes="30")]))

        basis = basis_of(shop, operations=[pressed(minutes=counted, **setup)])

        assert minutes(basis, "machines/press") == Decimal(counted)
        assert Fact.CYCLE_MINUTES not in observed(basis)

    def test_at_a_bench_are_set_up_and_run(self) -> None:
        work = bench_work(
            setup_minutes="10", cycle_minutes="3", labour=[{"labour_grade": "operator", "attendance": "1"}]
        )

        basis = basis_of(a_shop(a_product(operations=[work])), operations=[pressed(operation="trimming", minutes="90")])

        assert observed(basis) == {Fact.CYCLE_MINUTES: 4}
        assert minutes(basis, "labour-grades/operator") == 80

    def test_of_several_warm_ups_stay_as_estimated(self) -> None:
        shop = a_shop(
            a_product(operations=[an_operation(warm_up_minutes="30", yield_share="1")]),
            machines={"press": a_machine(minutes_on_one_warm_up="500")},
        )

        basis = basis_of(shop, operations=[pressed(minutes="1700")])

        assert minutes(basis, "machines/press") == 1700
        assert observed(basis) == {Fact.CYCLE_MINUTES: 81}


class TestThroughput:
    def test_is_the_units_begun_in_the_hours_of_the_run(self) -> None:
        shred = an_operation(cycle_minutes="0", units_per_hour="40", yield_share="0.8")
        shop = a_shop(a_product(unit="kg", operations=[shred]))

        basis = basis_of(shop, good_units="120.5", units_started="150", operations=[pressed(minutes="320")])

        assert observed(basis) == {Fact.YIELD_SHARE: round(Decimal("120.5") / 150, 6), Fact.UNITS_PER_HOUR: 30}
        assert minutes(basis, "machines/press") == 320

    def test_of_a_run_that_took_no_time_is_not_known(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(cycle_minutes="0", units_per_hour="40", yield_share="1")]))

        basis = basis_of(shop, operations=[pressed(minutes="20")])

        assert observed(basis) == {}
        assert minutes(basis, "machines/press") == 20


class TestHours:
    def test_beyond_the_set_ups_were_the_run(self) -> None:
        basis = basis_of(
            a_shop(a_product(operations=[an_operation(yield_share="1")])),
            labour=[{"labour_grade": "operator", "hours": "7"}],
        )

        assert taken(basis)["labour-grades/operator"] == 7
        assert observed(basis) == {Fact.ATTENDANCE: Decimal("0.5")}
        assert (
            taken(basis)["machines/press"]
            == taken(basis_of(a_shop(a_product(operations=[an_operation(yield_share="1")]))))["machines/press"]
        )

    @pytest.mark.parametrize("hours", ["0.1", "0"])
    def test_fewer_than_those_of_the_set_ups_shorten_all_of_it(self, hours: str) -> None:
        basis = basis_of(labour=[{"labour_grade": "operator", "hours": hours}])

        assert taken(basis).get("labour-grades/operator", 0) == Decimal(hours)
        assert basis.observations == ()

    def test_are_spread_over_the_operations_as_estimated(self) -> None:
        crew = [{"labour_grade": "helper", "attendance": "2"}, {"labour_grade": "operator", "attendance": "1"}]
        operations = [
            bench_work(name="cutting", cycle_minutes="3", labour=crew),
            bench_work(name="trimming", cycle_minutes="6", labour=crew[:1]),
        ]
        shop = a_shop(
            a_product(operations=operations),
            labour_grades={"helper": LabourGrade(name="Helper"), "operator": LabourGrade(name="Operator")},
        )

        basis = basis_of(shop, labour=[{"labour_grade": "helper", "hours": "9"}])

        found = {(each.item, each.grade): each.ratio for each in basis.observations}
        assert found == {("cutting", "helper"): 3, ("trimming", "helper"): 3}
        assert taken(basis)["labour-grades/operator"] == 1

    def test_of_a_grade_that_takes_no_time_are_refused(self) -> None:
        labour = [{"labour_grade": "operator", "setup_crew": "1"}]
        shop = a_shop(a_product(operations=[bench_work(cycle_minutes="3", labour=labour)]))
        reason = "must be left out: by the operations that these units came through, this grade takes no time"

        for count in ({"hours": "2"}, {"paid": EUR}):
            assert refused(shop, labour=[{"labour_grade": "operator", **count}]) == {"labour/0/labour_grade": reason}
        assert basis_of(shop, labour=[{"labour_grade": "operator", "hours": "0"}]).observations == ()

    def test_that_a_crowd_would_have_worked_are_refused(self) -> None:
        assert refused(labour=[{"labour_grade": "operator", "hours": "90000"}]) == {
            "labour/0/hours": "would be more than 1000 people at an operation; check the hours, and the units"
        }

    def test_that_are_paid_and_not_counted_stay_as_estimated(self) -> None:
        assert basis_of(labour=[{"labour_grade": "operator", "paid": EUR}]).observations == ()


class TestElectricity:
    def test_beyond_warm_up_and_set_up_is_the_load_of_the_run(self) -> None:
        basis = basis_of(
            a_shop(a_product(operations=[an_operation(yield_share="1")])),
            electricity=[{"tariff": "grid", "meter_begin": "1000", "meter_end": "1080"}],
        )

        assert observed(basis) == {Fact.LOAD_FACTOR: Decimal("0.5")}
        assert taken(basis)["tariffs/grid#day"] == 56
        assert taken(basis)["tariffs/grid#standing"] == 80

    @pytest.mark.parametrize(("kwh", "load"), [("200", Decimal("1.25")), ("0", Decimal(0))])
    def test_that_no_load_factor_explains_is_the_machines(self, kwh: str, load: Decimal) -> None:
        basis = basis_of(
            a_shop(a_product(operations=[an_operation(yield_share="1")])), electricity=[{"tariff": "grid", "kwh": kwh}]
        )

        assert taken(basis).get("tariffs/grid#standing", 0) == Decimal(kwh)
        assert observed(basis) == {Fact.LOAD_FACTOR: load}

    def test_less_than_of_warm_up_and_set_up_says_nothing_of_the_load(self) -> None:
        shop = a_shop(machines={"press": a_machine(idle_power_kw="6")})

        basis = basis_of(shop, electricity=[{"tariff": "grid", "kwh": "1"}])

        assert taken(basis)["tariffs/grid#standing"] == 1
        assert basis.observations == ()

    def test_is_counted_by_band(self) -> None:
        day = {"tariff": "grid", "band": "day", "kwh": "70"}
        night = {"tariff": "grid", "band": "night", "kwh": "20"}

        both, one = basis_of(electricity=[day, night]), basis_of(electricity=[night])

        assert (taken(both)["tariffs/grid#day"], taken(both)["tariffs/grid#night"]) == (70, 20)
        assert taken(one)["tariffs/grid#day"] == snapped(quantities(one.begun)["tariffs/grid#day"]).normalize()
        none = basis_of(electricity=[{**each, "kwh": "0"} for each in (day, night)])
        assert "tariffs/grid#standing" not in taken(none)

    def test_of_a_machine_at_rest_says_nothing_of_its_load(self) -> None:
        machines = {"press": a_machine(), "oven": a_machine(rated_power_kw="0", warm_up_power_kw="6")}
        oven = an_operation(name="curing", machine="oven", warm_up_minutes="10", cycle_minutes="1")
        shop = a_shop(a_product(operations=[an_operation(yield_share="1"), oven]), machines=machines)

        basis = basis_of(shop, electricity=[{"tariff": "grid", "kwh": "90"}])

        assert [each.item for each in basis.observations] == ["pressing"]

    @pytest.mark.parametrize("count", [{"kwh": "5"}, {"paid": EUR}, {"paid": EUR, "band": "night"}])
    def test_of_which_none_is_used_is_refused(self, count: dict[str, Any]) -> None:
        machines = {"press": a_bare_machine(tariff="grid")}

        assert refused(a_shop(machines=machines), electricity=[{"tariff": "grid", **count}]) == {
            "electricity/0/tariff": (
                "must be left out: by the operations that these units came through, none of it is used"
            )
        }

    def test_that_is_none_where_none_is_used_is_true(self) -> None:
        shop = a_shop(machines={"press": a_bare_machine(tariff="grid")})

        assert basis_of(shop, electricity=[{"tariff": "grid", "kwh": "0"}]).taken == shop.bill(20)

    def test_that_is_paid_for_and_not_counted_stays_as_estimated(self) -> None:
        basis = basis_of(electricity=[{"tariff": "grid", "band": "day", "paid": EUR}])

        assert basis.taken == basis.begun


def lines_of(shop: Shop, **count: Any) -> tuple[dict[str, Decimal], dict[Fact, Decimal]]:
    basis = basis_of(shop, materials=[{"material": "hdpe", **count}])
    return taken(basis), observed(basis)


class TestMaterial:
    """Twenty pieces of 2 kg: 40 kg, and 5 kg for each batch."""

    @pytest.fixture
    def shop(self) -> Shop:
        line = a_line(quantity_per_piece="2", quantity_per_batch="5", reclaim_share="0.5")
        return a_shop(a_product(bill_of_materials=[line], operations=[]))

    def test_beyond_pieces_and_batch_was_lost(self, shop: Shop) -> None:
        assert lines_of(shop, issued="55") == (
            {"materials/hdpe": 55, "materials/hdpe#reclaimed": Decimal("7.5")},
            {Fact.PROCESS_LOSS_SHARE: Decimal("0.2")},
        )

    def test_short_of_pieces_and_batch_was_not_taken_for_the_batch(self, shop: Shop) -> None:
        assert lines_of(shop, issued="42") == (
            {"materials/hdpe": 42, "materials/hdpe#reclaimed": 1},
            {Fact.PROCESS_LOSS_SHARE: round(Decimal(-3) / 37, 6)},
        )

    def test_short_of_the_pieces_is_missing_in_them(self, shop: Shop) -> None:
        assert lines_of(shop, issued="4") == ({"materials/hdpe": 4}, {})

    def test_of_which_nothing_was_issued_is_not_in_the_bill(self) -> None:
        shop = a_shop(a_product(bill_of_materials=[a_line()]))

        basis = basis_of(shop, materials=[{"material": "hdpe", "issued": "0"}])

        assert "materials/hdpe" not in taken(basis)

    def test_that_came_back_is_a_share_of_what_was_lost(self, shop: Shop) -> None:
        assert lines_of(shop, issued="50", returned="4") == (
            {"materials/hdpe": 50, "materials/hdpe#reclaimed": 4},
            {Fact.PROCESS_LOSS_SHARE: round(Decimal(5) / 45, 6), Fact.RECLAIM_SHARE: Decimal("0.4")},
        )

    def test_that_came_back_beyond_what_was_lost_is_missing_in_the_pieces(self, shop: Shop) -> None:
        assert lines_of(shop, issued="50", returned="14") == (
            {"materials/hdpe": 50, "materials/hdpe#reclaimed": 14},
            {Fact.PROCESS_LOSS_SHARE: round(Decimal(5) / 45, 6), Fact.RECLAIM_SHARE: 1},
        )

    def test_that_all_came_back_is_in_no_piece(self, shop: Shop) -> None:
        found, _ = lines_of(shop, issued="50", returned="50")

        assert found == {"materials/hdpe": 50, "materials/hdpe#reclaimed": 50}

    def test_that_came_back_beyond_what_was_issued_is_refused(self, shop: Shop) -> None:
        assert refused(shop, materials=[{"material": "hdpe", "returned": "46"}]) == {
            "materials/0/returned": "is more than these units are estimated to take; count what was issued too"
        }

    def test_of_which_nothing_was_lost_brings_nothing_back(self) -> None:
        shop = a_shop(a_product(bill_of_materials=[a_line(reclaim_share="0.5")], operations=[]))

        found, facts = lines_of(shop, returned="0")

        assert (found, facts) == ({"materials/hdpe": 20}, {})

    def test_that_is_lost_and_does_not_come_back_is_waste(self, shop: Shop) -> None:
        counted = [{"material": "hdpe", "issued": "50", "returned": "4"}]

        assert waste(basis_of(shop, materials=counted)) == 6

    @pytest.mark.parametrize(("returned", "left"), [("0", 4), ("4", Decimal("2.4")), ("10", 0), ("14", 0)])
    def test_that_vanishes_is_as_much_as_before_of_what_does_not_come_back(self, returned: str, left: Decimal) -> None:
        # Half comes back, a fifth is got rid of: two fifths of what does not come back.
        line = a_line(quantity_per_piece="2", reclaim_share="0.5", disposal_share="0.2")
        shop = a_shop(a_product(bill_of_materials=[line], operations=[]))

        basis = basis_of(shop, materials=[{"material": "hdpe", "issued": "50", "returned": returned}])

        assert waste(basis) == left

    def test_that_all_came_back_before_leaves_no_waste_to_go_by(self) -> None:
        line = a_line(quantity_per_piece="2", reclaim_share="1", disposal_share="0")
        shop = a_shop(a_product(bill_of_materials=[line], operations=[]))

        basis = basis_of(shop, materials=[{"material": "hdpe", "issued": "50", "returned": "4"}])

        assert waste(basis) == 0

    def test_comes_back_as_what_the_bill_says(self) -> None:
        materials = {"hdpe": a_material(), "blend": a_material(name="Green blend")}
        line = a_line(quantity_per_piece="2", reclaim_share="0.5", reclaimed_as="blend")
        shop = a_shop(a_product(bill_of_materials=[line], operations=[]), materials=materials)

        some, none = (
            basis_of(shop, materials=[{"material": "hdpe", "issued": "50", "returned": returned}])
            for returned in ("4", "0")
        )

        assert taken(some) == {"materials/hdpe": 50, "materials/blend#reclaimed": 4}
        assert taken(none) == {"materials/hdpe": 50}

    def test_a_thousand_times_what_the_units_take_is_refused(self, shop: Shop) -> None:
        assert refused(shop, materials=[{"material": "hdpe", "issued": "46000"}]) == {
            "materials/0/issued": ("is more than 1000 times what these units take; check it, and count units_started")
        }

    def test_is_counted_over_all_lines_that_name_it(self) -> None:
        lines = [
            a_line(),
            a_line(material="dye", quantity_per_piece="0.1"),
            a_line(quantity_per_batch="20", quantity_per_piece="0"),
        ]
        materials = {"hdpe": a_material(), "dye": a_material(name="Dye")}
        shop = a_shop(a_product(bill_of_materials=lines, operations=[]), materials=materials)

        basis = basis_of(shop, materials=[{"material": "hdpe", "issued": "50"}])

        assert taken(basis) == {"materials/hdpe": 50, "materials/dye": 2}

    def test_that_is_paid_for_and_not_counted_stays_as_estimated(self, shop: Shop) -> None:
        basis = basis_of(shop, materials=[{"material": "hdpe", "paid": EUR}])

        assert basis.taken == basis.begun


class TestWhatABatchSays:
    def test_is_told_in_words(self) -> None:
        shop = a_shop(a_product(operations=[an_operation(yield_share="1")]))

        basis = basis_of(shop, units_started="25", labour=[{"labour_grade": "operator", "hours": "7"}])

        assert [each.about.what for each in basis.observations] == [
            "yield of pressing",
            "people of operator present at pressing",
        ]


class TestWhatIsNotOfTheBill:
    @pytest.mark.parametrize(
        ("counts", "place", "reason"),
        [
            (
                {"materials": [{"material": "hdep", "issued": "1"}]},
                "materials/0/material",
                "the bill of resources of 'sheet' has no material 'hdep'; did you mean 'hdpe'?",
            ),
            (
                {"labour": [{"labour_grade": "zz", "hours": "1"}]},
                "labour/0/labour_grade",
                "the bill of resources of 'sheet' has no labour grade 'zz'; there are operator",
            ),
            (
                {"operations": [pressed(operation="presing", minutes="1")]},
                "operations/0/operation",
                "the bill of resources of 'sheet' has no operation 'presing'; did you mean 'pressing'?",
            ),
            (
                {"operations": [pressed(product="sheets", minutes="1")]},
                "operations/0/product",
                "the bill of resources of 'sheet' has no product 'sheets'; did you mean 'sheet'?",
            ),
            (
                {"electricity": [{"tariff": "gird", "kwh": "1"}]},
                "electricity/0/tariff",
                "the bill of resources of 'sheet' has no tariff 'gird'; did you mean 'grid'?",
            ),
            (
                {"electricity": [{"tariff": "grid", "band": "nigth", "kwh": "1"}]},
                "electricity/0/band",
                "the bill of resources of 'sheet' has no band 'nigth'; did you mean 'night'?",
            ),
            (
                {"overheads": [{"overhead": "rent", "paid": EUR}]},
                "overheads/0/overhead",
                "the bill of resources of 'sheet' has no overhead pool 'rent'",
            ),
        ],
    )
    def test_is_refused_with_the_nearest_name(self, counts: dict[str, Any], place: str, reason: str) -> None:
        assert refused(**counts) == {place: reason}

    def test_a_fixed_pool_is_paid_for_by_the_month(self) -> None:
        assert refused(a_shop(overheads={"rent": an_overhead()}), overheads=[{"overhead": "rent", "paid": EUR}]) == {
            "overheads/0/overhead": "is a fixed pool, which no batch is paid for; what it cost belongs to the month"
        }

    def test_a_pool_that_bears_on_nothing_of_the_batch_is_refused(self) -> None:
        shop = a_shop(a_product(operations=[]), overheads={"oil": an_overhead(variable=True)})

        assert refused(shop, overheads=[{"overhead": "oil", "paid": EUR}]) == {
            "overheads/0/overhead": "bears on nothing that this batch took; leave it out"
        }


class TestLaws:
    @tried
    @given(st.data())
    def test_what_was_counted_is_what_was_taken(self, data: st.DataObject) -> None:
        shop = data.draw(shops())
        record: BatchRecord = data.draw(records(shop))

        basis = record_basis(record, shop.catalogue)

        found = quantities(basis.taken)
        counted = {f"materials/{each.material}": each.issued for each in record.materials}
        counted |= {f"labour-grades/{each.labour_grade}": each.hours for each in record.labour}
        counted |= {f"tariffs/{each.tariff}#standing": each.kwh for each in record.electricity}
        for resource, quantity in counted.items():
            assert snapped(found[resource]) == snapped(quantity or Decimal(0))
        times = {(each.product, each.operation): each.minutes for each in record.operations}
        for step in basis.taken.steps:
            if step.machine and (counted_minutes := times.get((step.product, step.operation))) is not None:
                assert snapped(step.machine_minutes) == snapped(counted_minutes)

    @tried
    @given(st.data())
    def test_the_order_of_counts_is_irrelevant(self, data: st.DataObject) -> None:
        shop = data.draw(shops())
        record: BatchRecord = data.draw(records(shop))
        members = ("materials", "operations", "labour", "electricity")
        other = replace(record, **{member: getattr(record, member)[::-1] for member in members})

        one, two = (record_basis(each, shop.catalogue) for each in (record, other))

        assert (one.standard, one.begun) == (two.standard, two.begun)
        assert taken(one) == taken(two)
