"""What a month's plan takes of materials, electricity and work, and what it earns for an hour of work."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.resources import RECLAIMED, STANDING
from service.domain.values.exact import ZERO, exactly, plain, share_of
from service.domain.values.references import part_in, part_of, whole_of
from service.domain.values.shown import Quantity, UnitAmount, shown

_SHOWN = ("materials/", "tariffs/", "labour-grades/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What the plan takes of a resource or a part of one, unrounded; reclaimed material is counted by itself."""

    resource: str
    name: str
    unit: str
    quantity: Decimal


@exactly
def uses(planned: Iterable[tuple[BillOfResources, Decimal]]) -> tuple[Use, ...]:
    """Materials, electricity by band and hours by grade:  Σ quantity of a batch × planned pieces ÷ pieces in a batch.

    Batches a month are an average and need not be whole.
    """
    found: dict[str, Use] = {}
    for bill, pieces in planned:
        for line in bill.lines:
            if line.resource.startswith(_SHOWN) and part_in(line.resource) != STANDING:
                before = found.get(line.resource)
                quantity = line.quantity * pieces / bill.quantity + (before.quantity if before else ZERO)
                told = Use(resource=line.resource, name=line.name, unit=line.unit, quantity=quantity)
                found[line.resource] = replace(before, quantity=quantity) if before else told
    return tuple(found.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialTaken:
    """A material that the plan takes.

    Attributes:
        resource: its reference, for instance "materials/hdpe-flakes".
        name: what the workshop calls it.
        unit: the unit it is bought and issued in.
        issued: drawn from stock, losses included.
        reclaimed: the part of it that comes back as regrind.
        net: issued less reclaimed.
    """

    resource: str
    name: str
    unit: str
    issued: Quantity
    reclaimed: Quantity
    net: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricityTaken:
    """Electricity that the plan takes in a band of a tariff.

    Attributes:
        resource: the tariff, for instance "tariffs/grid".
        band: its code.
        name: of tariff and band.
        kwh: drawn by the machines of the plan.
    """

    resource: str
    band: str
    name: str
    kwh: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class LabourTaken:
    """Hours that the plan takes of a labour grade.

    Attributes:
        resource: its reference, for instance "labour-grades/operator".
        name: what the workshop calls it.
        hours: worked on the plan's pieces, by all its people together.
    """

    resource: str
    name: str
    hours: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class ResourcesUsed:
    """What the plan takes, with expected losses, and what it earns for an hour of work.

    Attributes:
        materials: in the order of the products' bills.
        electricity: by tariff and band; of the machines alone.
        labour: by grade.
        hours_worked: of all grades.
        contribution_per_hour_worked: contribution ÷ hours_worked: what an hour brings for fixed cost and profit; null
            if nobody works.
        profit_per_hour_worked: profit ÷ hours_worked: what is left of that after the fixed cost. Pay that the month's
            costs hold is taken off both.
    """

    materials: tuple[MaterialTaken, ...]
    electricity: tuple[ElectricityTaken, ...]
    labour: tuple[LabourTaken, ...]
    hours_worked: Quantity
    contribution_per_hour_worked: UnitAmount | None
    profit_per_hour_worked: UnitAmount | None


@exactly
def resources_used(taken: Sequence[Use], contribution: Decimal, profit: Decimal, currency: str) -> ResourcesUsed:
    """The resources as shown; contribution and profit are those of the whole plan."""
    grades = [each for each in taken if each.resource.startswith("labour-grades/")]
    hours = sum((each.quantity for each in grades), ZERO)
    return shown(
        ResourcesUsed,
        currency,
        materials=tuple(_materials(taken)),
        electricity=tuple(_electricity(each) for each in taken if each.resource.startswith("tariffs/")),
        labour=tuple(shown(LabourTaken, "", each, hours=each.quantity) for each in grades),
        hours_worked=hours,
        contribution_per_hour_worked=share_of(contribution, hours),
        profit_per_hour_worked=share_of(profit, hours),
    )


def _electricity(use: Use) -> ElectricityTaken:
    tariff, band = whole_of(use.resource), part_in(use.resource)
    return shown(ElectricityTaken, "", use, resource=tariff, band=band, kwh=use.quantity)


def _materials(taken: Sequence[Use]) -> Iterator[MaterialTaken]:
    quantities = {each.resource: plain(each.quantity) for each in taken}
    for each in taken:
        if each.resource.startswith("materials/") and not part_in(each.resource):
            issued = quantities[each.resource]
            reclaimed = quantities.get(part_of(each.resource, RECLAIMED), ZERO)
            yield shown(MaterialTaken, "", each, issued=issued, reclaimed=reclaimed, net=issued - reclaimed)
