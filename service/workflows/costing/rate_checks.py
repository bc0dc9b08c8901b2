"""Rates against those before them, for the sheets that use them and for the answer to a new rate."""

from collections.abc import Container, Iterable
from datetime import date
from decimal import Decimal

from service.domain.costing.free_of_charge import unusual_rates
from service.domain.costing.rate_card import DatedRate, unit_components
from service.domain.costing.rate_jump import rate_jumps
from service.domain.costing.rates import Convert
from service.domain.scheduling.rates_to_come import RateToCome
from service.domain.selling.taxes import Tax, TaxRate, misnamed
from service.domain.values.errors import PugmillError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import WHOLE, Registered, Thing
from service.store.registering import rates
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


@exactly
def rate_warnings(workspace: Workspace, rate: DatedRate, registered: Registered) -> tuple[PlausibilityWarning, ...]:
    """What looks wrong about a rate that has been registered."""
    thing = Thing.of(rate.resource)
    with workspace.reading() as connection:
        before = rates.find_rate_before(connection, workspace.workshop_id, thing, rate.valid_from)
    try:
        convert = Exchange(workspace, min(rate.valid_from, workspace.workshop.today()))
        now = _unit_rates(rate, registered, convert)
        earlier = {} if before is None else _unit_rates(before, registered, convert)
    except PugmillError:  # what cannot be converted on the day cannot be compared
        return ()
    name = registered.name or thing.code
    if isinstance(registered, Tax):
        return (*misnamed(registered.name, now[WHOLE]), *rate_jumps(name, earlier, now))
    return (*unusual_rates(name, now), *rate_jumps(name, earlier, now))


@exactly
def jumps_on(
    workspace: Workspace, as_of: date, in_force: Iterable[tuple[DatedRate, DatedRate, Registered]], product: str | None
) -> tuple[PlausibilityWarning, ...]:
    """What looks wrong about rates that are in force on the date, for the sheet of a product.

    Args:
        in_force: each with the rate before it, and what it prices.
    """
    convert = Exchange(workspace, as_of)
    found: list[PlausibilityWarning] = []
    for rate, earlier, registered in in_force:
        try:
            before, now = (_unit_rates(each, registered, convert) for each in (earlier, rate))
        except PugmillError:
            continue
        found += rate_jumps(registered.name or Thing.of(rate.resource).code, before, now, product)
    return tuple(found)


def _unit_rates(rate: DatedRate, registered: Registered, convert: Convert) -> dict[str, Decimal]:
    """The unit rate of each part; of a tax its share; empty for channels and shipping services."""
    if isinstance(rate.terms, TaxRate):
        return {WHOLE: share_of(rate)}
    components = unit_components(rate, registered, convert)
    return {part: sum(amounts.values(), ZERO) for part, amounts in components.items()}


def share_of(rate: DatedRate) -> Decimal:
    """The share of a tax."""
    assert isinstance(rate.terms, TaxRate)
    return rate.terms.rate_share


def rates_to_come(workspace: Workspace, resources: Container[str], after: date, until: date) -> list[RateToCome]:
    """The rates of some resources that begin after one day, until another."""
    with workspace.reading() as connection:
        found = rates.rates_beginning(connection, workspace.workshop_id, after, until)
    return [RateToCome(*each) for each in found if each[0] in resources]
