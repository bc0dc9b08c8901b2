"""A document of the register: any part of what a workshop registers, taken in one act, all of it or nothing."""

from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date

from service.domain.audit import Action, Change
from service.domain.costing.rate_card import DatedRate, rate_problems
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.nesting import misnested
from service.domain.making.products import Product
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.references import Registered, Thing, references_in
from service.store.engine import metering
from service.store.engine.database import Connection
from service.store.listing import prices_in_force
from service.store.registering import rates, registrations
from service.store.registering.rates import StoredRate
from service.store.registering.registrations import Registration
from service.store.workshop.workshops import lock_workshop
from service.time_limit import next_step
from service.workflows.currency.exchange import day_entry
from service.workflows.entity_tags import Precondition, always, expect, revision_tag
from service.workflows.errors import InUseError, NotRegisteredError
from service.workflows.registering.changing import Entry, OneAct, change
from service.workflows.registering.document import Done, Outcome, RegisterDocument
from service.workflows.registering.fixed import fixed_problems, listing_problems
from service.workflows.registering.registering import (
    at_line,
    check_machines,
    facts_entry,
    rate_entry,
    retiring_entry,
    withdrawing_entry,
)
from service.workflows.registering.unknown import described, unregistered
from service.workflows.workspace import Workspace

MAX_ENTRIES = 5_000
"""Most facts and rates of a document: so many are registered within some seconds, for which others wait."""
_PAGE = 500
EXCHANGE_RATES = "exchange-rates"
_OUTCOMES = {
    None: Outcome.UNCHANGED,
    Action.REGISTERED: Outcome.CREATED,
    Action.REPLACED: Outcome.REPLACED,
    Action.RETIRED: Outcome.RETIRED,
    Action.WITHDRAWN: Outcome.WITHDRAWN,
}
_TAKEN_AWAY = frozenset({Outcome.UNCHANGED, Outcome.RETIRED, Outcome.WITHDRAWN})


class Act:
    """Registers a document under the workshop's lock.

    Attributes:
        done: what has become of each entry, in the order of registration.
        tag: of the register afterwards.
    """

    def __init__(
        self, connection: Connection, workspace: Workspace, document: RegisterDocument, because: Change | None = None
    ) -> None:
        """Take the document.

        Args:
            because: recorded in the audit trail with what is changed, as its reason.
        """
        self._because = because
        self._connection, self._workspace, self._document = connection, workspace, document
        self._problems: list[InvalidValueError] = []
        self._act = OneAct()
        self.done: list[Done] = []

    def carry_out(self, *, prune: bool, expected: Precondition = always) -> None:
        """Register it, facts first; with `prune` also take away what its collections and things have beyond it.

        Raises:
            InvalidValuesError: every problem of every entry.
            TooComplexError: it has too many entries.
            PreconditionFailedError: the register has changed since the caller read it.
        """
        if self._document.size > MAX_ENTRIES:
            remedy = "send its collections one after another, in documents of their own"
            raise TooComplexError("facts and rates in one document", MAX_ENTRIES, remedy=remedy)
        expect(self.tag, expected, "the register")
        self._put_facts()
        self._check_matching()
        self._put_rates(prune=prune)
        for name, day in self._document.exchange_rates.items():
            self._change((EXCHANGE_RATES, name), day_entry(self._connection, self._workspace, day), written=day)
        if prune:
            self._retire()
        if self._problems:
            raise InvalidValuesError(self._problems)
        if self._because is not None and self._act.changes:
            self._act.changes.append(self._because)
        self._act.record(self._connection, self._workspace)
        if all(each.outcome in _TAKEN_AWAY for each in self.done):
            metering.exempt(self._connection)

    @property
    def tag(self) -> str:
        """The tag of the register as it is now."""
        revision = lock_workshop(self._connection, self._workspace.workshop_id)
        return revision_tag(self._workspace.workshop, revision)

    def _put_facts(self) -> None:
        """Save all facts, even if they are refused, then what they use: products refer to each other in any order."""
        written = {thing: each.facts for thing, each in self._document.things if each.facts is not None}
        named = {thing: [*references_in(facts, (*thing, "facts"))] for thing, facts in written.items()}
        wanted = {reference for found in named.values() for _, reference in found} - written.keys()
        workshop_id = self._workspace.workshop_id
        known = written.keys() | registrations.registered_among(self._connection, workshop_id, wanted)
        there = registrations.find_registrations(self._connection, workshop_id, written)
        changed: dict[Thing, Registered] = {}
        for thing, facts in written.items():
            next_step()
            self._put(thing, facts, there.get(thing), changed)
        registrations.save_registrations(self._connection, workshop_id, changed, self._act.revision)
        unknown = (each for found in named.values() for each in found if each[1] not in known)
        self._refuse((), unregistered(self._connection, workshop_id, unknown))
        uses = {thing: {reference for _, reference in named[thing] if reference in known} for thing in changed}
        registrations.save_uses(self._connection, workshop_id, uses)
        prices_in_force.mark_stale(self._connection, workshop_id, *changed)

    def _put(
        self, thing: Thing, facts: Registered, there: Registration | None, changed: dict[Thing, Registered]
    ) -> None:
        def save(_: int) -> None:
            changed[thing] = facts
            if there is not None:
                workshop_id = self._workspace.workshop_id
                fixed = fixed_problems(self._connection, workshop_id, thing, there.facts, facts)
                self._refuse((*thing, "facts"), fixed)

        self._change((*thing, "facts"), facts_entry(thing, facts, there, save), thing, facts)

    def _check_matching(self) -> None:
        """Check each product and each listing that changes against the facts as they are now, also of machines."""
        if not self._act.changes:
            return
        products = {thing.code: each.facts for thing, each in self._document.things if isinstance(each.facts, Product)}
        made_of = registrations.parts_of_products(self._connection, self._workspace.workshop_id)
        for code, error in misnested(made_of, products):
            told = at_line(products[code], error)
            self._refuse(("products", code, "facts"), [InvalidValueError(told.path, str(told))])
        for code, product in products.items():
            next_step()
            with self._problems_at("products", code, "facts"):
                check_machines(self._connection, self._workspace, product)
        changed = {
            each.thing: each.written
            for each in self.done
            if each.thing is not None and each.written is not None and each.outcome is not Outcome.UNCHANGED
        }
        for thing, problem in listing_problems(self._connection, self._workspace.workshop_id, changed):
            self._refuse((*thing, "facts"), [problem])

    def _put_rates(self, *, prune: bool) -> None:
        workshop_id = self._workspace.workshop_id
        rated = {thing: written for thing, written in self._document.things if written.rates is not None}
        alone = [thing for thing, written in rated.items() if written.facts is None]
        registered = registrations.find_registrations(self._connection, workshop_id, alone)
        there = rates.rates_of_some(self._connection, workshop_id, rated)
        changed: list[DatedRate] = []
        for thing, written in rated.items():
            found = registered.get(thing)
            facts = written.facts or (None if found is None or found.retired_at else found.facts)
            if facts is None:
                self._refuse(thing, [InvalidValueError((), f"there is no {described(thing)}; give its facts, too")])
                continue
            for day, terms in (written.rates or {}).items():
                next_step()
                rate = DatedRate(resource=str(thing), valid_from=day, terms=terms)
                self._put_rate(rate, facts, there.get(thing, {}).get(day), changed)
            if prune:
                self._withdraw(thing, written.rates or {}, there.get(thing, {}))
        rates.save_rates(self._connection, workshop_id, changed, self._act.revision)

    def _put_rate(self, rate: DatedRate, facts: Registered, there: StoredRate | None, changed: list[DatedRate]) -> None:
        thing = Thing.of(rate.resource)
        place = (*thing, "rates", rate.valid_from.isoformat())

        def save(_: int) -> None:
            changed.append(rate)
            self._refuse(place, rate_problems(rate.terms, facts, rate.valid_from))

        self._change(place, rate_entry(rate, there, save), thing, rate)

    def _withdraw(self, thing: Thing, written: Container[date], there: Mapping[date, StoredRate]) -> None:
        """Withdraw the rates that begin on other days."""
        for day, stored in there.items():
            if day not in written:
                self._change((*thing, "rates"), withdrawing_entry(self._connection, self._workspace, stored), thing)

    def _retire(self) -> None:
        """Retire what the document's collections have beyond it."""
        found = {Thing(each.collection, each.code): each for each in self._beyond()}
        for thing, registered in found.items():
            next_step()
            entry = retiring_entry(self._connection, self._workspace, thing, registered, found.keys())
            self._change((thing.collection,), entry, thing)

    def _beyond(self) -> Iterator[Registration]:
        for collection, entries in self._document.collections.items():
            after = ""
            while page := registrations.page_of_registrations(
                self._connection, self._workspace.workshop_id, collection, after=after, limit=_PAGE
            ):
                yield from (each for each in page if each.code not in entries)
                after = page[-1].code

    def _change(
        self,
        place: tuple[str, ...],
        entry: Entry,
        thing: Thing | None = None,
        written: Registered | DatedRate | DayRates | None = None,
    ) -> None:
        with self._problems_at(*place):
            made = change(self._connection, self._workspace, entry, always, self._act)
            outcome = _OUTCOMES[made.action]
            self.done.append(Done(subject=entry.subject, outcome=outcome, thing=thing, written=written))

    @contextmanager
    def _problems_at(self, *place: str) -> Iterator[None]:
        """Collect the problems of the entry at this place, and go on with the next."""
        try:
            yield
        except InvalidValuesError as error:
            self._refuse(place, error.problems)
        except InUseError as error:
            users = ", ".join(error.users)
            told = f"the {error.what} is not in the document, but used by {users}; keep it, or change these, too"
            self._refuse(place, [InvalidValueError((), told)])
        except NotRegisteredError:
            assert self._problems  # it is made on something that is missing, which has been told

    def _refuse(self, place: tuple[str, ...], problems: Iterable[InvalidValueError]) -> None:
        self._problems += [InvalidValueError((*place, *each.path), each.reason) for each in problems]
