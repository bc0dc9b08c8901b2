"""What was paid for a batch, as rates of what it took."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from service.domain.costing.cost_sheet import CostLine, cost_sheet
from service.domain.costing.rate_card import RateCard
from service.domain.costing.rates import Convert
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.resources import STANDING
from service.domain.records.batch_record import BatchRecord, ElectricityCount
from service.domain.values.exact import ZERO, exactly
from service.domain.values.references import part_in, whole_of

Lines = Mapping[str, CostLine]
"""The lines of a cost sheet, by part of a resource."""


def lines_of(bill: BillOfResources | None, rates: Mapping[str, Decimal], card: RateCard) -> Lines:
    """The lines of a bill's cost sheet; none without a bill."""
    return {} if bill is None else {line.resource: line for line in cost_sheet(bill, rates, card).lines}


@exactly
def cost_as_paid(
    record: BatchRecord,
    taken: BillOfResources,
    borne: BillOfResources,
    rates: Mapping[str, Decimal],
    card: RateCard,
    convert: Convert,
) -> Decimal:
    """What somebody bears of a batch, at what was paid for it.

    Args:
        taken: the bill of what was taken, by which what was paid becomes rates.
        borne: the part of it that is borne.
        rates: of each part of the resources on the day it was made.
        card: of that day.
        convert: converts into the workshop's currency.

    Raises:
        MissingRatesError: resources other than pools have no rate.
    """
    paid = {**rates, **paid_rates(record, lines_of(taken, rates, card), convert)}
    amounts = {part: line.amount for part, line in lines_of(borne, paid, card).items()}
    return sum({**amounts, **paid_for_overheads(record, convert)}.values(), ZERO)


def paid_rates(record: BatchRecord, taken: Lines, convert: Convert) -> dict[str, Decimal]:
    """What a unit of each resource really cost, as far as somebody counted it.

    material: paid ÷ quantity paid for;  labour: paid, idle hours included, ÷ hours worked;  electricity: each band's
    rate × paid ÷ what all of them cost at their rates, or paid ÷ kWh where they cost nothing.

    Args:
        taken: what was taken, at the rates of the day.
        convert: converts into the workshop's currency.
    """
    found: dict[str, Decimal] = {}
    for material in record.materials:
        line = taken.get(f"materials/{material.material}")
        if material.paid is not None and line is not None:
            found[line.resource] = convert(material.paid) / (material.paid_for or line.quantity)
    for grade in record.labour:
        line = taken.get(f"labour-grades/{grade.labour_grade}")
        if line is not None and (grade.paid is not None or grade.idle_hours):
            hours = line.quantity + grade.idle_hours
            paid = line.rate * hours if grade.paid is None else convert(grade.paid)
            found[line.resource] = paid / line.quantity
    for count in record.electricity:
        found |= dict(_electricity(count, taken, convert))
    return found


def _electricity(count: ElectricityCount, taken: Lines, convert: Convert) -> Iterator[tuple[str, Decimal]]:
    if count.paid is None:
        return
    of_tariff = (line for line in taken.values() if whole_of(line.resource) == f"tariffs/{count.tariff}")
    by_band = ((part_in(line.resource), line) for line in of_tariff)
    used = [line for band, line in by_band if band != STANDING and count.band in (None, band)]
    paid, amount = convert(count.paid), sum((line.amount for line in used), ZERO)
    kwh = sum((line.quantity for line in used), ZERO)
    for line in used:
        yield line.resource, line.rate * paid / amount if amount else paid / kwh


def idle_hours(record: BatchRecord) -> dict[str, Decimal]:
    """Hours of each grade that were paid and not worked."""
    return {f"labour-grades/{each.labour_grade}": each.idle_hours for each in record.labour if each.idle_hours}


def paid_for_overheads(record: BatchRecord, convert: Convert) -> dict[str, Decimal]:
    """What was spent of each variable pool."""
    return {f"overheads/{each.overhead}": convert(each.paid) for each in record.overheads}
