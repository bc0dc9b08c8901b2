"""Every rate in force on a date, with the amounts that make up each unit rate."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from service.domain.costing.rate_card import DatedRate, unit_components
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.overheads import Overhead
from service.domain.making.resources import ENTIRE_TOOL, LabourGrade, Machine, Material, Tariff, Tool
from service.domain.values.exact import ZERO, exactly
from service.domain.values.references import Registered, part_of
from service.domain.values.shown import UnitRate, shown
from service.encoding import encoded
from service.store.registering import rates
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedUnitRate:
    """What one unit of a resource costs.

    Attributes:
        resource: its reference, for instance "tariffs/grid#day".
        unit: the unit; for a share of a subtotal, the name of the base.
        amount: money for a unit in the workshop's currency, with four digits more than the minor unit; or a share of a
            subtotal.
        components: the named amounts that add up to it.
    """

    resource: str
    unit: str
    amount: UnitRate
    components: Mapping[str, UnitRate]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateCardEntry:
    """A rate in force.

    Attributes:
        resource: the resource it prices, for instance "machines/press".
        name: the workshop's name for it.
        valid_from: the first day of these terms.
        terms: as they were registered.
        unit_rates: what a unit of each part costs; empty for a tax or a shipping service.
    """

    resource: str
    name: str
    valid_from: date
    terms: Mapping[str, Any]
    unit_rates: tuple[StatedUnitRate, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedRateCard:
    """Every rate in force on a date.

    Attributes:
        as_of: the date.
        currency: of the unit rates.
        rates: by resource.
        exchange_rates: the exchange rates used.
    """

    as_of: date
    currency: str
    rates: tuple[RateCardEntry, ...]
    exchange_rates: tuple[UsedRates, ...]


def rates_in_force(workspace: Workspace, as_of: date) -> tuple[tuple[DatedRate, Registered], ...]:
    """Every rate of the date with its registered resource, read once for each state of the workshop."""
    key = (workspace.workshop_id, workspace.workshop.revision, "rates in force", as_of)
    found: tuple[tuple[DatedRate, Registered], ...] | None = workspace.database.memory.find(key)
    if found is None:
        with workspace.reading() as connection:
            found = tuple(rates.rates_in_force(connection, workspace.workshop_id, as_of))
        workspace.database.memory.keep(key, found)
    return found


@exactly
def rate_card_on(workspace: Workspace, as_of: date) -> StatedRateCard:
    """Every rate in force on the date; raises MissingExchangeRateError if one cannot be converted."""
    in_force = rates_in_force(workspace, as_of)
    convert = Exchange(workspace, as_of)
    entries = tuple(
        RateCardEntry(
            resource=rate.resource,
            name=facts.name,
            valid_from=rate.valid_from,
            terms=encoded(rate.terms),
            unit_rates=tuple(_unit_rates(rate, facts, convert, workspace.workshop.currency)),
        )
        for rate, facts in in_force
    )
    return StatedRateCard(
        as_of=as_of, currency=workspace.workshop.currency, rates=entries, exchange_rates=convert.used.stated()
    )


def _unit_rates(rate: DatedRate, facts: Registered, convert: Exchange, currency: str) -> Iterator[StatedUnitRate]:
    for part, amounts in unit_components(rate, facts, convert).items():
        yield shown(
            StatedUnitRate,
            currency,
            resource=part_of(rate.resource, part),
            unit=_unit(facts, part),
            amount=sum(amounts.values(), ZERO),
            components=amounts,
        )


def _unit(facts: Registered, part: str) -> str:
    match facts:
        case Material():
            return facts.unit.value
        case Machine() | LabourGrade():
            return "h"
        case Tariff():
            return "kWh"
        case Tool():
            return "piece" if part == ENTIRE_TOOL else "shot"
    assert isinstance(facts, Overhead)  # taxes and shipping services have no unit rates, products no rates
    return facts.base.traits.unit or facts.base.value
