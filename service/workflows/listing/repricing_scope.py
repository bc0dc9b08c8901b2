"""Which listings a repricing covers: those that depend, at any depth, on what changed."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.rate_card import RateCard
from service.domain.listing.repricing import RepricingRequest, RepricingScope
from service.domain.register import COLLECTIONS
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Reference, Thing, references_in
from service.store.currency import exchange
from service.store.engine.database import Connection
from service.store.listing.prices_in_force import Narrowing
from service.store.registering import rates, registrations
from service.workflows.costing.costing import with_first_days
from service.workflows.costing.supposing import WhatIf
from service.workflows.registering.unknown import unregistered
from service.workflows.workspace import Workspace


def scope_of(request: RepricingRequest, what_if: WhatIf | None) -> RepricingScope:
    """The request's scope; with what-if rates and no other resources, what depends on those rates."""
    scope = request.scope or RepricingScope()
    if what_if and scope.resources is None and scope.changed_since is None:
        return replace(scope, resources=tuple(what_if))
    return scope


def narrowing(workspace: Workspace, scope: RepricingScope, card: RateCard) -> Narrowing:
    """Which listings a scope narrows to.

    Raises:
        InvalidValuesError: the scope names something that is not registered.
        MissingRatesError: a resource that it names has no rate on the day.
    """
    things: list[Thing] | None = None
    with workspace.reading() as connection:
        _check_registered(connection, workspace, scope)
        if scope.resources is not None:
            things = [Thing.of(resource) for resource in scope.resources]
        elif scope.changed_since is not None:
            things = _changed_since(connection, workspace, card.as_of, scope.changed_since)
    if scope.resources is not None:
        _check_rated(workspace, scope.resources, card)
    if things is not None and any(collection == "overheads" for collection, _ in things):
        things = None  # every product carries a share of a pool
    return Narrowing(things=things, channel=scope.channel, product=scope.product)


def _check_registered(connection: Connection, workspace: Workspace, scope: RepricingScope) -> None:
    resources = enumerate(scope.resources or ())
    named: list[Reference] = [(("scope", "resources", index), Thing.of(resource)) for index, resource in resources]
    named += references_in(scope, ("scope",))
    there = registrations.registered_among(connection, workspace.workshop_id, [thing for _, thing in named])
    unknown = [(path, thing) for path, thing in named if thing not in there]
    if unknown:
        raise InvalidValuesError([*unregistered(connection, workspace.workshop_id, unknown)])


def _check_rated(workspace: Workspace, resources: tuple[str, ...], card: RateCard) -> None:
    missing = [
        MissingRate(resource=resource)
        for resource in resources
        if COLLECTIONS[Thing.of(resource).collection].terms is not None and resource not in card.rates
    ]
    if missing:
        raise with_first_days(workspace, MissingRatesError(card.as_of, missing))


def _changed_since(connection: Connection, workspace: Workspace, as_of: date, since: date) -> list[Thing] | None:
    """Resources whose rate changed after a day; None for all, if exchange rates changed."""
    begun = datetime.combine(since, time.min, ZoneInfo(workspace.workshop.time_zone)).astimezone(UTC)
    if exchange.has_changed_since(connection, workspace.workshop_id, as_of, since, begun):
        return None
    changed = rates.resources_changed(connection, workspace.workshop_id, as_of, since, begun)
    return [Thing.of(resource) for resource in changed]
