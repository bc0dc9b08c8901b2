"""When an order can be ready, and how much time in the coming weeks is promised already."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from service.domain.costing.rate_card import RateCard
from service.domain.making.explosion import bill_of_resources
from service.domain.making.resources import LabourGrade, Machine
from service.domain.scheduling.lead_time import LeadTime, WorkingResource, lead_time
from service.domain.scheduling.working_time import Closure, Moment, Shift, closed_days
from service.domain.values.exact import ZERO, exactly
from service.domain.values.references import Thing
from service.domain.values.shown import Quantity, shown
from service.store.quoting import life
from service.store.registering import rates, registrations
from service.workflows.costing.costing import subject, surroundings_of
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed
from service.workflows.workspace import Workspace

TIMED = ("machines", "labour-grades")
_DAYS_PER_WEEK = 7


def working_things(
    machines: Mapping[str, Machine], grades: Mapping[str, LabourGrade]
) -> dict[str, Machine | LabourGrade]:
    """Machines and labour grades by resource."""
    return {
        **{f"machines/{code}": each for code, each in machines.items()},
        **{f"labour-grades/{code}": each for code, each in grades.items()},
    }


def working_resources(
    workspace: Workspace, machines: Mapping[str, Machine], grades: Mapping[str, LabourGrade], card: RateCard
) -> dict[str, WorkingResource]:
    """Machines and labour grades with the hours there are to work at the rates of the card, and promised minutes."""
    with workspace.reading() as connection:
        promised = life.promised_minutes(connection, workspace.workshop_id)
    closed = closed_days_of(workspace)
    return {
        resource: WorkingResource(
            name=each.name,
            shift=Shift(
                hours_per_week=card.hours_to_work(resource, each.hours_per_week),
                weekdays=frozenset(each.working_weekdays),
                closed_days=closed,
            ),
            minutes_promised=promised.get(resource, ZERO),
        )
        for resource, each in working_things(machines, grades).items()
    }


def closed_days_of(workspace: Workspace, supposed: Supposed = NOTHING_SUPPOSED) -> frozenset[date]:
    """Every day on which the workshop is closed."""
    with workspace.reading() as connection:
        registered = registrations.all_registered(connection, workspace.workshop_id, ["closures"])["closures"]
    closures = (supposed.of(Thing("closures", code), each) for code, each in registered.items())
    return closed_days(each for each in closures if isinstance(each, Closure))


def lead_time_of(
    workspace: Workspace, product: str, quantity: Decimal, starting_on: date, *, is_rush: bool
) -> LeadTime:
    """When a batch of a product can be ready; raises NotRegisteredError if the product is not registered."""
    around = surroundings_of(workspace, [subject("products", product)], starting_on)
    card = RateCard(as_of=starting_on, currency=workspace.workshop.currency, rates=around.rates)
    catalogue = around.catalogue
    bill = bill_of_resources(product, quantity, catalogue)
    resources = working_resources(workspace, catalogue.machines, catalogue.labour_grades, card)
    return lead_time([bill], resources, starting_on, is_rush=is_rush)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResourceCapacity:
    """Available and promised time of a machine or labour grade in some weeks.

    Attributes:
        resource: its reference, for instance "machines/press".
        name: the workshop's name for it.
        hours_per_week: to work in an ordinary week: of people, paid hours × productive share; null if not registered.
        minutes_available: in these weeks, without days when the workshop is closed; null if hours are not registered.
        minutes_promised: for orders that are accepted and not completed, whenever they are due.
        free_on: the day on which these are done; null if hours are not registered, or it is more than ten years ahead.
    """

    resource: str
    name: str
    hours_per_week: Quantity | None
    minutes_available: Quantity | None
    minutes_promised: Quantity
    free_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacity:
    """Available and promised time in some weeks.

    Attributes:
        starting_on: the first day.
        ending_on: the last day.
        resources: every machine and labour grade, by its reference.
    """

    starting_on: date
    ending_on: date
    resources: tuple[ResourceCapacity, ...]


@exactly
def capacity(workspace: Workspace, starting_on: date, weeks: int) -> Capacity:
    """Available and promised time of every machine and labour grade in some weeks."""
    with workspace.reading() as connection:
        registered = registrations.all_registered(connection, workspace.workshop_id, TIMED)
        in_force = rates.rates_on(connection, workspace.workshop_id, starting_on, ["labour-grades"])
    machines = {code: each for code, each in registered["machines"].items() if isinstance(each, Machine)}
    grades = {code: each for code, each in registered["labour-grades"].items() if isinstance(each, LabourGrade)}
    card = RateCard(as_of=starting_on, currency=workspace.workshop.currency, rates=in_force)
    resources = working_resources(workspace, machines, grades, card)
    days = weeks * _DAYS_PER_WEEK
    return Capacity(
        starting_on=starting_on,
        ending_on=starting_on + timedelta(days=days - 1),
        resources=tuple(_capacity(resource, each, starting_on, days) for resource, each in sorted(resources.items())),
    )


def _capacity(resource: str, of: WorkingResource, starting_on: date, days: int) -> ResourceCapacity:
    is_known = of.shift.hours_per_week is not None
    free = of.shift.after(Moment.begin_of(starting_on), of.minutes_promised)
    there = of.shift.minutes_between(starting_on, days)
    return shown(
        ResourceCapacity,
        "",
        of,
        of.shift,
        resource=resource,
        minutes_available=there if is_known else None,
        free_on=free.day if is_known and free is not None else None,
    )
