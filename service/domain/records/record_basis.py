"""What a record is compared by: the bill of its good units, and the bill that comes to what was counted."""

from dataclasses import dataclass
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import Catalogue, Tooling
from service.domain.records.as_made import Made, begin, take_time
from service.domain.records.batch_record import BatchRecord
from service.domain.records.counted_hours import employ, power
from service.domain.records.counted_materials import draw
from service.domain.records.counted_of_bill import foreign_counts, uneven_units
from service.domain.records.observation import Observation, added_up
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import ONE, exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordBasis:
    """What a record is compared by, from the facts of its day; with it the comparison can be made again later.

    Attributes:
        standard: the bill of the good units; None where there are none.
        begun: the bill of the units that were begun, with the scrap that was counted.
        taken: the bill that comes to what was counted; what nobody counted follows from what was.
        observations: what the batch says about the facts of its product.
    """

    standard: BillOfResources | None
    begun: BillOfResources
    taken: BillOfResources
    observations: tuple[Observation, ...]


@exactly
def record_basis(
    record: BatchRecord, catalogue: Catalogue, tooling: Tooling | None = None, orders: Decimal = ONE
) -> RecordBasis:
    """The bills of a record, from the facts of its day.

    What was not counted follows from what was, by the bill's own formulas: material and minutes from the units begun,
    the hours and the electricity of a run from its minutes, regrind and waste from what was issued.

    Args:
        tooling: how every tool is charged; as each operation says if left out.
        orders: how many the batch is, for pools spread over orders: a part of one if several batches were made for it.

    Raises:
        InvalidValuesError: something counted is not in the bill, or cannot be; all problems of a kind at once.
        PugmillError: the product cannot be exploded, as `bill_of_resources` says.
    """
    if problems := [*foreign_counts(record, catalogue)] or [*uneven_units(record, catalogue)]:
        raise InvalidValuesError(problems)
    made = Made(
        record=record,
        catalogue=catalogue,
        tooling=tooling,
        orders=orders,
        units=record.good_units,
        observations=[],
        problems=[],
    )
    standard = made.bill() if record.good_units else None
    begin(made)
    begun = made.bill()
    take_time(made, begun)
    timed = made.bill()
    employ(made, timed)
    power(made, timed)
    draw(made, begun)
    taken = made.bill()
    _check_overheads(made, taken)
    if made.problems:
        raise InvalidValuesError(made.problems)
    return RecordBasis(standard=standard, begun=begun, taken=taken, observations=tuple(added_up(made.observations)))


def _check_overheads(made: Made, taken: BillOfResources) -> None:
    borne = {line.resource for line in taken.lines} | {pool.resource for pool in taken.value_pools}
    for place, count in enumerate(made.record.overheads):
        if f"overheads/{count.overhead}" not in borne:
            made.refuse(("overheads", place, "overhead"), "bears on nothing that this batch took; leave it out")
