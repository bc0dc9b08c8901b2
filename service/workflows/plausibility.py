"""Registers things and rates, and tells what looks implausible about them: in the answer, never as a refusal."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from service.domain.costing.rate_card import DatedRate
from service.domain.currency.exchange_rates import MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.currency.jump_check import jump_warnings
from service.domain.making.explosion import bill_of_resources
from service.domain.making.plausibility import warnings
from service.domain.making.products import Product
from service.domain.selling.taxes import Tax, misnamed
from service.domain.values.errors import PugmillError
from service.domain.values.exact import exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import Registered, Thing
from service.store.currency.exchange import days_until
from service.store.registering import rates
from service.store.registering.surroundings import surroundings_of_one
from service.workflows.costing.rate_checks import rate_warnings, share_of
from service.workflows.currency import exchange
from service.workflows.entity_tags import Precondition, always
from service.workflows.registering import registering
from service.workflows.registering.changing import Registering
from service.workflows.workspace import Workspace

_BATCH = 100
"""Pieces of the batch that a product is judged by."""


def register(workspace: Workspace, thing: Thing, facts: Registered, precondition: Precondition = always) -> Registering:
    """As `registering.register`, with what looks implausible."""
    done = registering.register(workspace, thing, facts, precondition)
    return replace(done, warnings=facts_warnings(workspace, thing, facts))


def put_rate(workspace: Workspace, rate: DatedRate, precondition: Precondition = always) -> Registering:
    """As `registering.put_rate`, with what looks implausible."""
    registered = registering.find_one(workspace, Thing.of(rate.resource)).facts
    done = registering.put_rate(workspace, rate, precondition)
    return replace(done, warnings=rate_warnings(workspace, rate, registered))


def put_exchange_rates(workspace: Workspace, day: DayRates, precondition: Precondition = always) -> Registering:
    """As `exchange.put_exchange_rates`, with what looks implausible."""
    done = exchange.put_exchange_rates(workspace, day, precondition)
    return replace(done, warnings=day_warnings(workspace, day))


def day_warnings(workspace: Workspace, day: DayRates) -> tuple[PlausibilityWarning, ...]:
    """What looks implausible about exchange rates that have been entered by hand."""
    found = days_until(workspace.database, workspace.workshop_id, day.published_on, MAX_AGE_DAYS)
    others = tuple(each for each in found if (each.published_on, each.source) != (day.published_on, day.source))
    return jump_warnings(day, ExchangeRates(as_of=day.published_on, days=others))


@exactly
def facts_warnings(workspace: Workspace, thing: Thing, facts: Registered) -> tuple[PlausibilityWarning, ...]:
    """What looks implausible about facts that have been registered."""
    match facts:
        case Product():
            return tuple(_of_product(workspace, thing))
        case Tax():
            return tuple(_of_tax(workspace, thing, facts))
    return ()


def _of_product(workspace: Workspace, thing: Thing) -> Iterator[PlausibilityWarning]:
    catalogue = surroundings_of_one(workspace.database, workspace.workshop_id, thing, date.min).catalogue
    try:
        found = warnings(bill_of_resources(thing.code, _BATCH, catalogue), catalogue)
    except PugmillError:  # its bill and its cost sheet say why it cannot be made
        return
    yield from (each for each in found if each.product == thing.code)


def _of_tax(workspace: Workspace, thing: Thing, tax: Tax) -> Iterator[PlausibilityWarning]:
    tomorrow = workspace.workshop.today() + timedelta(days=1)
    with workspace.reading() as connection:
        in_force = rates.find_rate_before(connection, workspace.workshop_id, thing, tomorrow)
    if in_force is not None:
        yield from misnamed(tax.name, share_of(in_force))
