"""How a product was made on a day, and the rates of that day."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.domain.making.overheads import needed_by
from service.domain.making.products import Catalogue
from service.domain.register import RESOURCES
from service.domain.reviewing.day_facts import DayFacts
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Registered, Thing
from service.store.engine.database import Connection
from service.store.records.record_facts import changed_since
from service.store.registering import rates, registrations
from service.store.registering.surroundings import Surroundings, surroundings_of_one
from service.workflows.registering.unknown import unregistered
from service.workflows.workspace import Workspace

A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class FactsThen:
    """Facts and rates of a day.

    Attributes:
        facts: with the rates in force on the day.
        of: the day whose facts they are: the present one if the workshop did not know then how the product is made.
    """

    facts: DayFacts
    of: date


def facts_then(connection: Connection, workspace: Workspace, product: str, day: date) -> FactsThen:
    """The product and all that it is made of and on, as they were at the end of a day, and the rates of that day.

    What has changed since is taken from the audit trail. If the product, or something that it was made of, was not
    registered then, all facts are the present ones.

    Raises:
        InvalidValuesError: there is no such product, neither then nor now.
    """
    workshop_id, thing = workspace.workshop_id, Thing("products", product)
    database = workspace.database.seen_through(connection, has_written=True)
    around = surroundings_of_one(database, workshop_id, thing, day)
    ended = datetime.combine(day + A_DAY, time.min, ZoneInfo(workspace.workshop.time_zone))
    now = {Thing(name, code): facts for name, some in around.facts.items() for code, facts in some.items()}
    changed = changed_since(connection, workshop_id, {thing, *now}, ended)
    if changed:
        then = _Then(connection, workspace, ended, now, changed).made_of(thing)
        if then is not None:
            return FactsThen(_day_facts(then, _rates(connection, workspace, around, then, day)), day)
    if thing not in now:
        raise InvalidValuesError([*unregistered(connection, workshop_id, [(("product",), thing)])])
    return FactsThen(_day_facts(now, around.rates), workspace.workshop.today() if changed else day)


def _day_facts(facts: Mapping[Thing, Registered], rates_then: Mapping[str, object]) -> DayFacts:
    """The facts in the order of their codes, so that the same ones are stored once."""
    members: dict[str, dict[str, Registered]] = {name: {} for name in Catalogue.__dataclass_fields__}
    for thing in sorted(facts):
        members[thing.collection.replace("-", "_")][thing.code] = facts[thing]
    return DayFacts(catalogue=Catalogue(**members), rates=dict(sorted(rates_then.items())))  # type: ignore[arg-type]


def _rates(
    connection: Connection, workspace: Workspace, around: Surroundings, then: Iterable[Thing], day: date
) -> dict[str, object]:
    """The rates in force on the day: also of what the product is no longer made of."""
    found: dict[str, object] = {}
    for thing in then:
        if thing.collection in RESOURCES:
            rate = around.rates.get(str(thing))
            if rate is None:
                rate = rates.find_rate_before(connection, workspace.workshop_id, thing, day + A_DAY)
            if rate is not None:
                found[str(thing)] = rate
    return found


@dataclass(slots=True)
class _Then:
    """Looks for what was registered at an instant, from what is registered now and what has changed since."""

    connection: Connection
    workspace: Workspace
    instant: datetime
    now: dict[Thing, Registered]
    changed: dict[Thing, Registered | None]

    def made_of(self, product: Thing) -> dict[Thing, Registered] | None:
        """The product with all it was made of and on, and the overhead pools; None if some of it is not known."""
        pools = {each for each in {*self.now, *self.changed} if each.collection == "overheads"}
        found: dict[Thing, Registered] = {}
        ahead = {product, *pools}
        while ahead:
            self._read(ahead)
            facts = {each: self._facts(each) for each in ahead}
            if any(each is None and thing not in pools for thing, each in facts.items()):
                return None
            found |= {thing: each for thing, each in facts.items() if each is not None}
            ahead = {named for facts in found.values() for named in needed_by(facts)} - found.keys() - pools
        return found

    def _read(self, things: Iterable[Thing]) -> None:
        """Read what is not part of the product any more."""
        missing = [each for each in things if each not in self.now and each not in self.changed]
        if missing:
            workshop_id = self.workspace.workshop_id
            known = registrations.find_registrations(self.connection, workshop_id, missing)
            self.now |= {thing: each.facts for thing, each in known.items() if each.retired_at is None}
            self.changed |= changed_since(self.connection, workshop_id, missing, self.instant) | self.changed

    def _facts(self, thing: Thing) -> Registered | None:
        return self.changed[thing] if thing in self.changed else self.now.get(thing)
