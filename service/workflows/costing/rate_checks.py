"""Rates against those before them, for the sheets that use them and for the answer to a new rate."""

from collections.abc import Container, Iterable, Iterator
from datetime import date
from decimal import Decimal

from service.domain.costing.free_of_charge import unusual_rates
from service.domain.costing.rate_card import DatedRate, unit_components
from service.domain.costing.rate_jump import rate_jumps, terms_left_out, unconverted
from service.domain.costing.rates import Convert
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.scheduling.rates_to_come import RateToCome
from service.domain.selling.channels import ChannelRate
from service.domain.selling.taxes import Tax, TaxRate, misnamed
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.values.errors import PugmillError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.money import in_currency
from service.domain.values.references import WHOLE, Registered, Thing
from service.store.registering import rates
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


@exactly
def rate_warnings(workspace: Workspace, rate: DatedRate, registered: Registered) -> tuple[PlausibilityWarning, ...]:
    """What looks wrong about a rate that has been registered."""
    thing, today = Thing.of(rate.resource), workspace.workshop.today()
    with workspace.reading() as connection:
        before = rates.find_rate_before(connection, workspace.workshop_id, thing, rate.valid_from)
    name, day = registered.name or thing.code, min(rate.valid_from, today)
    left_out = () if before is None else tuple(terms_left_out(name, before, rate))
    try:
        now = _unit_rates(rate, registered, Exchange(workspace, day))
    except PugmillError:  # what cannot be converted on the day cannot be compared
        return (*_unconverted(workspace, rate, registered), *left_out)
    earlier = {} if before is None else _comparable(before, registered, Exchange(workspace, day))
    found = misnamed(registered.name, now[WHOLE]) if isinstance(registered, Tax) else unusual_rates(name, now)
    return (*found, *rate_jumps(name, earlier, now), *left_out)


def _unconverted(workspace: Workspace, rate: DatedRate, registered: Registered) -> Iterator[PlausibilityWarning]:
    """A warning if the rate cannot be converted today either, so that no price can be computed with it."""
    try:
        _unit_rates(rate, registered, Exchange(workspace, workspace.workshop.today()))
    except MissingExchangeRateError as error:
        yield unconverted(registered.name or Thing.of(rate.resource).code, rate, error)
    except PugmillError:  # such as a currency that has ended since, which what uses the rate is refused with
        return


@exactly
def warnings_on(
    workspace: Workspace, as_of: date, in_force: Iterable[tuple[DatedRate, DatedRate, Registered]], product: str | None
) -> tuple[PlausibilityWarning, ...]:
    """What looks wrong about rates that are in force on the date, against those before them; for a product's sheet.

    Args:
        in_force: each with the rate before it, and what it prices.
    """
    convert = Exchange(workspace, as_of)
    found: list[PlausibilityWarning] = []
    for rate, earlier, registered in in_force:
        name = registered.name or Thing.of(rate.resource).code
        before, now = (_comparable(each, registered, convert) for each in (earlier, rate))
        found += (*rate_jumps(name, before, now, product), *terms_left_out(name, earlier, rate, product))
    return tuple(found)


def _comparable(rate: DatedRate, registered: Registered, convert: Convert) -> dict[str, Decimal]:
    """The unit rates; none if they cannot be converted."""
    try:
        return _unit_rates(rate, registered, convert)
    except PugmillError:
        return {}


def _unit_rates(rate: DatedRate, registered: Registered, convert: Convert) -> dict[str, Decimal]:
    """The unit rate of each part; of a tax its share; empty for channels and shipping services.

    Raises MissingExchangeRateError, also if amounts of a channel or a shipping service cannot be converted.
    """
    match rate.terms:
        case TaxRate():
            return {WHOLE: share_of(rate)}
        case ShippingRate(currency=str(currency)) | ChannelRate(has_amounts=True, currency=str(currency)):
            convert(in_currency(ZERO, currency))
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
