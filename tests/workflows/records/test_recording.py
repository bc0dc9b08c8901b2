"""Recording batches: what they are compared with, corrections, many at once, and with the order that they were for."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from service import clock
from service.domain.audit import Action
from service.domain.records.batch_record import BatchRecord
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.encoding import decoded
from service.store.engine.metering import use_of
from service.store.records import batch_records
from service.store.records.batch_records import ChosenRecords, StoredRecord
from service.store.records.record_facts import get_facts
from service.store.workshop.audit import Chosen
from service.workflows.errors import NotRegisteredError, PreconditionFailedError
from service.workflows.quoting import quotation_life
from service.workflows.records import recording
from service.workflows.records.recording import CodedRecord, Recorded
from service.workflows.reviewing.variances import variances_of_record
from service.workflows.workshop import audit
from tests.support import builders
from tests.workflows.owner import Owner

MONDAY, TUESDAY = (datetime(2026, 11, day, 12, tzinfo=UTC) for day in (23, 24))


def coded(code: str, **counted: Any) -> CodedRecord:
    return CodedRecord(code, decoded(builders.batch_record(**counted), BatchRecord))


def stored(owner: Owner, code: str = "B-1") -> StoredRecord:
    return recording.find_record(owner.workspace, code)


def compared_with(owner: Owner, code: str = "B-1") -> tuple[date, Decimal, str]:
    """The day of the facts, the flakes in a piece by them, and their price of the day."""
    found = stored(owner, code)
    with owner.database.reading() as connection:
        facts = get_facts(connection, owner.workshop_id, found.facts)
    line = facts.catalogue.products[found.record.product].bill_of_materials[0]
    terms: Any = facts.rates[f"materials/{line.material}"].terms
    return found.facts_of, line.quantity_per_piece, f"{terms.price.amount:f}"


def of_flakes(quantity: str, material: str = "hdpe") -> dict[str, Any]:
    return builders.product(bill_of_materials=[{"material": material, "quantity_per_piece": quantity}])


def refusal(error: InvalidValuesError) -> dict[str, str]:
    return {"/".join(map(str, each.path)): each.reason for each in error.problems}


class TestOneRecord:
    def test_is_stored_changed_and_deleted_with_its_history(self, furnished: Owner) -> None:
        with furnished.database.reading() as connection:
            empty = use_of(connection, furnished.workshop_id)
        done = furnished.record(operations=[{"operation": "pressing", "scrap": "1"}])
        assert (done.action, done.state["product"], done.state["quotation"]) == (Action.REGISTERED, "sheet", None)
        assert furnished.record(good_units="19.0", operations=[{"operation": "pressing", "scrap": "1"}]).action is None
        assert furnished.record(good_units="18").action is Action.REPLACED
        assert stored(furnished).record.good_units == 18

        recording.delete_record(furnished.workspace, "B-1")

        with pytest.raises(NotRegisteredError, match="there is no batch record 'B-1'"):
            recording.delete_record(furnished.workspace, "B-1")
        chosen = Chosen(subject="batch-records/B-1")
        history = audit.list_changes(furnished.workspace, chosen, before=None, limit=9)
        assert [(each.action, each.after and each.after["good_units"]) for each in history] == [
            (Action.WITHDRAWN, None),
            (Action.REPLACED, "18"),
            (Action.REGISTERED, "19"),
        ]
        with furnished.database.reading() as connection:
            assert use_of(connection, furnished.workshop_id).rows == empty.rows + len(history)
            assert batch_records.find_record(connection, furnished.workshop_id, "B-1") is None

    def test_changes_only_as_expected(self, furnished: Owner) -> None:
        furnished.record()

        with pytest.raises(PreconditionFailedError):
            furnished.record(good_units="18", precondition=lambda tag: tag is None)

    @pytest.mark.parametrize(
        ("counted", "place", "told"),
        [
            ({"product": "shet"}, "product", "did you mean 'sheet'?"),
            ({"product": "x"}, "product", "register it first"),
            ({"made_on": "2126-01-01"}, "made_on", "or earlier: record a batch when it is made"),
            ({"good_units": "18.5"}, "good_units", "must be whole: pieces are not divided"),
            ({"units_started": "20.5"}, "units_started", "must be whole"),
            ({"operations": [{"operation": "pressing", "scrap": "0.5"}]}, "operations/0/scrap", "must be whole"),
            (
                {"operations": [{"operation": "pressing", "product": "frame", "scrap": "0.5"}]},
                "operations/0/product",
                "has no product 'frame'",
            ),
            ({"materials": [{"material": "hdp", "issued": "9"}]}, "materials/0/material", "did you mean 'hdpe'?"),
            ({"operations": [{"operation": "pres", "minutes": "9"}]}, "operations/0/operation", "no operation 'pres'"),
        ],
    )
    def test_that_cannot_be_is_refused_with_the_place_and_the_remedy(
        self, furnished: Owner, counted: dict[str, Any], place: str, told: str
    ) -> None:
        with pytest.raises(InvalidValuesError) as refused:
            furnished.record(**counted)

        assert told in refusal(refused.value)[place]

    def test_pages_are_newest_day_first(self, furnished: Owner) -> None:
        for code, day in (("a", "2026-11-20"), ("b", "2026-11-24"), ("c", "2026-11-24"), ("d", "2026-11-25")):
            furnished.record(code, made_on=day)

        def page(chosen: ChosenRecords, before: tuple[date, str] | None = None) -> list[str]:
            found = recording.list_records(furnished.workspace, chosen, before=before, limit=3)
            return [each.code for each in found]

        assert page(ChosenRecords()) == ["d", "c", "b"]
        assert page(ChosenRecords(), (date(2026, 11, 24), "b")) == ["a"]
        assert page(ChosenRecords(first_day=date(2026, 11, 21), last_day=date(2026, 11, 24))) == ["c", "b"]
        assert page(ChosenRecords(product="frame")) == []


class TestWhatItIsComparedWith:
    def test_is_how_it_was_made_on_its_day_at_the_rates_of_the_day(self, owner: Owner) -> None:
        with clock.set_to(MONDAY):
            builders.register_workshop.__wrapped__(owner)
            owner.put("overheads/unrated", {"name": "Unrated", "base": "machine_hour"})
        with clock.set_to(TUESDAY):
            owner.register("materials/blue", builders.material(), **{"2026-01-01": builders.material_rate("7")})
            owner.put("products/sheet", of_flakes("5", "blue"))
            owner.put_rate("materials/hdpe", "2026-11-24", builders.material_rate("2"))
            owner.put("overheads/late", {"name": "Late", "base": "machine_hour"})
            owner.retire("materials/hdpe")

        owner.record(made_on="2026-11-23")
        owner.record("B-2", made_on="2026-11-24", materials=[])

        assert compared_with(owner) == (date(2026, 11, 23), Decimal("9.6"), "0.80")
        assert compared_with(owner, "B-2") == (date(2026, 11, 24), Decimal(5), "7")
        with owner.database.reading() as connection:
            then, later = (
                get_facts(connection, owner.workshop_id, stored(owner, each).facts) for each in ("B-1", "B-2")
            )
        assert list(then.catalogue.overheads) == ["rent", "unrated"]
        assert list(later.catalogue.overheads) == ["late", "rent", "unrated"]

    def test_has_nothing_that_an_overhead_pool_only_bears_on(self, owner: Owner) -> None:
        with clock.set_to(MONDAY):
            builders.register_workshop.__wrapped__(owner)
            owner.put("products/frame", builders.product())
            care = {"name": "Care", "base": "machine_hour"}
            owner.put("overheads/care", {**care, "products": ["sheet", "frame"], "machines": ["press"]})
        with clock.set_to(TUESDAY):
            owner.put("products/other", of_flakes("3"))
            owner.put("overheads/care", {**care, "products": ["sheet", "frame", "other"]})
            owner.put("products/sheet", of_flakes("5"))

        owner.record(made_on="2026-11-23")

        assert compared_with(owner)[:2] == (date(2026, 11, 23), Decimal("9.6"))
        with owner.database.reading() as connection:
            then = get_facts(connection, owner.workshop_id, stored(owner).facts)
        assert list(then.catalogue.products) == ["sheet"]
        assert then.catalogue.overheads["care"].products == ("sheet", "frame")

    def test_are_the_present_facts_if_nobody_had_registered_any(self, furnished: Owner) -> None:
        furnished.record(made_on="2026-02-01")
        furnished.put("overheads/late", {"name": "Late", "base": "machine_hour"})

        assert compared_with(furnished) == (furnished.workshop.today(), Decimal("9.6"), "0.80")

    def test_are_the_present_ones_if_it_was_registered_later_than_what_it_is_made_of(self, owner: Owner) -> None:
        with clock.set_to(MONDAY):
            builders.register_workshop.__wrapped__(owner)
        with clock.set_to(TUESDAY):
            owner.put("products/other", of_flakes("3"))

        owner.record(made_on="2026-11-23", product="other")

        assert compared_with(owner)[:2] == (owner.workshop.today(), Decimal(3))

    def test_stays_when_it_is_corrected_unless_the_day_is_another(self, furnished: Owner) -> None:
        furnished.record(made_on="2026-02-01")
        furnished.put_rate("materials/hdpe", "2026-03-01", builders.material_rate("3"))
        furnished.put("products/sheet", of_flakes("5"))

        furnished.record(made_on="2026-02-01", good_units="18")
        assert compared_with(furnished)[1:] == (Decimal("9.6"), "0.80")
        furnished.record(made_on="2026-03-01", good_units="18")
        assert compared_with(furnished)[1:] == (Decimal(5), "3")

    def test_is_stored_once_for_all_that_have_the_same(self, furnished: Owner) -> None:
        with furnished.database.reading() as connection:
            empty = use_of(connection, furnished.workshop_id)
        recording.put_records(furnished.workspace, [coded(f"B-{each}") for each in range(5)])
        with furnished.database.reading() as connection:
            full = use_of(connection, furnished.workshop_id)
        assert full.rows - empty.rows == 5 + 5 + 1

        for each in range(5):
            recording.delete_record(furnished.workspace, f"B-{each}")

        with furnished.database.reading() as connection:
            assert use_of(connection, furnished.workshop_id).rows == empty.rows + 5 + 5


class TestManyRecords:
    def test_are_one_act(self, furnished: Owner) -> None:
        furnished.record()
        revision = furnished.revision

        done = recording.put_records(
            furnished.workspace, [coded("B-1"), coded("B-2"), coded("B-3", made_on="2026-11-24")]
        )

        assert done == Recorded(recorded=2, corrected=0, unchanged=1)
        assert furnished.revision == revision + 1
        history = audit.list_changes(furnished.workspace, Chosen(subject="batch-records"), before=None, limit=2)
        assert len({each.change_id for each in history}) == 1

    def test_that_look_implausible_are_named_with_their_codes(self, furnished: Owner) -> None:
        few = [{"material": "hdpe", "issued": "19.55"}]

        one = furnished.record(materials=few).warnings
        again = furnished.record(materials=few)
        many = recording.put_records(furnished.workspace, [coded("B-2"), coded("B-3", materials=few)]).warnings

        assert [each.code for each in one] == ["issued-below-contained"]
        assert one[0].text.startswith("19.55 kg were issued, but 19 pieces contain 182.4 kg: ")
        assert (again.action, again.warnings) == (None, one)
        assert [each.text for each in many] == [f"B-3: {one[0].text}"]

    def test_are_none_if_one_is_wrong(self, furnished: Owner) -> None:
        wrong = [coded("B-1"), coded("B-2", product="shet"), coded("B-1"), coded("B-3", good_units="1.5")]

        with pytest.raises(InvalidValuesError) as refused:
            recording.put_records(furnished.workspace, wrong)

        assert list(refusal(refused.value)) == ["records/1/product", "records/2/code", "records/3/good_units"]
        assert recording.list_records(furnished.workspace, ChosenRecords(), before=None, limit=9) == []

    def test_correct_others_only_if_they_may(self, furnished: Owner) -> None:
        furnished.record()

        with pytest.raises(InvalidValuesError) as refused:
            recording.put_records(furnished.workspace, [coded("B-1", good_units="18")], may_correct=False)
        done = recording.put_records(furnished.workspace, [coded("B-1"), coded("B-2")], may_correct=False)

        assert list(refusal(refused.value)) == ["records/0/code"]
        assert done == Recorded(recorded=1, corrected=0, unchanged=1)

    def test_are_not_too_many(self, furnished: Owner) -> None:
        with pytest.raises(TooComplexError, match="1000"):
            recording.put_records(furnished.workspace, [coded("B-1")] * (recording.MAX_RECORDS + 1))


class TestOfAnOrder:
    def test_name_its_quotation_and_come_with_its_completion_or_later(self, furnished: Owner) -> None:
        accepted = furnished.accepted(quoted_on=None)

        done = quotation_life.complete(furnished.workspace, accepted.id, [coded("B-1")])
        again = quotation_life.complete(furnished.workspace, accepted.id, [coded("B-1"), coded("B-2")])

        assert done.status == again.status == "completed"
        assert [stored(furnished, each).quotation for each in ("B-1", "B-2")] == [1, 1]
        assert furnished.record(good_units="18").state["quotation"] == "Q000001"

    def test_may_take_less_than_they_contain_where_the_customer_supplies_it(self, furnished: Owner) -> None:
        few = [{"material": "hdpe", "issued": "19.55"}]
        line = {**builders.quotation()["lines"][0], "supplied_materials": ["hdpe"]}
        for supplied, number in ((line, "B-1"), (builders.quotation()["lines"][0], "B-2")):
            accepted = furnished.accepted(quoted_on=None, lines=[supplied])
            quotation_life.complete(furnished.workspace, accepted.id, [coded(number)])

        found = [furnished.record(each, materials=few).warnings for each in ("B-1", "B-2")]

        assert [len(each) for each in found] == [0, 1]
        told = [variances_of_record(furnished.workspace, each).statement.warnings for each in ("B-1", "B-2")]
        assert told == found

    def test_are_refused_if_it_has_no_line_of_them_and_nothing_is_stored(self, furnished: Owner) -> None:
        furnished.put("products/shet", builders.product())
        accepted = furnished.accepted(quoted_on=None)

        with pytest.raises(InvalidValuesError) as refused:
            quotation_life.complete(furnished.workspace, accepted.id, [coded("B-1"), coded("B-2", product="shet")])

        assert refusal(refused.value) == {
            "records/1/product": "quotation Q000001 has no line of 'shet'; did you mean 'sheet'?"
        }
        assert recording.list_records(furnished.workspace, ChosenRecords(), before=None, limit=9) == []

    def test_belong_to_one_only(self, furnished: Owner) -> None:
        for _ in range(2):
            accepted = furnished.accepted(quoted_on=None)
        quotation_life.complete(furnished.workspace, 1, [coded("B-1")])

        with pytest.raises(InvalidValuesError) as refused:
            quotation_life.complete(furnished.workspace, accepted.id, [coded("B-1")])

        assert "was made for quotation Q000001" in refusal(refused.value)["records/0/code"]


def test_a_record_of_a_retired_product_is_compared_with_the_facts_of_its_day(owner: Owner) -> None:
    with clock.set_to(MONDAY):
        builders.register_workshop.__wrapped__(owner)
    owner.retire("products/sheet")

    owner.record(made_on="2026-11-24")

    assert compared_with(owner)[0] == date(2026, 11, 24)
