"""The register as a whole: a document taken, or tried; and all of it written as such a document."""

from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter
from typing import Any

from service.domain.costing.rate_card import DatedRate
from service.domain.currency.exchange_rates import MANUAL, DayRates
from service.domain.listing.price_change import RepricingFigures
from service.domain.listing.repricing import RepricingRequest, RepricingScope
from service.domain.register import COLLECTIONS, Collection
from service.domain.values.errors import PugmillError
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import Thing
from service.encoding import encoded, plain_data, to_bytes
from service.store.currency import exchange as stored_exchange
from service.store.engine.database import Connection
from service.store.registering import rates, registrations
from service.time_limit import next_step
from service.workflows.costing.rate_checks import rate_warnings
from service.workflows.currency.exchange import told
from service.workflows.entity_tags import Precondition, always
from service.workflows.listing import repricing
from service.workflows.plausibility import day_warnings, facts_warnings
from service.workflows.register_document import EXCHANGE_RATES, Act
from service.workflows.registering.document import Done, Outcome, RegisterDocument
from service.workflows.registering.registering import find_one
from service.workflows.workspace import Workspace

_PAGE = 500
_FEW = 2_000
"""Listings that are priced within some tenths of a second, for which others wait."""
_SHOWN = 100
_MOST_NAMED = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryOutcome:
    """What has become of an entry, or would.

    Attributes:
        subject: what it is about, as its address under /v1 has it, such as "materials/hdpe/rates/2026-01-01"; exchange
            rates as "exchange-rates/2026-11-20/manual".
        outcome: created, replaced, unchanged, retired, or withdrawn (a rate).
        warnings: what looks implausible about it.
    """

    subject: str
    outcome: Outcome
    warnings: tuple[PlausibilityWarning, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What a repricing of the listings concerned would do afterwards.

    Attributes:
        request: the repricing's, with the day of the rates.
        valid_from: the first day of the prices.
        figures: of all listings concerned.
        changes: data of `PriceChange`; the first of them.
    """

    request: RepricingRequest
    valid_from: date
    figures: RepricingFigures
    changes: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Registered:
    """The result of taking or trying a document.

    Attributes:
        counts: number of entries by outcome.
        tag: of the register: afterwards, or of a trial before.
        prices: of a trial that changes something; None if they cannot be told.
        prices_problem: why they cannot be told.
    """

    counts: dict[str, int]
    entries: tuple[EntryOutcome, ...]
    tag: str
    prices: Prices | None = None
    prices_problem: str | None = None


def register_document(
    workspace: Workspace, document: RegisterDocument, *, prune: bool = False, expected: Precondition = always
) -> Registered:
    """Register everything in a document, or nothing; the same again changes nothing. Raises as `Act.carry_out`."""
    with workspace.changing() as connection:
        act = Act(connection, workspace, document)
        act.carry_out(prune=prune, expected=expected)
        # Before the end of the transaction: if the time is over, nothing is stored.
        return _told(inside_of(workspace, connection), act.done, act.tag)


def try_document(
    workspace: Workspace,
    document: RegisterDocument,
    *,
    prune: bool = False,
    expected: Precondition = always,
    as_of: date | None = None,
) -> Registered:
    """What registering it would do, also to prices by the rates of a day; nothing is stored.

    Raises as `Act.carry_out`, and QuotaExceededError.
    """
    with workspace.rehearsing() as connection:
        act = Act(connection, workspace, document)
        tag = act.tag
        act.carry_out(prune=prune, expected=expected)
        inside = inside_of(workspace, connection)
        done = _told(inside, act.done, tag)
        prices, problem = prices_after(connection, inside, act.done, as_of)
        return replace(done, prices=prices, prices_problem=problem)


def inside_of(workspace: Workspace, connection: Connection) -> Workspace:
    """What it is in the open transaction, which may never be committed."""
    return replace(workspace, database=workspace.database.seen_through(connection, has_written=True)).now()


def prices_after(
    connection: Connection, workspace: Workspace, done: list[Done], as_of: date | None = None
) -> tuple[Prices | None, str | None]:
    """What a repricing would do after an act; if that cannot be told, the reason, or nothing if nothing has changed."""
    request = _repricing(connection, workspace, done, as_of)
    if request is None:
        return None, None
    try:
        return _prices(workspace, request), None
    except PugmillError as error:
        return None, str(error)


def _told(workspace: Workspace, done: list[Done], tag: str) -> Registered:
    counts = Counter(each.outcome.value for each in done)
    entries = tuple(
        EntryOutcome(subject=each.subject, outcome=each.outcome, warnings=_warnings(workspace, each)) for each in done
    )
    return Registered(counts={outcome.value: counts[outcome.value] for outcome in Outcome}, entries=entries, tag=tag)


def _warnings(workspace: Workspace, done: Done) -> tuple[PlausibilityWarning, ...]:
    next_step()
    match done.written:
        case None:
            return ()
        case DayRates():
            return day_warnings(workspace, done.written)
        case DatedRate(resource=resource):
            return rate_warnings(workspace, done.written, find_one(workspace, Thing.of(resource)).facts)
    assert done.thing is not None  # facts are of a thing
    return facts_warnings(workspace, done.thing, done.written)


class _TooManyListingsError(PugmillError):
    """More listings are concerned than are looked at while others wait."""

    def __init__(self) -> None:
        super().__init__(
            f"more than {_FEW} listings depend on what changes; register it, then preview the repricing of them"
        )


def _repricing(
    connection: Connection, workspace: Workspace, done: list[Done], as_of: date | None
) -> RepricingRequest | None:
    """The repricing of the listings that depend on what changes; None if there are none.

    What has no rate on the day is left out, unless its rates are withdrawn: what depends on it has no cost, which
    registering it does not change.
    """
    changed = [each for each in done if each.outcome is not Outcome.UNCHANGED]
    things = {each.thing for each in changed if each.outcome is not Outcome.RETIRED}
    if None in things or len(things) > _MOST_NAMED:
        return RepricingRequest(as_of=as_of)
    day = as_of or workspace.workshop.today()
    rated = {*rates.days_in_force(connection, workspace.workshop_id, day, COLLECTIONS)}
    rated |= {str(each.thing) for each in changed if each.outcome is Outcome.WITHDRAWN}
    named = [str(thing) for thing in things if thing and not (_has_rates(thing.collection) and str(thing) not in rated)]
    return RepricingRequest(as_of=as_of, scope=RepricingScope(resources=tuple(sorted(named)))) if named else None


def _has_rates(collection: str) -> bool:
    return COLLECTIONS[collection].terms is not None


def _prices(workspace: Workspace, request: RepricingRequest) -> Prices:
    """Raises PugmillError if they cannot be told."""
    shown: list[dict[str, Any]] = []
    with repricing.preview(workspace, request) as seen, closing(seen.found()) as found:
        for number, each in enumerate(found):
            if number == _FEW:
                raise _TooManyListingsError
            if seen.is_shown(each) and len(shown) < _SHOWN:
                shown.append(plain_data(each.change))
        return Prices(request=seen.request, valid_from=seen.valid_from, figures=seen.figures(), changes=tuple(shown))


def written_register(workspace: Workspace) -> Iterator[bytes]:
    """The whole register as JSON text of such a document, in one state, one entry a line.

    It has every dated rate, and the exchange rates entered by hand.
    """
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        for place, collection in enumerate(COLLECTIONS.values()):
            yield (b",\n" if place else b"{") + to_bytes(collection.name) + b":"
            yield from _object(_entries(connection, frozen, collection))
        found = stored_exchange.days_since(connection, frozen.workshop_id, MANUAL, date.min)
        days = sorted(found, key=attrgetter("published_on"))
        yield b",\n" + to_bytes(EXCHANGE_RATES) + b":"
        yield from _object((str(day.published_on), encoded(told(day))) for day in days)
        yield b"}\n"


def _object(members: Iterator[tuple[str, Any]]) -> Iterator[bytes]:
    separator = b"{"
    for name, value in members:
        yield separator + b"\n" + to_bytes(name) + b":" + to_bytes(value)
        separator = b","
    yield b"{}" if separator == b"{" else b"}"


def _entries(connection: Connection, workspace: Workspace, collection: Collection) -> Iterator[tuple[str, Any]]:
    """The code of each thing, with its facts and rates as plain data."""
    after, name, workshop_id = "", collection.name, workspace.workshop_id
    while page := registrations.page_of_registrations(connection, workshop_id, name, after=after, limit=_PAGE):
        next_step()
        after = page[-1].code
        rated = [Thing(name, each.code) for each in page] if collection.terms else []
        dated = rates.rates_of_some(connection, workshop_id, rated)
        for each in page:
            entry: dict[str, Any] = {"facts": encoded(each.facts)}
            if collection.terms:
                found = dated.get(Thing(name, each.code), {})
                entry["rates"] = {str(day): encoded(stored.rate.terms) for day, stored in found.items()}
            yield each.code, entry
