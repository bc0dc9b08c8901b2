"""Records batches that were made: one, or many in one act."""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date
from functools import cache
from typing import Any, NamedTuple

from service.domain.audit import Action
from service.domain.quoting.life import number_of
from service.domain.records.batch_record import BatchRecord
from service.domain.records.plausibility import record_warnings
from service.domain.records.record_basis import RecordBasis, record_basis
from service.domain.values.declared import Code
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.message import Message, PlausibilityWarning
from service.store.engine.database import Connection
from service.store.quoting.quotations import find_quotation
from service.store.records import batch_records
from service.store.records.batch_records import ChosenRecords, StoredRecord
from service.store.records.record_facts import forget_facts, get_facts, keep_facts
from service.time_limit import next_step
from service.workflows.entity_tags import Precondition, always
from service.workflows.errors import NotRegisteredError
from service.workflows.records.facts_then import FactsThen, facts_then
from service.workflows.registering.changing import Entry, OneAct, Registering, change
from service.workflows.workspace import Workspace

MAX_RECORDS = 1_000
"""Most records of one request: so many are recorded within some seconds, for which others wait."""


class CodedRecord(NamedTuple):
    """A record with its code."""

    code: Code
    record: BatchRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What has become of many records.

    Attributes:
        recorded: that were not there before.
        corrected: that were there with other counts.
        unchanged: that were there as they are.
        warnings: what looks implausible about them, each with the code of its record.
    """

    recorded: int
    corrected: int
    unchanged: int
    warnings: tuple[PlausibilityWarning, ...] = ()


def told(stored: StoredRecord) -> dict[str, Any]:
    """A record as it is shown, and as the audit trail has it."""
    counted = {each.name: getattr(stored.record, each.name) for each in fields(stored.record)}
    number = None if stored.quotation is None else number_of(stored.quotation)
    return {"code": stored.code, **counted, "facts_of": stored.facts_of, "quotation": number}


def find_record(workspace: Workspace, code: str) -> StoredRecord:
    """The record; raises NotRegisteredError if there is none."""
    with workspace.reading() as connection:
        return get_record(connection, workspace, code)


def list_records(
    workspace: Workspace, chosen: ChosenRecords, *, before: tuple[date, str] | None, limit: int
) -> list[StoredRecord]:
    """A page of records, newest day first."""
    with workspace.reading() as connection:
        return batch_records.page_of_records(connection, workspace.workshop_id, chosen, before=before, limit=limit)


def get_record(connection: Connection, workspace: Workspace, code: str) -> StoredRecord:
    """The same, in an open transaction."""
    found = batch_records.find_record(connection, workspace.workshop_id, code)
    if found is None:
        raise NotRegisteredError(_named(code))
    return found


def _named(code: str) -> str:
    return f"batch record '{code}'"


def _subject(code: str) -> str:
    return f"batch-records/{code}"


def put_record(
    workspace: Workspace, code: str, record: BatchRecord, precondition: Precondition = always
) -> Registering:
    """Record a batch, or correct its record; the same again changes nothing.

    A correction is compared with the same facts as before, unless it is of another product or day.

    Raises:
        InvalidValuesError: it names something that is not registered, or counts what cannot be.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.changing() as connection:
        recorder = Recorder(connection, workspace)
        done = recorder.put(CodedRecord(code, record), precondition)
        recorder.record()
        return done


def put_records(workspace: Workspace, records: Sequence[CodedRecord], *, may_correct: bool = True) -> Recorded:
    """Record many batches in one act: all of them, or none if any is wrong.

    Args:
        may_correct: whether a code that is there with other counts is corrected, or refused.

    Raises:
        InvalidValuesError: every problem of every record.
        TooComplexError: there are too many.
    """
    with workspace.changing() as connection:
        recorder = Recorder(connection, workspace, may_correct=may_correct)
        done = recorder.put_all(records)
        recorder.record()
    actions = [each.action for each in done]
    return Recorded(
        recorded=actions.count(Action.REGISTERED),
        corrected=actions.count(Action.REPLACED),
        unchanged=actions.count(None),
        warnings=tuple(
            replace(warning, text=Message("{batch}: {told}", batch=coded.code, told=warning.text))
            for coded, each in zip(records, done, strict=True)
            for warning in each.warnings
        ),
    )


def delete_record(workspace: Workspace, code: str, precondition: Precondition = always) -> None:
    """Delete a record that should not be there; what it was stays in the audit trail.

    Raises:
        NotRegisteredError: there is no such record.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.taking_away() as connection:
        found = get_record(connection, workspace, code)

        def save(_: int) -> None:
            batch_records.delete_record(connection, workspace.workshop_id, code)
            forget_facts(connection, workspace.workshop_id, found.facts)

        change(connection, workspace, Entry(_named(code), _subject(code), _there(found), None, save), precondition)


def _there(found: StoredRecord | None) -> tuple[Any, int] | None:
    return None if found is None else (told(found), found.revision)


@dataclass(slots=True)
class Recorder:
    """Records batches under the workshop's lock.

    Attributes:
        quotation: number of the quotation that they were made for.
        may_correct: whether a record that is there with other counts is corrected, or refused.
    """

    connection: Connection
    workspace: Workspace
    quotation: int | None = None
    may_correct: bool = True
    _act: OneAct = field(default_factory=OneAct)
    _then: dict[tuple[str, date], FactsThen] = field(default_factory=dict)

    def put_all(self, records: Sequence[CodedRecord]) -> list[Registering]:
        """Record all of them, and tell what was done with each; raises as `put_records` does."""
        if len(records) > MAX_RECORDS:
            raise TooComplexError("batch records in one request", MAX_RECORDS, remedy="send them in several requests")
        problems: list[InvalidValueError] = []
        done: list[Registering] = []
        seen: set[str] = set()
        for place, each in enumerate(records):
            next_step()
            try:
                if each.code in seen:
                    raise InvalidValuesError([InvalidValueError(("code",), "is the code of a record before it, too")])
                seen.add(each.code)
                done.append(self.put(each))
            except InvalidValuesError as error:
                problems += (InvalidValueError(("records", place, *it.path), it.reason) for it in error.problems)
        if problems:
            raise InvalidValuesError(problems)
        return done

    def record(self) -> None:
        """Record what was done in the audit trail, as one act."""
        self._act.record(self.connection, self.workspace)

    def put(self, coded: CodedRecord, precondition: Precondition = always) -> Registering:
        """Record a batch, and tell what looks implausible about it; raises as `put_record` does."""
        code, record = coded
        workshop_id = self.workspace.workshop_id
        there = batch_records.find_record(self.connection, workshop_id, code)
        then = self._compared_with(record, there)
        quotation = self.quotation if there is None else there.quotation or self.quotation
        if there is not None and there.quotation is not None:
            self._check_its_order(there, there.quotation, record)
        digest = "" if there is None else there.facts
        wanted = StoredRecord(code=code, record=record, facts=digest, facts_of=then.of, quotation=quotation, revision=0)
        if there is not None and not self.may_correct and told(wanted) != told(there):
            reason = "is of a batch that is recorded with other counts; give this one another, or correct it on purpose"
            raise InvalidValuesError([InvalidValueError(("code",), reason)])

        @cache
        def basis() -> RecordBasis:
            return record_basis(record, then.facts.catalogue)

        def save(revision: int) -> None:
            facts = keep_facts(self.connection, workshop_id, then.facts)
            kept = replace(wanted, facts=facts, revision=revision)
            batch_records.save_record(self.connection, workshop_id, kept, basis().observations)
            if there is not None and there.facts != facts:
                forget_facts(self.connection, workshop_id, there.facts)

        entry = Entry(_named(code), _subject(code), _there(there), told(wanted), save)
        done = change(self.connection, self.workspace, entry, precondition, self._act)
        warnings = record_warnings(record, basis(), then.facts.catalogue) if record.materials else ()
        if warnings and quotation is not None:
            supplied = self._supplied(quotation, record.product)
            warnings = record_warnings(record, basis(), then.facts.catalogue, supplied)
        return replace(done, warnings=warnings)

    def _supplied(self, quotation: int, product: str) -> frozenset[str]:
        """The materials that the customer supplies for the product of an order."""
        found = find_quotation(self.connection, self.workspace.workshop_id, quotation)
        return frozenset() if found is None else found.request.supplied_for(product)

    def _check_its_order(self, there: StoredRecord, quotation: int, record: BatchRecord) -> None:
        """Raises InvalidValuesError if the record would be of another order, or not of what its order is for."""
        if self.quotation not in (None, quotation):
            reason = f"is of a batch that was made for quotation {number_of(quotation)}; give this one another"
            raise InvalidValuesError([InvalidValueError(("code",), reason)])
        if record.product != there.record.product:
            reason = f"must be {there.record.product}: the batch was made for quotation {number_of(quotation)}; "
            raise InvalidValuesError([InvalidValueError(("product",), f"{reason}delete its record if that is wrong")])

    def _compared_with(self, record: BatchRecord, there: StoredRecord | None) -> FactsThen:
        """What a record is compared with: what it was before, or the facts of its day."""
        if there is not None and (there.record.product, there.record.made_on) == (record.product, record.made_on):
            return FactsThen(get_facts(self.connection, self.workspace.workshop_id, there.facts), there.facts_of)
        if record.made_on > (today := self.workspace.workshop.today()):
            reason = f"must be {today} or earlier: record a batch when it is made"
            raise InvalidValuesError([InvalidValueError(("made_on",), reason)])
        key = record.product, record.made_on
        if key not in self._then:
            self._then[key] = facts_then(self.connection, self.workspace, *key)
        return self._then[key]
