"""Records of batches: one whose every member has a default, and random ones that fit a random workshop."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.records.batch_record import (
    BatchRecord,
    ElectricityCount,
    LabourCount,
    MaterialCount,
    OperationCount,
    OverheadCount,
)
from service.domain.values.money import Money
from service.domain.values.references import Thing, part_in, whole_of
from service.encoding import decoded
from tests.domain.examples import TODAY, Shop
from tests.domain.strategies import figures

ONE = Decimal(1)


def a_record(**changes: Any) -> BatchRecord:
    """Twenty good sheets, of which nothing else was counted."""
    return decoded({"product": "sheet", "made_on": TODAY.isoformat(), "good_units": "20", **changes}, BatchRecord)


def quantities(bill: BillOfResources) -> dict[str, Decimal]:
    """What a bill takes of each part of a resource."""
    return {line.resource: line.quantity for line in bill.lines}


def counts_of(
    bill: BillOfResources,
    shop: Shop,
    times: Callable[[], Decimal],
    *,
    is_counted: Callable[[], bool] = lambda: True,
    paid: Callable[[str, Decimal], Money | None] = lambda resource, quantity: None,
) -> dict[str, Any]:
    """Counts of what a bill takes, each times a figure."""
    materials, labour, electricity, operations = [], [], [], []
    taken = quantities(bill)
    for resource, quantity in taken.items():
        thing, part = Thing.of(whole_of(resource)), part_in(resource)
        if not is_counted():
            continue
        if thing.collection == "materials" and not part:
            issued = quantity * times()
            materials.append(MaterialCount(material=thing.code, issued=issued, paid=paid(resource, issued)))
        elif thing.collection == "labour-grades":
            hours = quantity * times()
            labour.append(LabourCount(labour_grade=thing.code, hours=hours, paid=paid(resource, hours)))
        elif thing.collection == "tariffs" and part == "standing":
            kwh = quantity * times()
            electricity.append(ElectricityCount(tariff=thing.code, kwh=kwh))
    for step in bill.steps:
        minutes = step.machine_minutes
        if not step.machine:
            operation = next(
                each for each in shop.catalogue.products[step.product].operations if each.name == step.operation
            )
            minutes = step.run_minutes + operation.setup_minutes
        if is_counted():
            operations.append(OperationCount(operation=step.operation, product=step.product, minutes=minutes * times()))
    return {
        "materials": tuple(materials),
        "labour": tuple(labour),
        "electricity": tuple(electricity),
        "operations": tuple(operations),
    }


@st.composite
def records(draw: st.DrawFn, shop: Shop) -> BatchRecord:
    """Records of the workshop's product, with more or less of everything counted."""
    product = shop.catalogue.products[shop.top]
    good, operations = draw(st.integers(1, 2400)) * product.unit.least, product.operations
    started = good + draw(st.integers(0, 40)) if operations and draw(st.booleans()) else None
    if started and draw(st.integers(0, 9)) == 0:
        good = Decimal(0)
    factors = figures("0.4", "1.9", 2)
    rates = shop.unit_rates()

    def paid(resource: str, quantity: Decimal) -> Money | None:
        amount = quantity * rates[resource] * draw(factors)
        return Money(amount=round(amount, 2), currency=shop.currency) if draw(st.booleans()) else None

    counts = counts_of(
        shop.bill(good or started or Decimal(1)),
        shop,
        lambda: draw(factors),
        is_counted=lambda: draw(st.booleans()),
        paid=paid,
    )
    counts["operations"] = tuple(
        replace(each, scrap=Decimal(draw(st.integers(0, 9)))) if started is None and draw(st.booleans()) else each
        for each in counts["operations"]
    )
    if not good:  # not every operation and material was reached
        counts = {}
    pools = [code for code, pool in shop.catalogue.overheads.items() if pool.variable and pool.base.is_value]
    spent = [
        OverheadCount(overhead=code, paid=Money(amount=draw(figures("0", "90", 2)), currency=shop.currency))
        for code in pools
        if draw(st.booleans())
    ]
    return BatchRecord(
        product=shop.top, made_on=TODAY, good_units=good, units_started=started, overheads=tuple(spent), **counts
    )
