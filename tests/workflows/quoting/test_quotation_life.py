"""The life of a quotation, on every database engine."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import sqlalchemy as sa

from service import clock
from service.domain.costing.errors import MissingRatesError
from service.domain.quoting.errors import BelowFloorError, QuotationStateError
from service.domain.quoting.life import AcceptanceRequest, BelowFloor, DeclineRequest, IssueRequest, Status
from service.domain.selling.channels import Display
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.domain.values.message import Message
from service.encoding import decoded, to_text
from service.store.engine.stored_rows import as_stored
from service.store.engine.tables import quotation_events
from service.store.quoting import life
from service.store.quoting import quotations as stored
from service.store.quoting.quotations import Quotation
from service.workflows.errors import NotRegisteredError, PreconditionFailedError
from service.workflows.quoting import quotation_life
from service.workflows.quoting import quotations as reading
from tests.domain.examples import D, a_request, euros
from tests.support import builders
from tests.workflows.owner import Owner

quotations = as_stored.tables["quotations"]
DAY = timedelta(days=1)
FIRST_DAY = "2026-01-01"
TODAY = {"quoted_on": None}
BREAKS = {"lines": [{**builders.quotation()["lines"][0], "quantity_breaks": [50, 100]}], **TODAY}


LAST_MOMENT = datetime(2026, 12, 10, 23, 59, 59, 999999, UTC)
"""The last moment of the last day on which the prices of `UNTIL` are valid, in the workshop's time zone."""
MIDNIGHT = LAST_MOMENT + timedelta(microseconds=1)
UNTIL = {"quoted_on": "2026-12-01", "valid_until": "2026-12-10"}


def by_hand(owner: Owner, quotation: Quotation, **columns: Any) -> None:
    """Change a row directly, as the service never does, to put the quotation in the past."""
    with owner.database.writing() as connection:
        connection.execute(
            quotations.update()
            .where(quotations.c.workshop_id == owner.workshop_id, quotations.c.quotation_id == quotation.id)
            .values(**columns)
        )


def expired(owner: Owner, **changes: Any) -> Quotation:
    """A quotation that was issued ten days ago and was valid until yesterday."""
    issued = owner.issued(**{**TODAY, **changes})
    today = owner.workshop.today()
    by_hand(owner, issued, issued_on=today - 10 * DAY, valid_until=today - DAY)
    return find(owner, issued)


def find(owner: Owner, quotation: Quotation) -> Quotation:
    return reading.find_quotation(owner.workspace, quotation.id)


def test_the_newest_quotation_is_the_one_made_last_of_a_state_or_of_all(furnished: Owner) -> None:
    with pytest.raises(NotRegisteredError, match="the newest"):
        reading.newest_quotation(furnished.workspace)
    issued = furnished.issued(**TODAY)
    draft = furnished.quote(**TODAY)

    assert reading.newest_quotation(furnished.workspace) == draft.id
    assert reading.newest_quotation(furnished.workspace, Status.ISSUED) == issued.id
    with pytest.raises(NotRegisteredError, match="accepted"):
        reading.newest_quotation(furnished.workspace, Status.ACCEPTED)


def does(owner: Owner, step: str, quotation: Quotation, *args: Any, **options: Any) -> Quotation:
    """Call a function of the quotation's life by name."""
    found: Quotation = getattr(quotation_life, step)(owner.workspace, quotation.id, *args, **options)
    return found


def accept(owner: Owner, quotation: Quotation, **acceptance: Any) -> Quotation:
    return does(owner, "accept", quotation, decoded(acceptance, AcceptanceRequest))


def promised(owner: Owner) -> dict[str, Decimal]:
    with owner.database.reading() as connection:
        return dict(life.promised_minutes(connection, owner.workshop_id))


def decline(owner: Owner, quotation: Quotation, reason: str = "") -> Quotation:
    return does(owner, "decline", quotation, DeclineRequest(reason=reason))


class TestIssuing:
    def test_is_dated_today_and_possible_until_midnight_of_the_last_day(self, furnished: Owner) -> None:
        with clock.set_to(LAST_MOMENT):
            in_time, late = furnished.quote(**UNTIL), furnished.quote(**UNTIL)
            assert does(furnished, "issue", in_time).issued_on == LAST_MOMENT.date()

        with (
            clock.set_to(MIDNIGHT),
            pytest.raises(QuotationStateError, match="its prices held until 2026-12-10: discard it and quote anew"),
        ):
            does(furnished, "issue", late)

    def test_assigns_the_next_number_and_the_day_and_changes_nothing_else(self, furnished: Owner) -> None:
        drafts = [furnished.quote(**TODAY) for _ in range(2)]

        first, second = (does(furnished, "issue", draft) for draft in reversed(drafts))

        assert (first.number, second.number) == ("Q000001", "Q000002")
        assert first.status is Status.ISSUED
        assert first.issued_on == furnished.workshop.today()
        assert (first.request, first.figures, first.remarks) == (
            drafts[1].request,
            drafts[1].figures,
            drafts[1].remarks,
        )
        assert reading.find_quotation(furnished.workspace, 1) == first

    def test_twice_gives_one_number(self, furnished: Owner) -> None:
        issued = furnished.issued(**TODAY)

        assert does(furnished, "issue", issued) == issued
        assert furnished.issued(**TODAY).number == "Q000002"

    def test_what_has_expired_is_refused_and_uses_up_no_number(self, furnished: Owner) -> None:
        over = furnished.quote(valid_until="2026-11-25")

        with pytest.raises(QuotationStateError, match="its prices held until 2026-11-25: discard it and quote anew"):
            does(furnished, "issue", over)

        assert furnished.issued(**TODAY).number == "Q000001"

    def test_numbers_are_the_workshops_own(self, furnished: Owner, other_owner: Owner) -> None:
        builders.register_workshop(other_owner)
        furnished.issued(**TODAY)

        assert other_owner.issued(**TODAY).number == "Q000001"

    def test_a_number_of_another_workshop_finds_nothing(self, furnished: Owner, other_owner: Owner) -> None:
        furnished.issued(**TODAY)

        with pytest.raises(NotRegisteredError, match="there is no quotation Q000001"):
            reading.find_quotation(other_owner.workspace, 1)

    def test_keeps_who_quoted_and_in_which_locale(self, furnished: Owner) -> None:
        own, theirs = furnished.quote(), furnished.quote(locale="de_AT")

        assert own.letterhead.seller == furnished.workshop.name
        assert own.letterhead.seller_address == furnished.workshop.address
        assert (own.letterhead.locale, theirs.letterhead.locale) == (furnished.workshop.locale, "de_AT")


class TestAccepting:
    def test_takes_the_batch_sizes_of_the_totals_today_where_nothing_is_said(self, furnished: Owner) -> None:
        accepted = furnished.accepted(**BREAKS)

        taken = accepted.acceptance
        assert accepted.status is Status.ACCEPTED
        assert taken is not None
        assert (taken.accepted_on, taken.quantities) == (furnished.workshop.today(), (20,))
        assert taken.totals == accepted.figures.totals
        assert taken.kept == accepted.figures.kept

    def test_another_batch_size_has_totals_of_its_own(self, furnished: Owner) -> None:
        accepted = furnished.accepted({"quantities": [100], "reference": "order 7", "note": "by letter"}, **BREAKS)

        taken = accepted.acceptance
        assert taken is not None
        assert (taken.quantities, taken.reference, taken.note) == ((100,), "order 7", "by letter")
        offered = accepted.figures.lines[0].quantity_breaks[1]
        assert taken.totals.line_total == offered.net_amount
        assert taken.kept == offered.kept
        assert reading.recompute(furnished.workspace, accepted.id).agrees

    def test_a_batch_size_that_was_not_quoted_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match="quantities/0: was not quoted; the line offers 20, 50, 100"):
            furnished.accepted({"quantities": [70]}, **BREAKS)

    def test_a_batch_size_whose_amount_is_less_than_an_allowance_is_refused_by_name(self, furnished: Owner) -> None:
        lines = [{**builders.quotation()["lines"][0], "quantity": 100, "quantity_breaks": [1]}]
        allowance = {"reason": "fair", "tax": "vat", "amount": "500"}
        issued = furnished.issued(lines=lines, allowances=[allowance], **TODAY)

        with pytest.raises(InvalidValuesError) as error:
            accept(furnished, issued, quantities=[1])

        assert [each.path for each in error.value.problems] == [("quantities",)]
        assert accept(furnished, issued).status is Status.ACCEPTED

    def test_the_same_again_changes_nothing_and_another_choice_is_refused(self, furnished: Owner) -> None:
        accepted = furnished.accepted(**BREAKS)

        assert accept(furnished, accepted) == accepted
        with pytest.raises(QuotationStateError, match="is accepted and cannot be accepted otherwise"):
            accept(furnished, accepted, quantities=[50])
        assert find(furnished, accepted) == accepted

    def test_a_draft_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(QuotationStateError, match="is draft and cannot be accepted; issue it first"):
            accept(furnished, furnished.quote(**TODAY))

    def test_what_has_expired_is_refused_unless_it_was_in_time(self, furnished: Owner) -> None:
        over = expired(furnished)
        yesterday = furnished.workshop.today() - DAY

        assert over.status is Status.EXPIRED
        with pytest.raises(QuotationStateError, match="is expired and cannot be accepted; revise it, or say when"):
            accept(furnished, over)
        accepted = accept(furnished, over, accepted_on=yesterday.isoformat())

        assert accepted.status is Status.ACCEPTED
        assert accepted.acceptance is not None
        assert accepted.acceptance.accepted_on == yesterday

    def test_on_its_last_day_is_in_time_until_midnight(self, furnished: Owner) -> None:
        with clock.set_to(LAST_MOMENT):
            in_time, late = furnished.issued(**UNTIL), furnished.issued(**UNTIL)
            taken = accept(furnished, in_time).acceptance

        with clock.set_to(MIDNIGHT), pytest.raises(QuotationStateError, match="is expired and cannot be accepted;"):
            accept(furnished, late)

        assert taken is not None
        assert taken.accepted_on == LAST_MOMENT.date()

    @pytest.mark.parametrize(
        ("now", "day", "last"),
        [
            (LAST_MOMENT - 3 * DAY, "2026-12-08", "2026-12-07"),  # valid then, but that day has not come
            (LAST_MOMENT, "2026-12-11", "2026-12-10"),
            (MIDNIGHT, "2026-12-11", "2026-12-10"),  # that day has come, but the quotation is no longer valid
            (MIDNIGHT + 7 * DAY, "2026-12-15", "2026-12-10"),
            (MIDNIGHT, "2026-12-02", "2026-12-10"),
        ],
    )
    def test_may_be_dated_from_its_issue_to_today_or_its_last_day_whichever_is_first(
        self, furnished: Owner, now: datetime, day: str, last: str
    ) -> None:
        with clock.set_to(datetime(2026, 12, 3, tzinfo=UTC)):
            issued = furnished.issued(**UNTIL)

        with clock.set_to(now):
            with pytest.raises(InvalidValuesError) as error:
                accept(furnished, issued, accepted_on=day)
            taken = [accept(furnished, issued, accepted_on=last).acceptance]

        assert str(error.value) == f"accepted_on: must be from 2026-12-03, when it was issued, to {last}"
        assert [each and each.accepted_on.isoformat() for each in taken] == [last]

    def test_again_on_a_later_day_than_the_first_time_changes_nothing(self, furnished: Owner) -> None:
        with clock.set_to(LAST_MOMENT):
            accepted = accept(furnished, furnished.issued(**UNTIL))

        with clock.set_to(MIDNIGHT + DAY):
            assert accept(furnished, accepted) == accepted

    def test_may_be_entered_for_the_day_of_its_issue(self, furnished: Owner) -> None:
        with clock.set_to(LAST_MOMENT):
            issued = furnished.issued(**UNTIL)

        with clock.set_to(MIDNIGHT + DAY):
            accepted = accept(furnished, issued, accepted_on=LAST_MOMENT.date().isoformat())

        assert accepted.status is Status.ACCEPTED

    @pytest.mark.parametrize("days", [-11, 1])
    def test_a_day_before_it_was_issued_or_after_today_is_refused(self, furnished: Owner, days: int) -> None:
        over = expired(furnished)
        day = furnished.workshop.today() + days * DAY

        with pytest.raises(InvalidValuesError, match=r"^accepted_on: must be from \S+, when it was issued, to "):
            accept(furnished, over, accepted_on=day.isoformat())

    def test_other_batch_sizes_than_were_shipped_are_refused(self, furnished: Owner) -> None:
        builders.register_shipping(furnished)
        line = {**BREAKS["lines"][0], "product": "brick", "quantity": 4}
        shipping = {"service": "post", "zone": "home", "tax": "vat"}
        issued = furnished.issued(lines=[line], shipping=shipping, **TODAY)

        with pytest.raises(InvalidValuesError, match="for which shipping was quoted; revise the quotation"):
            accept(furnished, issued, quantities=[50])
        assert accept(furnished, issued, quantities=[4]).status is Status.ACCEPTED


class TestPromises:
    def test_last_from_acceptance_until_the_order_is_completed_or_withdrawn(self, furnished: Owner) -> None:
        furnished.issued(**TODAY)
        assert promised(furnished) == {}
        one, other = furnished.accepted(**TODAY), furnished.accepted({"quantities": [50]}, **BREAKS)
        both = promised(furnished)
        # 20 minutes of set-up; 20 and 50 sheets of 40 minutes, each started 1/0.95 times
        assert round(both["machines/press"], 6) == round((40 + 70 * 40 / D("0.95")), 6)
        assert round(both["labour-grades/operator"], 6) == round(40 + 70 * 10 / D("0.95"), 6)

        does(furnished, "complete", other)
        left = promised(furnished)
        assert left["machines/press"] < both["machines/press"]
        decline(furnished, one, "withdrawn")
        assert promised(furnished) == {}

    def test_of_an_order_include_all_its_lines(self, furnished: Owner) -> None:
        line = builders.quotation()["lines"][0]
        furnished.accepted({"quantities": [20, 50]}, lines=[line, {**line, "quantity": 50}], **TODAY)

        assert {resource: round(minutes, 6) for resource, minutes in promised(furnished).items()} == {
            "machines/press": round(40 + 70 * 40 / D("0.95"), 6),
            "labour-grades/operator": round(40 + 70 * 10 / D("0.95"), 6),
        }

    def test_are_the_workshops_own(self, furnished: Owner, other_owner: Owner) -> None:
        furnished.accepted(**TODAY)

        assert promised(other_owner) == {}

    def test_include_a_quotation_stored_before_its_steps_named_machine_and_labour(self, furnished: Owner) -> None:
        issued = furnished.issued(**TODAY)
        with furnished.database.writing() as connection:
            told = stored.get_basis(connection, furnished.workshop_id, issued.id)
            bills = [
                replace(bill, steps=tuple(replace(step, machine="", labour_minutes={}) for step in bill.steps))
                for bill in told.bills
            ]
        by_hand(furnished, issued, basis=to_text(replace(told, bills=tuple(bills))))

        accept(furnished, issued)

        found = promised(furnished)
        assert found.keys() == told.bills[0].minutes.keys()
        for resource, minutes in told.bills[0].minutes.items():
            assert round(found[resource], 9) == round(minutes, 9)

    def test_raise_the_workshops_revision_since_lead_times_depend_on_them(self, furnished: Owner) -> None:
        issued, before = furnished.issued(**TODAY), furnished.revision

        accepted = accept(furnished, issued)
        after = furnished.revision
        does(furnished, "complete", accepted)

        assert before < after < furnished.revision


class TestEnding:
    def test_declining_keeps_the_reason_and_twice_does_no_harm(self, furnished: Owner) -> None:
        declined = decline(furnished, furnished.issued(**TODAY), "too dear")

        assert declined.status is Status.DECLINED
        assert decline(furnished, declined, "again") == declined
        events = reading.list_events(furnished.workspace, declined.id)
        assert [(each.event.value, each.version, each.by, each.note) for each in events] == [
            ("drafted", 1, "owner", ""),
            ("issued", 2, "owner", "Q000001"),
            ("declined", 3, "owner", "too dear"),
        ]
        assert [each.at for each in events] == sorted(each.at for each in events)

    def test_declining_what_was_never_accepted_leaves_the_workshops_revision(self, furnished: Owner) -> None:
        issued, before = furnished.issued(**TODAY), furnished.revision

        decline(furnished, issued)

        assert furnished.revision == before

    def test_completing_twice_does_no_harm_and_of_what_is_not_accepted_is_refused(self, furnished: Owner) -> None:
        completed = does(furnished, "complete", furnished.accepted(**TODAY))

        assert completed.status is Status.COMPLETED
        assert does(furnished, "complete", completed) == completed
        with pytest.raises(QuotationStateError, match="is issued and cannot be completed"):
            does(furnished, "complete", furnished.issued(**TODAY))


class TestRevising:
    def test_supersedes_the_old_one_when_the_new_one_is_issued(self, furnished: Owner) -> None:
        old = furnished.issued(**TODAY)

        draft = does(furnished, "revise", old, a_request(**BREAKS))

        assert (draft.revision, draft.revises_id, draft.revises_number) == (2, old.id, "Q000001")
        assert find(furnished, old).status is Status.ISSUED
        new = does(furnished, "issue", draft)
        gone = find(furnished, old)
        assert (new.number, new.revision, new.revises_number) == ("Q000002", 2, "Q000001")
        assert (gone.status, gone.superseded_by_id, gone.superseded_by_number) == (Status.SUPERSEDED, new.id, "Q000002")
        assert gone.figures == old.figures

    def test_without_a_new_request_quotes_the_same_at_todays_rates(self, furnished: Owner) -> None:
        old = furnished.issued(**TODAY)
        furnished.put_rate("materials/hdpe", "2026-02-01", builders.material_rate("9"))

        draft = does(furnished, "revise", old, None)

        assert draft.request == old.request
        assert draft.quoted_on == furnished.workshop.today()
        assert draft.figures.totals.payable.amount > old.figures.totals.payable.amount

    @pytest.mark.parametrize("become", [expired, lambda owner: decline(owner, owner.issued(**TODAY))])
    def test_what_has_expired_or_was_declined_may_be_revised(
        self, furnished: Owner, become: Callable[[Owner], Quotation]
    ) -> None:
        revision = does(furnished, "revise", become(furnished), None)

        assert does(furnished, "issue", revision).revision == 2

    @pytest.mark.parametrize(
        ("become", "told"),
        [
            (lambda owner: owner.quote(**TODAY), "is draft and cannot be revised; issue it first"),
            (lambda owner: owner.accepted(**TODAY), "is accepted and cannot be revised; quote anew"),
        ],
    )
    def test_a_draft_or_an_accepted_quotation_may_not_be_revised(
        self, furnished: Owner, become: Callable[[Owner], Quotation], told: str
    ) -> None:
        with pytest.raises(QuotationStateError, match=told):
            does(furnished, "revise", become(furnished), None)

    def test_what_is_accepted_while_the_new_one_is_computed_is_not_revised(self, furnished: Owner) -> None:
        old, looks = furnished.issued(**TODAY), []

        def accepted_after_the_first_look(_tag: str | None) -> bool:
            looks.append(len(looks) or accept(furnished, old))
            return True

        with pytest.raises(QuotationStateError, match="is accepted and cannot be revised"):
            does(furnished, "revise", old, None, precondition=accepted_after_the_first_look)
        assert len(looks) == 2

    def test_what_was_accepted_meanwhile_is_not_superseded(self, furnished: Owner) -> None:
        old = furnished.issued(**TODAY)
        draft = does(furnished, "revise", old, None)
        accept(furnished, old)

        with pytest.raises(QuotationStateError, match=r"^quotation Q000001 is accepted and cannot be superseded"):
            does(furnished, "issue", draft)

        assert find(furnished, draft).status is Status.DRAFT
        assert furnished.issued(**TODAY).number == "Q000002"

    def test_of_two_drafts_the_first_to_be_issued_wins(self, furnished: Owner) -> None:
        old = furnished.issued(**TODAY)
        one, other = (does(furnished, "revise", old, None) for _ in range(2))
        does(furnished, "issue", other)

        with pytest.raises(QuotationStateError, match="is superseded and cannot be superseded; look at its newest"):
            does(furnished, "issue", one)


class TestDiscarding:
    def test_removes_a_draft_with_all_its_records(self, furnished: Owner) -> None:
        draft = furnished.quote()

        does(furnished, "discard", draft)

        with pytest.raises(NotRegisteredError):
            find(furnished, draft)
        with furnished.database.reading() as connection:
            left = connection.execute(
                sa.select(sa.func.count()).where(quotation_events.c.workshop_id == furnished.workshop_id)
            )
            assert left.scalar_one() == 0

    def test_what_is_issued_is_kept_for_good(self, furnished: Owner) -> None:
        issued = furnished.issued(**TODAY)

        with pytest.raises(QuotationStateError, match="is issued and cannot be discarded; what is issued is kept"):
            does(furnished, "discard", issued)


class TestPreconditions:
    STEPS = (
        ("issue", (), lambda owner: owner.quote(**TODAY)),
        ("discard", (), lambda owner: owner.quote(**TODAY)),
        ("accept", (AcceptanceRequest(),), lambda owner: owner.issued(**TODAY)),
        ("decline", (DeclineRequest(),), lambda owner: owner.issued(**TODAY)),
        ("revise", (None,), lambda owner: owner.issued(**TODAY)),
        ("complete", (), lambda owner: owner.accepted(**TODAY)),
    )

    @pytest.mark.parametrize(("step", "given", "make"), STEPS, ids=[step for step, *_ in STEPS])
    def test_that_name_another_state_change_nothing(
        self, furnished: Owner, step: str, given: tuple[Any, ...], make: Callable[[Owner], Quotation]
    ) -> None:
        quotation = make(furnished)
        seen: list[str | None] = []

        with pytest.raises(PreconditionFailedError):
            does(furnished, step, quotation, *given, precondition=lambda tag: bool(seen.append(tag)))

        assert seen == [reading.tag_of(quotation)]
        assert find(furnished, quotation) == quotation

    def test_the_tag_of_an_expired_one_is_another(self, furnished: Owner) -> None:
        issued = furnished.issued(**TODAY)
        before = reading.tag_of(issued)

        by_hand(furnished, issued, valid_until=furnished.workshop.today() - DAY)

        assert reading.tag_of(find(furnished, issued)) != before


class TestListing:
    def test_by_state_follows_the_clock_over_midnight_of_the_last_day(self, furnished: Owner) -> None:
        with clock.set_to(LAST_MOMENT):
            issued = furnished.issued(**UNTIL)

        def listed() -> dict[Status, list[Any]]:
            return {
                status: [
                    (each.id, each.status)
                    for each in reading.list_quotations(furnished.workspace, after=None, limit=9, status=status)
                ]
                for status in (Status.ISSUED, Status.EXPIRED)
            }

        with clock.set_to(LAST_MOMENT):
            assert listed() == {Status.ISSUED: [(issued.id, Status.ISSUED)], Status.EXPIRED: []}
            assert find(furnished, issued).status is Status.ISSUED
        with clock.set_to(MIDNIGHT):
            assert listed() == {Status.ISSUED: [], Status.EXPIRED: [(issued.id, Status.EXPIRED)]}
            assert find(furnished, issued).status is Status.EXPIRED

    def test_by_state_lists_what_is_in_it_today(self, furnished: Owner) -> None:
        draft, issued, over = furnished.quote(), furnished.issued(**TODAY), expired(furnished)
        accepted = furnished.accepted(**TODAY)

        def listed(status: Status | None) -> list[Any]:
            found = reading.list_quotations(furnished.workspace, after=None, limit=9, status=status)
            return [each.id for each in found]

        assert listed(None) == [draft.id, issued.id, over.id, accepted.id]
        assert listed(Status.DRAFT) == [draft.id]
        assert listed(Status.ISSUED) == [issued.id]
        assert listed(Status.EXPIRED) == [over.id]
        assert listed(Status.ACCEPTED) == [accepted.id]
        assert listed(Status.COMPLETED) == []

    def test_events_of_an_unknown_quotation_are_not_found(self, furnished: Owner) -> None:
        with pytest.raises(NotRegisteredError):
            reading.list_events(furnished.workspace, uuid4())


class TestRecomputing:
    def test_finds_a_tampered_choice_of_batch_sizes(self, furnished: Owner) -> None:
        accepted = furnished.accepted({"quantities": [50]}, **BREAKS)
        with furnished.database.reading() as connection:
            row = connection.execute(
                sa.select(quotations.c.acceptance).where(
                    quotations.c.workshop_id == furnished.workshop_id, quotations.c.quotation_id == accepted.id
                )
            ).scalar_one()
        assert reading.recompute(furnished.workspace, accepted.id).agrees

        by_hand(furnished, accepted, acceptance=row.replace('"quantities":["50"]', '"quantities":["100"]'))

        assert not reading.recompute(furnished.workspace, accepted.id).agrees


class TestAToolOfSeveralLines:
    POLICY = builders.policy("markup", "0", never_below_cost="variable_cost")

    @pytest.fixture
    def moulding(self, owner: Owner) -> Owner:
        """Boxes of 0.30 a piece, from a mould of 1,000 that lasts 10,000 shots."""
        rates = {"flakes": builders.material_rate("0.30"), "mould": {"cost": builders.money("1000")}}
        owner.register("materials/flakes", {"name": "Flakes", "unit": "kg"}, **{FIRST_DAY: rates["flakes"]})
        owner.register("tools/mould", {"name": "Mould"}, **{FIRST_DAY: {**rates["mould"], "life_shots": "10000"}})
        owner.register("taxes/vat", {"name": "VAT 21 %"}, **{FIRST_DAY: {"rate_share": "0.21"}})
        owner.put("products/box", self.pressed("Box", "entire", "entire"))
        owner.put("products/lid", self.pressed("Lid", "per_shot"))
        return owner

    def pressed(self, name: str, *tooling: str) -> dict[str, Any]:
        steps = [{"name": f"step {at}", "tool": "mould", "tooling": each} for at, each in enumerate(tooling)]
        bill = [{"material": "flakes", "quantity_per_piece": "1"}]
        return {"name": name, "bill_of_materials": bill, "operations": steps}

    def line(self, product: str = "lid", quantity: int = 50, **changes: Any) -> dict[str, Any]:
        return {"product": product, "quantity": quantity, "tax": "vat", "policy": self.POLICY, **changes}

    @pytest.mark.parametrize("tooling", ["charged_once", "this_order"])
    def test_is_quoted_and_kept_once(self, moulding: Owner, tooling: str) -> None:
        quoted = moulding.quote(lines=[self.line(tooling=tooling), self.line(tooling=tooling)])

        figures = quoted.figures
        assert figures.totals.tax_exclusive == euros("1030.00")
        assert figures.kept.full_cost == figures.kept.variable_cost == euros("1030.00")
        assert figures.kept.profit == figures.kept.contribution == euros("0.00")
        assert reading.recompute(moulding.workspace, quoted.id).agrees

    def test_is_named_to_the_workshop(self, moulding: Owner) -> None:
        quoted = moulding.quote(lines=[self.line(), self.line("box"), self.line("box")])

        assert [(each.code, each.product, each.text) for each in quoted.remarks.warnings if "once" in each.code] == [
            ("tool-once", "lid", "Line 1 bears nothing of the cost of Mould: line 2 pays for all of it."),
            ("tool-once", "box", "Line 3 bears nothing of the cost of Mould: line 2 pays for all of it."),
        ]

    def test_is_left_out_of_the_breaks_that_are_found_for_another_line(self, moulding: Owner) -> None:
        automatic = {"least_fall_share": "0.05", "up_to": 1000}

        quoted = moulding.quote(lines=[self.line("box", 10), self.line("box", 10, automatic_breaks=automatic)])

        assert quoted.figures.lines[1].quantity_breaks == ()  # 0.30 a piece in any batch
        assert quoted.figures.lines[1].quoted.unit_price == euros("0.30")

    def test_was_paid_for_by_each_line_in_what_is_stored_from_before(self, moulding: Owner) -> None:
        """Stored on 2026-11-30 before the rule: two steps buy the mould, and two lines buy it again."""
        kept = json.loads((Path(__file__).parent / "first_edition.json").read_text())
        stored = moulding.accepted(lines=[self.line()], **TODAY)
        by_hand(moulding, stored, **{name: json.dumps(kept[name]) for name in kept})

        found = reading.recompute(moulding.workspace, stored.id)

        assert found.agrees
        assert found.recomputed.totals.tax_exclusive == euros("3951.75")
        kept["basis"]["edition"] = 2
        by_hand(moulding, stored, basis=json.dumps(kept["basis"]))
        assert not reading.recompute(moulding.workspace, stored.id).agrees


class TestBelowTheFloor:
    POLICY = builders.policy(never_below_cost="full_cost")
    SIXTY_OFF = ({"reason": "friends", "share": "0.6"},)

    @pytest.fixture
    def draft(self, furnished: Owner) -> Quotation:
        line = builders.quotation()["lines"][0]
        return furnished.quote(lines=[{**line, "policy": self.POLICY, "allowances": self.SIXTY_OFF}], **TODAY)

    def test_a_quotation_warns_first_of_all(self, draft: Quotation) -> None:
        short = draft.figures.lines[0].quoted.below_floor

        assert short is not None
        warning = draft.remarks.warnings[0]
        assert (warning.code, warning.text.facts["short"]) == ("below-floor", short.amount)

    def test_a_choice_of_small_batches_is_told_and_refused_alike(self, furnished: Owner) -> None:
        line = {**builders.quotation()["lines"][0], "policy": self.POLICY, "quantity_breaks": [10]}
        whole = furnished.quote(lines=[line, line], **TODAY).figures
        small = whole.lines[0].quantity_breaks[0]
        spare = small.net_amount.amount - small.kept.full_cost.amount
        season = {"reason": "season", "amount": str(spare * 2 + 1), "tax": line["tax"]}

        draft = furnished.quote(lines=[line, line], allowances=[season], **TODAY)

        assert [each.below_floor for line in draft.figures.lines for each in line.quantities] == [None] * 4
        assert [each.code for each in draft.remarks.warnings][:2] == ["below-floor"] * 2
        with pytest.raises(BelowFloorError, match="if the customer takes the least of every line, a quantity of 10"):
            does(furnished, "issue", draft)

    def test_a_draft_is_not_issued_unless_that_is_accepted(self, furnished: Owner, draft: Quotation) -> None:
        with pytest.raises(BelowFloorError, match=r"a quantity of 20 brings in .* below_floor: accepted"):
            does(furnished, "issue", draft)
        assert find(furnished, draft).status is Status.DRAFT

        issued = does(furnished, "issue", draft, IssueRequest(below_floor=BelowFloor.ACCEPTED))

        assert (issued.status, issued.number) == (Status.ISSUED, "Q000001")
        events = reading.list_events(furnished.workspace, issued.id)
        assert events[-1].note == "Q000001, below the floor, as accepted"
        assert does(furnished, "issue", issued) == issued  # again, from a client that got no answer
        assert reading.recompute(furnished.workspace, issued.id).agrees

    def test_what_is_accepted_in_vain_changes_nothing(self, furnished: Owner) -> None:
        plain = furnished.quote(**TODAY)

        issued = does(furnished, "issue", plain, IssueRequest(below_floor=BelowFloor.ACCEPTED))

        assert reading.list_events(furnished.workspace, issued.id)[-1].note == "Q000001"


class TestQuotingMore:
    def test_finds_the_breaks_where_the_price_sheet_says_that_a_piece_has_become_cheaper(
        self, furnished: Owner
    ) -> None:
        line = {**builders.quotation()["lines"][0], "automatic_breaks": {"least_fall_share": "0.004", "up_to": 200}}

        quoted = furnished.quote(lines=[line]).figures.lines[0]

        price, expected = furnished.price(quantity=20).price_per_piece.price.amount, []
        for quantity in (25, 30, 40, 50, 60, 80, 100, 120, 150, 200):
            cheaper = furnished.price(quantity=quantity).price_per_piece.price.amount
            if cheaper <= price * D("0.996"):
                expected.append((quantity, cheaper))
                price = cheaper
        assert [(each.quantity, each.unit_price.amount) for each in quoted.quantity_breaks] == expected
        assert len(expected) > 1

    def test_leaves_out_breaks_that_were_asked_for(self, furnished: Owner) -> None:
        automatic = {"least_fall_share": "0.004", "up_to": 200}
        line = {**builders.quotation()["lines"][0], "automatic_breaks": automatic}
        first, *others = [each.quantity for each in furnished.quote(lines=[line]).figures.lines[0].quantity_breaks]

        quoted = furnished.quote(lines=[{**line, "quantity_breaks": [33, first]}])

        assert [each.quantity for each in quoted.figures.lines[0].quantity_breaks] == [33, first, *others]
        assert reading.recompute(furnished.workspace, quoted.id).agrees

    def test_needs_no_rate_for_what_the_customer_brings(self, furnished: Owner) -> None:
        furnished.put("materials/theirs", builders.material(name="Their caps"))
        bill = [{"material": each, "quantity_per_piece": "1"} for each in ("hdpe", "theirs")]
        furnished.put("products/sheet", builders.product(bill_of_materials=bill))
        line = builders.quotation()["lines"][0]

        with pytest.raises(MissingRatesError, match="materials/theirs"):
            furnished.quote(lines=[line])
        quoted = furnished.quote(lines=[{**line, "supplied_materials": ["theirs"]}])

        assert [each.name for each in quoted.figures.lines[0].supplied] == ["Their caps"]
        assert reading.recompute(furnished.workspace, quoted.id).agrees

    @pytest.mark.parametrize("base", ["piece", "direct_material_value"])
    def test_leaves_a_pool_out_that_has_no_rate_yet_and_says_so(self, furnished: Owner, base: str) -> None:
        before = furnished.quote()
        furnished.register(
            "overheads/insurance", {"name": "Insurance", "base": base}, **{"2999-01-01": builders.overhead_rate()}
        )

        quoted = furnished.quote()

        assert quoted.figures == before.figures
        assert {each.code for each in quoted.remarks.warnings} - {each.code for each in before.remarks.warnings} == {
            "pool-left-out"
        }
        assert reading.recompute(furnished.workspace, quoted.id).agrees

    def test_refuses_customer_materials_that_are_not_needed(self, furnished: Owner) -> None:
        line = {**builders.quotation()["lines"][0], "supplied_materials": ["hdpe", "gold"]}

        with pytest.raises(
            InvalidValuesError, match=r"^lines/1/supplied_materials/1: the product takes no material 'gold'$"
        ):
            furnished.quote(lines=[builders.quotation()["lines"][0], line])

    def test_in_another_currency_keeps_the_rates_it_took(self, furnished: Owner) -> None:
        furnished.put_exchange_rates("2026-11-20", USD="1.25", CHF="0.95")

        quoted = furnished.quote(currency="CHF")

        assert quoted.figures.currency == quoted.figures.totals.payable.currency == "CHF"
        assert [set(each.rates) for each in quoted.remarks.exchange_rates] == [{"CHF"}]
        furnished.put_exchange_rates("2026-11-20", USD="1.25", CHF="0.99")
        assert reading.recompute(furnished.workspace, quoted.id).agrees

    def test_ships_all_pieces_of_a_product_together(self, furnished: Owner) -> None:
        builders.register_shipping(furnished)
        line = {**builders.quotation()["lines"][0], "product": "brick", "quantity": 4}
        shipping = {"service": "post", "zone": "home", "tax": "vat"}

        quoted = furnished.quote(lines=[line, {**line, "quantity": 5}], shipping=shipping)

        shipped = quoted.figures.shipping
        assert shipped is not None
        assert sum(each.count * each.pieces for each in shipped.parcels) == 9
        assert quoted.figures.charges[0].amount == shipped.price
        assert reading.recompute(furnished.workspace, quoted.id).agrees

    def test_says_when_it_can_be_ready_and_warns_of_an_earlier_day(self, furnished: Owner) -> None:
        furnished.put("machines/press", builders.machine(hours_per_week="40"))
        soon = {"needed_by": furnished.workshop.today().isoformat(), **TODAY}
        late = {"needed_by": "2099-12-31", **TODAY}

        warned, at_ease = furnished.quote(**soon), furnished.quote(**late)

        ready = warned.remarks.lead_time
        assert ready is not None
        assert ready.ready_on is not None
        assert ready.bottleneck == "machines/press"
        assert warned.remarks.warnings[0].code == "late"
        assert f"could be ready on {ready.ready_on}" in warned.remarks.warnings[0].text
        assert "late" not in [each.code for each in at_ease.remarks.warnings]
        assert reading.recompute(furnished.workspace, warned.id).agrees

    def test_warns_by_how_much_rates_that_begin_before_it_is_ready_are_dearer(self, furnished: Owner) -> None:
        furnished.put("machines/press", builders.machine(hours_per_week="1"))
        alike = furnished.quote(**TODAY)
        ready = alike.remarks.lead_time
        assert ready is not None
        assert ready.ready_on is not None
        furnished.put_rate("materials/hdpe", str(ready.ready_on), builders.material_rate("1.80"))

        warned = furnished.quote(**TODAY)
        then, now = (
            furnished.cost("sheet", 20, day).subtotals.full_cost.per_batch.amount
            for day in (ready.ready_on, ready.starting_on)
        )
        furnished.put_rate("materials/hdpe", str(ready.ready_on), builders.material_rate("0.01"))
        cheaper = furnished.quote(**TODAY)
        furnished.put_rate("materials/hdpe", str(ready.ready_on), {"price": builders.money("1", "JPY")})
        unknown = furnished.quote(**TODAY)

        told = [each.text for each in warned.remarks.warnings if each.code == "dearer-when-ready"]
        for quiet in (alike, cheaper, unknown):
            assert "dearer-when-ready" not in [each.code for each in quiet.remarks.warnings]
        assert told == [
            Message(
                "The order can be ready on {day}. At rates that begin by then it costs {more} EUR more than it is "
                "quoted at: HDPE flakes from {day}.",
                day=str(ready.ready_on),
                more=then - now,
            )
        ]

    def test_says_why_it_can_never_be_ready(self, furnished: Owner) -> None:
        furnished.put("machines/press", builders.machine(hours_per_week="0"))

        warned = furnished.quote(needed_by="2099-12-31").remarks.warnings[0]

        assert "could not be ready: Sheet press works 0 hours a week" in warned.text

    def test_goes_before_accepted_work_where_a_rush_is_charged(self, furnished: Owner) -> None:
        furnished.put("machines/press", builders.machine(hours_per_week="40"))
        furnished.accepted(**TODAY)

        usual, rush = furnished.quote(**TODAY), furnished.quote(rush_charge={"share": "0.1", "tax": "vat"}, **TODAY)

        later = usual.remarks.lead_time
        assert later is not None
        assert rush.remarks.lead_time is not None
        assert later.ready_on > rush.remarks.lead_time.ready_on  # type: ignore[operator]
        assert later.loads[0].minutes_promised > 0

    @pytest.mark.parametrize(
        ("line", "zone", "error", "path"),
        [
            ({}, "moon", UnknownZoneError, ("shipping", "zone")),
            ({"quantity": 200_000}, "home", TooComplexError, ("shipping",)),
            ({"product": "wall"}, "home", DoesNotFitError, ("lines", 1, "product")),
        ],
    )
    def test_names_the_member_that_prevents_shipping(
        self, furnished: Owner, line: dict[str, Any], zone: str, error: type[Exception], path: tuple[Any, ...]
    ) -> None:
        builders.register_shipping(furnished)
        furnished.put("products/wall", builders.measured(length_mm="9000"))
        brick = {**builders.quotation()["lines"][0], "product": "brick"}

        with pytest.raises(error) as found:
            furnished.quote(lines=[brick, {**brick, **line}], shipping={"service": "post", "zone": zone, "tax": "vat"})

        assert found.value.path == path  # type: ignore[attr-defined]


WORK = {
    "item": {"name": "Press work", "unit": "hour", "cost": "38.50"},
    "quantity": "2.5",
    "tax": "vat",
    "policy": builders.policy("fixed_price", "50"),
}


class TestItems:
    """Lines that are no product: services, and anything else with a cost of its own."""

    def test_alone_make_a_quotation_that_can_be_accepted_and_computed_again(self, furnished: Owner) -> None:
        lines = [{**WORK, "quantity_breaks": ["10"]}]

        accepted = furnished.accepted({"quantities": ["10"]}, lines=lines, quoted_on=None)

        assert accepted.acceptance is not None
        assert accepted.acceptance.totals.tax_exclusive == euros("500.00")
        assert accepted.remarks.lead_time is None
        assert reading.recompute(furnished.workspace, accepted.id).agrees

    def test_beside_a_product_promise_no_minutes_of_their_own(self, furnished: Owner) -> None:
        sheet = builders.quotation()["lines"][0]

        alone, both = (furnished.accepted(lines=lines, quoted_on=None) for lines in ([sheet], [WORK, sheet, WORK]))

        assert both.figures.totals.line_total.amount == alone.figures.totals.line_total.amount + 250
        with furnished.database.reading() as connection:
            promised = life.promised_minutes(connection, furnished.workshop_id)
        quotation_life.decline(furnished.workspace, both.id, DeclineRequest())
        with furnished.database.reading() as connection:
            assert promised == {
                resource: 2 * minutes
                for resource, minutes in life.promised_minutes(connection, furnished.workshop_id).items()
            }

    def test_are_not_shipped(self, furnished: Owner) -> None:
        builders.register_shipping(furnished)
        shipping = {"service": "post", "zone": "home", "tax": "vat"}

        with pytest.raises(InvalidValuesError, match="items and hours are not shipped"):
            furnished.quote(lines=[WORK], shipping=shipping)

        assert furnished.quote(
            lines=[WORK, {**builders.quotation()["lines"][0], "product": "brick"}], shipping=shipping
        )


def test_of_prices_with_tax_a_found_batch_can_be_accepted_and_computed_again(furnished: Owner) -> None:
    line = {**builders.quotation()["lines"][0], "automatic_breaks": {"least_fall_share": "0.001", "up_to": 500}}
    issued = furnished.issued(lines=[line], quoted_on=None, display=Display.TAX_INCLUSIVE)
    found, *_ = issued.figures.lines[0].quantity_breaks

    taken = AcceptanceRequest(quantities=(found.quantity,))
    accepted = quotation_life.accept(furnished.workspace, issued.id, taken)

    assert accepted.acceptance is not None
    totals = accepted.acceptance.totals
    assert totals.tax_inclusive == totals.line_total == found.amount_with_tax
    assert reading.recompute(furnished.workspace, accepted.id).agrees
