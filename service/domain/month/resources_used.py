"""What a month's plan takes of materials, electricity and work, and what it earns for an hour of work."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.resources import DISPOSED, RECLAIMED, STANDING
from service.domain.values.exact import ZERO, exactly, plain, share_of
from service.domain.values.message import Message
from service.domain.values.money import Money
from service.domain.values.references import WHOLE, part_in, part_of, whole_of
from service.domain.values.shown import Quantity, UnitAmount, shown

_SHOWN = ("materials/", "tariffs/", "labour-grades/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What the plan takes of a resource or a part of one, unrounded; reclaimed and disposed material by themselves.

    Attributes:
        rate: what one of its unit costs, in the workshop's currency; 0 if no terms say so.
    """

    resource: str
    name: str
    unit: str
    quantity: Decimal
    rate: Decimal = ZERO

    @property
    def amount(self) -> Decimal:
        return self.quantity * self.rate


@exactly
def uses(
    planned: Iterable[tuple[BillOfResources, Decimal]], rates: Mapping[str, Decimal] | None = None
) -> tuple[Use, ...]:
    """Materials, electricity by band and hours by grade:  Σ quantity of a batch × planned pieces ÷ pieces in a batch.

    Batches a month are an average and need not be whole.

    Args:
        rates: what a unit costs, by resource or part of one; nothing where it is left out.
    """
    found: dict[str, Use] = {}
    for bill, pieces in planned:
        for line in bill.lines:
            if line.resource.startswith(_SHOWN) and part_in(line.resource) != STANDING:
                before = found.get(line.resource)
                quantity = line.quantity * pieces / bill.quantity + (before.quantity if before else ZERO)
                rate = (rates or {}).get(line.resource, ZERO)
                told = Use(resource=line.resource, name=line.name, unit=line.unit, quantity=quantity, rate=rate)
                found[line.resource] = replace(before, quantity=quantity) if before else told
    return tuple(found.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialTaken:
    """A material that the plan takes, or that it gains by reclaiming others as it.

    Attributes:
        resource: its reference, for instance "materials/hdpe-flakes".
        name: what the workshop calls it.
        unit: the unit it is bought and issued in.
        issued: drawn from stock, losses included.
        reclaimed: what comes back as this material: regrind of it, or of others that are reclaimed as it.
        disposed: the part of the issued that is lost and has to be got rid of.
        net: issued less reclaimed; negative if more comes back than is issued.
        gate_fee: what the workshop is paid for taking it; null if it has a price of 0 or more, or none is issued.
        disposal_cost: of what is disposed of; null if nothing is.
    """

    resource: str
    name: str
    unit: str
    issued: Quantity
    reclaimed: Quantity
    disposed: Quantity
    net: Quantity
    gate_fee: Money | None
    disposal_cost: Money | None


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
        materials=tuple(_materials(taken, currency)),
        electricity=tuple(_electricity(each) for each in taken if each.resource.startswith("tariffs/")),
        labour=tuple(shown(LabourTaken, "", each, hours=each.quantity) for each in grades),
        hours_worked=hours,
        contribution_per_hour_worked=share_of(contribution, hours),
        profit_per_hour_worked=share_of(profit, hours),
    )


def _electricity(use: Use) -> ElectricityTaken:
    tariff, band = whole_of(use.resource), part_in(use.resource)
    return shown(ElectricityTaken, "", use, resource=tariff, band=band, kwh=use.quantity)


def _materials(taken: Sequence[Use], currency: str) -> Iterator[MaterialTaken]:
    uses_of = {each.resource: each for each in taken}
    for resource in dict.fromkeys(whole_of(each.resource) for each in taken if each.resource.startswith("materials/")):
        parts = [uses_of.get(part_of(resource, part)) for part in (WHOLE, RECLAIMED, DISPOSED)]
        issued, reclaimed, disposed = (ZERO if each is None else plain(each.quantity) for each in parts)
        whole, _, waste = parts
        told = next(each for each in parts if each is not None)
        yield shown(
            MaterialTaken,
            currency,
            told,
            resource=resource,
            name=_name(told),
            issued=issued,
            reclaimed=reclaimed,
            disposed=disposed,
            net=issued - reclaimed,
            gate_fee=-whole.amount if whole is not None and issued and whole.rate < 0 else None,
            disposal_cost=waste.amount if waste is not None and disposed else None,
        )


def _name(use: Use) -> str:
    """The name of the material; that of a part of it is told with the part."""
    material = use.name.facts.get("name") if isinstance(use.name, Message) else None
    return material if isinstance(material, str) else use.name
