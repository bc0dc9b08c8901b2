"""What nobody counted of a batch, so that it follows from what was counted, by the shares and times of the bill."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from service.domain.making.bill_of_resources import MaterialIssue
from service.domain.making.resources import DISPOSED, RECLAIMED
from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import RecordBasis
from service.domain.values.references import Thing, part_in, part_of, whole_of


class Counted(StrEnum):
    """What can be counted of a batch."""

    ISSUED = "issued"
    RETURNED = "returned"
    MINUTES = "minutes"
    SCRAP = "scrap"
    HOURS = "hours"
    KWH = "kwh"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenAsEstimated:
    """Something that nobody counted.

    Attributes:
        what: issued, returned, minutes, scrap, hours or kwh.
        item: its reference, for instance "materials/hdpe"; for an operation, its product and name.
        name: what the workshop calls it.
    """

    what: Counted
    item: str
    name: str


def taken_as_estimated(record: BatchRecord, basis: RecordBasis) -> Iterator[TakenAsEstimated]:
    """What the batch took and nobody counted."""
    counted = {f"materials/{each.material}" for each in record.materials if each.issued is not None}
    counted |= {f"labour-grades/{each.labour_grade}" for each in record.labour if each.hours is not None}
    counted |= {f"tariffs/{each.tariff}" for each in record.electricity if each.counted_kwh is not None}
    kinds = {"materials": Counted.ISSUED, "labour-grades": Counted.HOURS, "tariffs": Counted.KWH}
    seen: set[str] = set(counted)
    for line in basis.taken.lines:
        resource = whole_of(line.resource)
        what = kinds.get(resource.partition("/")[0])
        is_lost = what is Counted.ISSUED and part_in(line.resource)
        if what is not None and not is_lost and resource not in seen:
            seen.add(resource)
            yield TakenAsEstimated(what=what, item=resource, name=line.name)
    yield from _uncounted_returns(record, basis)
    operations = {(each.product or record.product, each.operation): each for each in record.operations}
    for step in basis.taken.steps:
        count, item = operations.get((step.product, step.operation)), f"{step.product}/{step.operation}"
        if count is None or count.minutes is None:
            yield TakenAsEstimated(what=Counted.MINUTES, item=item, name=step.operation)
        is_started_counted = step.product == record.product and record.units_started is not None
        if not is_started_counted and (count is None or count.scrap is None):
            yield TakenAsEstimated(what=Counted.SCRAP, item=item, name=step.operation)


def _uncounted_returns(record: BatchRecord, basis: RecordBasis) -> Iterator[TakenAsEstimated]:
    """The materials of which some is estimated to have come back; nobody can count what came back of a sub-assembly."""
    names = {line.resource: line.name for line in basis.taken.lines}
    came_back = (each.item for each in basis.taken.issues if _is_share_alone(record, each))
    for item in dict.fromkeys(each for each in came_back if each in names):
        yield TakenAsEstimated(what=Counted.RETURNED, item=item, name=names[item])


def lost_by_shares(record: BatchRecord, basis: RecordBasis) -> frozenset[str]:
    """The parts of materials, reclaimed and disposed of, whose quantities are what the bill's shares make of a loss."""
    found = set()
    for each in (*basis.begun.issues, *basis.taken.issues):
        if _is_share_alone(record, each):
            item = Thing.of(each.item)
            of_material = item.code if item.collection == "materials" else each.reclaimed_as
            found.add(part_of(f"materials/{each.reclaimed_as or of_material}", RECLAIMED))
            found.add(part_of(f"materials/{of_material}", DISPOSED))
    return frozenset(found)


def _is_share_alone(record: BatchRecord, issue: MaterialIssue) -> bool:
    """Whether some of it came back, but only because its bill has a share for that."""
    return bool(issue.reclaimed) and issue.item not in {
        f"materials/{each.material}" for each in record.materials if each.returned is not None
    }
