"""Registers what a workshop buys, runs, pays and makes, and its dated rates."""

from collections.abc import Callable, Collection, Iterable
from datetime import date
from typing import Any

from service.domain.audit import Action, rate_subject
from service.domain.costing.rate_card import DatedRate, rate_problems
from service.domain.making.errors import ProductLoopError
from service.domain.making.nesting import misnested
from service.domain.making.products import Catalogue, Product, inconsistencies
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.domain.values.references import Registered, Thing, references_in
from service.store.engine.database import Connection
from service.store.listing import prices_in_force
from service.store.registering import rates, registrations
from service.store.registering.rates import StoredRate
from service.store.registering.registrations import Registration
from service.store.registering.surroundings import surroundings
from service.workflows.entity_tags import Precondition, always
from service.workflows.errors import InUseError, NotRegisteredError
from service.workflows.registering.changing import Entry, Registering, change
from service.workflows.registering.fixed import fixed_problems, listing_problems
from service.workflows.registering.unknown import described, not_registered, unregistered
from service.workflows.workspace import Workspace


def find_one(workspace: Workspace, thing: Thing) -> Registration:
    """What is registered under the code; raises NotRegisteredError if nothing is, or it is retired."""
    found = registrations.find_registration_now(workspace.database, workspace.workshop_id, thing)
    return _required(found, workspace, thing)


def _registered(connection: Connection, workspace: Workspace, thing: Thing) -> Registration:
    return _required(registrations.find_registration(connection, workspace.workshop_id, thing), workspace, thing)


def _required(found: Registration | None, workspace: Workspace, thing: Thing) -> Registration:
    if found is None:
        raise not_registered(workspace, thing)
    if found.retired_at is not None:
        raise NotRegisteredError(described(thing), found.retired_at)
    return found


def list_registered(workspace: Workspace, collection: str, *, after: str, limit: int) -> list[Registration]:
    """A page of registrations, by code."""
    with workspace.reading() as connection:
        return registrations.page_of_registrations(
            connection, workspace.workshop_id, collection, after=after, limit=limit
        )


def register(workspace: Workspace, thing: Thing, facts: Registered, precondition: Precondition = always) -> Registering:
    """Create or replace it; the same again changes nothing.

    Raises:
        InvalidValuesError: it names something that is not registered, or changes a field that its rates depend on.
        ProductLoopError: the product would contain itself.
        TooComplexError: sub-assemblies nested too deep.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.changing() as connection:
        there = registrations.find_registration(connection, workspace.workshop_id, thing)
        named = {reference for _, reference in references_in(facts)}

        def save(revision: int) -> None:
            known = registrations.registered_among(connection, workspace.workshop_id, named)
            unknown = (each for each in references_in(facts) if each[1] not in known and each[1] != thing)
            problems = list(unregistered(connection, workspace.workshop_id, unknown))
            if there is not None:
                problems += fixed_problems(connection, workspace.workshop_id, thing, there.facts, facts)
            if problems:
                raise InvalidValuesError(problems)
            if isinstance(facts, Product):
                _check_nesting(connection, workspace, thing.code, facts)
                check_machines(connection, workspace, facts)
            if misfits := list(listing_problems(connection, workspace.workshop_id, {thing: facts})):
                raise InvalidValuesError([problem for _, problem in misfits])
            registrations.save_registrations(connection, workspace.workshop_id, {thing: facts}, revision)
            registrations.save_uses(connection, workspace.workshop_id, {thing: named})
            prices_in_force.mark_stale(connection, workspace.workshop_id, thing)

        return change(connection, workspace, facts_entry(thing, facts, there, save), precondition)


def facts_entry(thing: Thing, facts: Registered, there: Registration | None, save: Callable[[int], None]) -> Entry:
    """The change that registers facts in place of what is there, retired or not."""
    registered = None if there is None or there.retired_at else (there.facts, there.revision)
    return Entry(described(thing), str(thing), registered, facts, save)


def _check_nesting(connection: Connection, workspace: Workspace, code: str, product: Product) -> None:
    """Raises naming the line of the bill of materials that closes a loop or goes too deep."""
    parts = [Thing("products", part) for part in product.sub_assemblies()]
    below = surroundings(workspace.database.seen_through(connection), workspace.workshop_id, parts, date.min)
    made_of = [(each, part) for each, facts in below.catalogue.products.items() for part in facts.sub_assemblies()]
    above = registrations.product_users(connection, workspace.workshop_id, code)
    made_of += [(user, part) for part, users in above.items() for user in users]
    made_of = [pair for pair in made_of if pair[0] != code] + [(code, part) for part in product.sub_assemblies()]
    for _, error in misnested(made_of, [code]):
        raise at_line(product, error)


def at_line(product: Product, error: ProductLoopError | TooComplexError) -> ProductLoopError | TooComplexError:
    """The error about the nesting of a product, with the line of its bill of materials in place of the part."""
    lines = [line.product for line in product.bill_of_materials]
    (part,) = error.path
    error.path = ("bill_of_materials", lines.index(str(part)) if part in lines else 0, "product")
    return error


def check_machines(connection: Connection, workspace: Workspace, product: Product) -> None:
    """Raises InvalidValuesError if a product does not match the machines and tariffs that it names."""
    if problems := list(inconsistencies(product, _machinery(connection, workspace, product))):
        raise InvalidValuesError(problems)


def _machinery(connection: Connection, workspace: Workspace, product: Product) -> Catalogue:
    """The machines that the product names and their tariffs, and what becomes another material when it is lost."""

    def facts(collection: str, codes: Iterable[str]) -> dict[str, Registered]:
        return {
            code: _registered(connection, workspace, Thing(collection, code)).facts for code in dict.fromkeys(codes)
        }

    machines = facts("machines", (each.machine for each in product.operations if each.machine is not None))
    tariffs = facts("tariffs", (tariff.code for machine in machines.values() for _, tariff in references_in(machine)))
    becoming = [line for line in product.bill_of_materials if line.reclaimed_as is not None]
    materials = facts("materials", (code for line in becoming for code in (line.material, line.reclaimed_as) if code))
    products = facts("products", (line.product for line in becoming if line.product))
    named: dict[str, Any] = {"machines": machines, "tariffs": tariffs, "materials": materials, "products": products}
    return Catalogue(**named)


def retire(workspace: Workspace, thing: Thing, precondition: Precondition = always) -> None:
    """Take it out of use; its rates and the quotations made with it stay.

    Raises:
        NotRegisteredError: nothing is registered under the code.
        InUseError: something else names it.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.taking_away() as connection:
        found = _registered(connection, workspace, thing)
        change(connection, workspace, retiring_entry(connection, workspace, thing, found), precondition)


def retiring_entry(
    connection: Connection, workspace: Workspace, thing: Thing, found: Registration, others: Collection[Thing] = ()
) -> Entry:
    """The change that retires it, under the workshop's lock; saving raises InUseError.

    Args:
        found: what is registered.
        others: what is retired in the same act and may still refer to it.
    """

    def save(revision: int) -> None:
        users = registrations.users_of(connection, workspace.workshop_id, thing)
        if left := [each for each in users if Thing.of(each) not in others]:
            raise InUseError(described(thing), left)
        registrations.retire_registration(connection, workspace.workshop_id, thing, revision)
        prices_in_force.mark_stale(connection, workspace.workshop_id, thing)

    return Entry(described(thing), str(thing), (found.facts, found.revision), None, save, Action.RETIRED)


def put_rate(workspace: Workspace, rate: DatedRate, precondition: Precondition = always) -> Registering:
    """Create or replace a rate; the same again changes nothing.

    Raises:
        NotRegisteredError: nothing is registered under the code.
        InvalidValuesError: the terms do not fit it.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    thing = Thing.of(rate.resource)
    with workspace.changing() as connection:
        registered = _registered(connection, workspace, thing)
        there = rates.find_rate(connection, workspace.workshop_id, thing, rate.valid_from)

        def save(revision: int) -> None:
            if problems := rate_problems(rate.terms, registered.facts, rate.valid_from):
                raise InvalidValuesError(problems)
            rates.save_rates(connection, workspace.workshop_id, [rate], revision)

        return change(connection, workspace, rate_entry(rate, there, save), precondition)


def rate_entry(rate: DatedRate, there: StoredRate | None, save: Callable[[int], None]) -> Entry:
    """The change that registers a rate in place of what is there."""
    thing = Thing.of(rate.resource)
    current = (there.rate.terms, there.revision) if there else None
    what, subject = _described_rate(thing, rate.valid_from), rate_subject(rate.resource, rate.valid_from)
    return Entry(what, subject, current, rate.terms, save)


def _described_rate(thing: Thing, valid_from: date) -> str:
    return f"rate of {described(thing)} from {valid_from}"


def find_dated_rate(workspace: Workspace, thing: Thing, valid_from: date) -> StoredRate:
    """The rate that begins on this day; raises NotRegisteredError if there is none."""
    with workspace.reading() as connection:
        return _rate(connection, workspace, thing, valid_from)


def _rate(connection: Connection, workspace: Workspace, thing: Thing, valid_from: date) -> StoredRate:
    _registered(connection, workspace, thing)
    found = rates.find_rate(connection, workspace.workshop_id, thing, valid_from)
    if found is None:
        raise NotRegisteredError(_described_rate(thing, valid_from))
    return found


def list_rates(workspace: Workspace, thing: Thing, *, after: date | None, limit: int) -> list[DatedRate]:
    """A page of its rates, by first day; raises NotRegisteredError if nothing is registered under the code."""
    with workspace.reading() as connection:
        _registered(connection, workspace, thing)
        page = rates.page_of_rates(connection, workspace.workshop_id, thing, after=after, limit=limit)
    return [stored.rate for stored in page]


def withdraw_rate(workspace: Workspace, thing: Thing, valid_from: date, precondition: Precondition = always) -> None:
    """Delete a rate that was entered by mistake; the one before it remains in force.

    Raises:
        NotRegisteredError: no rate begins on this day.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.taking_away() as connection:
        there = _rate(connection, workspace, thing, valid_from)
        change(connection, workspace, withdrawing_entry(connection, workspace, there), precondition)


def withdrawing_entry(connection: Connection, workspace: Workspace, there: StoredRate) -> Entry:
    """The change that withdraws a rate, under the workshop's lock."""
    thing, valid_from = Thing.of(there.rate.resource), there.rate.valid_from

    def save(_: int) -> None:
        rates.delete_rate(connection, workspace.workshop_id, thing, valid_from)

    current = (there.rate.terms, there.revision)
    return Entry(_described_rate(thing, valid_from), rate_subject(str(thing), valid_from), current, None, save)
