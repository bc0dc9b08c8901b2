"""A batch that was made: its good units, and as much of what it took as somebody counted."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Code, Distinct, Length, Line, Name, NotNegative, Positive, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.money import Money, NotNegativeMoney
from service.domain.values.references import Names
from service.domain.values.units import SoldQuantityOrNone

MOST_COUNTS = 1000
"""The most entries of each kind in a record."""


@declared
class MaterialCount:
    """What was counted of a material.

    Attributes:
        material: code of the material.
        issued: quantity drawn from stock, in the material's unit.
        returned: quantity that came back to be ground up again.
        paid: what was paid for it, or less than nothing where the workshop was paid to take it.
        paid_for: the quantity that was paid for; what was issued if left out.
    """

    material: Annotated[Code, Names("materials")]
    issued: NotNegative | None = None
    returned: NotNegative | None = None
    paid: Money | None = None
    paid_for: Positive | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.issued is None and self.returned is None and self.paid is None:
            yield InvalidValueError(("issued",), "is required, or returned or paid: leave out what nobody counted")
        if self.paid is None and self.paid_for is not None:
            yield InvalidValueError(("paid",), "is required with paid_for, which is the quantity that was paid for")
        if self.paid is not None and self.paid_for is None and self.issued == 0:
            yield InvalidValueError(("paid_for",), "is required, for nothing was issued that this could have paid for")
        if self.issued is not None and self.returned is not None and self.returned > self.issued:
            yield InvalidValueError(("returned",), f"must be {self.issued:f} or less, which is all that was issued")


@declared
class OperationCount:
    """What was counted of an operation.

    Attributes:
        operation: its name.
        product: code of the sub-assembly that it belongs to; the record's own product if left out.
        minutes: it took in all: warm-up, set-up and run.
        setup_minutes: of these, the set-up alone, without the warm-up.
        scrap: units of its product that were begun at it and were not good after it.
    """

    operation: Name
    product: Annotated[Code, Names("products")] | None = None
    minutes: NotNegative | None = None
    setup_minutes: NotNegative | None = None
    scrap: SoldQuantityOrNone | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.minutes is None and self.setup_minutes is None and self.scrap is None:
            yield InvalidValueError(
                ("minutes",), "is required, or scrap: leave out the operation if neither was counted"
            )
        if self.minutes is not None and self.setup_minutes is not None and self.setup_minutes > self.minutes:
            yield InvalidValueError(("setup_minutes",), f"must be {self.minutes:f} or less, which is all that it took")


@declared
class LabourCount:
    """What was counted of the hours of a labour grade, over all operations.

    Attributes:
        labour_grade: code of the grade.
        hours: worked on the batch.
        idle_hours: paid but not worked, beyond the productive share that the grade's rate allows for: no power, or no
            material.
        paid: what the hours cost, worked and idle, with the employer's contributions.
    """

    labour_grade: Annotated[Code, Names("labour-grades")]
    hours: NotNegative | None = None
    idle_hours: NotNegative = ZERO
    paid: NotNegativeMoney | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.hours is None and not self.idle_hours and self.paid is None:
            yield InvalidValueError(("hours",), "is required, or paid: leave out what nobody counted")
        if self.hours == 0 and (self.idle_hours or self.paid is not None):
            yield InvalidValueError(("hours",), "must be more than 0 where hours are paid or idle")


@declared
class ElectricityCount:
    """What was counted of the electricity of a tariff: kilowatt-hours, or a meter before and after.

    Attributes:
        tariff: code of the tariff.
        band: the band that was counted; all of them together if left out.
        kwh: used by the batch.
        meter_begin: what the meter showed before the batch, in kWh.
        meter_end: what it showed after it.
        paid: what these kilowatt-hours cost, without standing and demand charges.
    """

    tariff: Annotated[Code, Names("tariffs")]
    band: Code | None = None
    kwh: NotNegative | None = None
    meter_begin: NotNegative | None = None
    meter_end: NotNegative | None = None
    paid: NotNegativeMoney | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        begin, end = self.meter_begin, self.meter_end
        if self.kwh is not None and (begin is not None or end is not None):
            yield InvalidValueError(("kwh",), "give either kwh or the meter, not both")
        elif begin is None and end is not None:
            yield InvalidValueError(("meter_begin",), "is required with meter_end")
        elif end is None and begin is not None:
            yield InvalidValueError(("meter_end",), "is required with meter_begin")
        elif begin is not None and end is not None and end < begin:
            reason = f"must be {begin:f} or more, which is meter_begin; give kwh if the meter began again at 0"
            yield InvalidValueError(("meter_end",), reason)
        elif self.counted_kwh is None and self.paid is None:
            yield InvalidValueError(("kwh",), "is required, or a meter or paid: leave out what nobody counted")
        elif self.counted_kwh == 0 and self.paid is not None:
            yield InvalidValueError(("paid",), "must be left out where nothing was used")

    @property
    def counted_kwh(self) -> Decimal | None:
        """Kilowatt-hours, as counted or by the meter; None if nobody counted them."""
        if self.meter_begin is None or self.meter_end is None:
            return self.kwh
        return self.meter_end - self.meter_begin


@declared
class OverheadCount:
    """What was really spent of a variable overhead pool for the batch.

    Attributes:
        overhead: code of the pool.
        paid: what was spent.
    """

    overhead: Annotated[Code, Names("overheads")]
    paid: NotNegativeMoney


_Materials = Annotated[
    tuple[MaterialCount, ...],
    Length(at_most=MOST_COUNTS),
    Distinct(by="material", reason="counts this material twice; add it up", at_entry=True),
]
_Grades = Annotated[
    tuple[LabourCount, ...],
    Length(at_most=MOST_COUNTS),
    Distinct(by="labour_grade", reason="counts this grade twice; add its hours up", at_entry=True),
]
_Overheads = Annotated[
    tuple[OverheadCount, ...],
    Length(at_most=MOST_COUNTS),
    Distinct(by="overhead", reason="counts this pool twice; add it up", at_entry=True),
]


@declared
class BatchRecord:
    """A batch that was made. What is left out was not counted, and is taken as estimated.

    Attributes:
        product: code of the product.
        made_on: the day it was finished; its facts and rates are those of that day.
        good_units: that can be sold or used; 0 if all were lost.
        units_started: that were begun at the first operation.
        materials: issued, returned and paid.
        operations: minutes and scrap.
        labour: hours by grade.
        electricity: kilowatt-hours by tariff.
        overheads: what was spent of variable pools.
        note: anything worth knowing, such as what went wrong.
    """

    product: Annotated[Code, Names("products")]
    made_on: date
    good_units: SoldQuantityOrNone
    units_started: SoldQuantityOrNone | None = None
    materials: _Materials = ()
    operations: Annotated[tuple[OperationCount, ...], Length(at_most=MOST_COUNTS)] = ()
    labour: _Grades = ()
    electricity: Annotated[tuple[ElectricityCount, ...], Length(at_most=MOST_COUNTS)] = ()
    overheads: _Overheads = ()
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        started = self.units_started
        scrap = any(each.scrap for each in self.operations if each.product in (None, self.product))
        if started is not None and self.good_units > started:
            yield InvalidValueError(("good_units",), f"must be {started:f} or less, which is all that was started")
        if not self.good_units and not started and not scrap:
            reason = "is required where no unit is good: what was begun is what was lost"
            yield InvalidValueError(("units_started",), reason)
        yield from self._repeated_operations()
        yield from self._repeated_bands()

    @property
    def is_counted(self) -> bool:
        """Whether anything was counted but the good units."""
        counts = self.materials, self.operations, self.labour, self.electricity, self.overheads
        return self.units_started is not None or any(counts)

    def _repeated_operations(self) -> Iterator[InvalidValueError]:
        seen = set()
        for place, each in enumerate(self.operations):
            key = each.product or self.product, each.operation
            if key in seen:
                yield InvalidValueError(("operations", place, "operation"), "is counted twice; add it up")
            seen.add(key)

    def _repeated_bands(self) -> Iterator[InvalidValueError]:
        seen: dict[str, set[str | None]] = {}
        for place, each in enumerate(self.electricity):
            bands = seen.setdefault(each.tariff, set())
            if each.band in bands or (bands and None in {each.band, *bands}):
                reason = "counts these kilowatt-hours twice; give either each band once or all of them together"
                yield InvalidValueError(("electricity", place, "tariff"), reason)
            bands.add(each.band)
