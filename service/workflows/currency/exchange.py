"""Exchange rates: entered, imported, withdrawn and read back; amounts converted with them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from service.domain.audit import Action, Change, exchange_subject
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.currency.exchange_rates import MANUAL, MAX_AGE_DAYS, DayRates, ExchangeRates, UsedRates
from service.domain.values.exact import exactly
from service.domain.values.money import Money, check_currency_on, rounded
from service.store.currency import exchange
from service.store.currency.exchange import StoredDay
from service.store.engine.database import Connection
from service.store.workshop import audit
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, always
from service.workflows.errors import NotRegisteredError
from service.workflows.registering.changing import Entry, Registering, change
from service.workflows.workspace import Workspace

T = TypeVar("T")

_BYTES_OF_A_RATE = 300
"""That a rate takes in memory, the day around it included; estimated high."""


class Exchange:
    """Converts amounts on a date; reads rates when first needed, and records those used."""

    def __init__(self, workspace: Workspace, as_of: date) -> None:
        """Raises UnknownCurrencyError if the workshop's own currency is not in use on the date."""
        check_currency_on(workspace.workshop.currency, as_of)
        self._workspace, self._as_of = workspace, as_of
        self._rates: ExchangeRates | None = None
        self._pairs: dict[tuple[str, str], DayRates] = {}

    def __call__(self, money: Money) -> Decimal:
        """The amount in the workshop's currency, unrounded; raises as `converted` does."""
        return self.converted(money, self._workspace.workshop.currency)

    def converted(self, money: Money, currency: str) -> Decimal:
        """The amount in the currency, unrounded, through the base of a day that has both currencies.

        Raises:
            MissingExchangeRateError: no rate within the maximum age; names the last one.
            UnknownCurrencyError: one of the currencies has ended before the date.
        """
        if money.currency == currency:
            return money.amount
        return self.day_for(money.currency, currency).converted(money, currency)

    def conversion(self, one: str, other: str) -> Callable[[Decimal], Decimal]:
        """A function that converts amounts, unrounded; raises as `converted` does."""
        return (lambda amount: amount) if one == other else self.day_for(one, other).conversion(one, other)

    def day_for(self, one: str, other: str) -> DayRates:
        """The published day used for the pair, which counts as used; raises as `converted` does."""
        day = self._pairs.get((one, other))
        if day is None:
            day = self._pairs[one, other] = self._day_for(one, other)
        return day

    def tracked(self, make: Callable[[], T]) -> tuple[T, Mapping[tuple[str, str], DayRates]]:
        """The result of `make`, and the rates that it used."""
        before, self._pairs = self._pairs, {}
        try:
            made = make()
        finally:
            needed, self._pairs = self._pairs, {**before, **self._pairs}
        return made, needed

    def recall(self, needed: Mapping[tuple[str, str], DayRates]) -> None:
        """Count rates as used."""
        self._pairs.update(needed)

    def _day_for(self, one: str, other: str) -> DayRates:
        for code in (one, other):
            check_currency_on(code, self._as_of)
        if self._rates is None:
            self._rates = ExchangeRates(as_of=self._as_of, days=self._days())
        try:
            return self._rates.day_for(one, other)
        except MissingExchangeRateError as error:
            raise self._with_last(error) from None

    def _days(self) -> tuple[DayRates, ...]:
        """The rates up to the date, read once for each state of the workshop."""
        workshop_id, memory = self._workspace.workshop_id, self._workspace.database.memory
        key = (workshop_id, self._workspace.workshop.revision, "exchange rates", self._as_of)
        found: tuple[DayRates, ...] | None = memory.find(key)
        if found is None:
            found = exchange.days_until(self._workspace.database, workshop_id, self._as_of, MAX_AGE_DAYS)
            memory.keep(key, found, sum(len(day.rates) for day in found) * _BYTES_OF_A_RATE)
        return found

    def _with_last(self, error: MissingExchangeRateError) -> MissingExchangeRateError:
        """The error, naming the last rate there was."""
        if error.last_published_on is not None:
            return error
        pair = error.one, error.other
        with self._workspace.reading() as connection:
            last = exchange.find_last_day(connection, self._workspace.workshop_id, self._as_of, pair)
        if last is None:
            return error
        age = ExchangeRates(as_of=self._as_of).max_age_of(last[0])
        return MissingExchangeRateError(error.one, error.other, self._as_of, age, last)

    @property
    def used(self) -> ExchangeRates:
        """Only the rates used, by the day they were published."""
        needed: dict[tuple[date, str], tuple[DayRates, set[str]]] = {}
        for pair, day in self._pairs.items():
            needed.setdefault((day.published_on, day.source), (day, set()))[1].update(pair)
        days = tuple(day.only(currencies) for _, (day, currencies) in sorted(needed.items(), key=lambda each: each[0]))
        return ExchangeRates(as_of=self._as_of, days=days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """An amount in another currency.

    Attributes:
        amount: the amount to convert.
        converted: in the other currency, rounded to its minor unit.
        as_of: the date of the conversion.
        exchange_rates: the exchange rates used; empty within one currency.
    """

    amount: Money
    converted: Money
    as_of: date
    exchange_rates: tuple[UsedRates, ...]


@exactly
def convert(workspace: Workspace, amount: Money, currency: str, as_of: date) -> Conversion:
    """The amount in another currency on a date, rounded once, at the end.

    Raises:
        MissingExchangeRateError: no rate within the maximum age.
        UnknownCurrencyError: a currency has ended before the date.
    """
    exchange_rates = Exchange(workspace, as_of)
    converted = rounded(exchange_rates.converted(amount, currency), currency)
    return Conversion(amount=amount, converted=converted, as_of=as_of, exchange_rates=exchange_rates.used.stated())


def change_of_day(action: Action, before: DayRates | None, after: DayRates | None) -> Change:
    """A change of a source's rates for a day, for the audit trail; at most one side is None."""
    day = after or before
    assert day is not None
    return Change(
        subject=exchange_subject(day.published_on, day.source),
        action=action,
        before=before and told(before),
        after=after and told(after),
    )


def told(day: DayRates) -> dict[str, Any]:
    """The base and rates of a day, for the audit trail."""
    return {"base": day.base, "rates": day.rates}


def put_exchange_rates(workspace: Workspace, day: DayRates, precondition: Precondition = always) -> Registering:
    """Enter the rates of one day by hand; the same again changes nothing. Raises PreconditionFailedError."""
    with workspace.changing() as connection:
        return change(connection, workspace, day_entry(connection, workspace, day), precondition)


def day_entry(connection: Connection, workspace: Workspace, day: DayRates) -> Entry:
    """The change that enters the rates of one day, under the workshop's lock."""
    there = exchange.find_day(connection, workspace.workshop_id, day.source, day.published_on)

    def save(revision: int) -> None:
        exchange.save_days(connection, workspace.workshop_id, [day], revision)

    current = (told(there.day), there.revision) if there else None
    what, subject = _described_day(day.published_on, day.source), exchange_subject(day.published_on, day.source)
    return Entry(what, subject, current, told(day), save)


def _described_day(published_on: date, source: str) -> str:
    return f"entry of exchange rates for {published_on} from '{source}'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Import:
    """The result of an import.

    Attributes:
        source: publisher of the rates.
        first_day: first day in the file.
        last_day: last day in the file.
        added: number of days for which the source had no rates.
        replaced: number of days for which it had others.
        unchanged: number of days for which it had the same.
    """

    source: str
    first_day: date
    last_day: date
    added: int
    replaced: int
    unchanged: int


def import_exchange_rates(workspace: Workspace, days: Sequence[DayRates]) -> Import:
    """Import the rates of one source for some days, all or none; each replaces its day."""
    source = days[0].source
    on = sorted(day.published_on for day in days)
    with workspace.changing() as connection:
        there = {day.published_on: day for day in exchange.days_since(connection, workspace.workshop_id, source, on[0])}
        changed = [day for day in days if there.get(day.published_on) != day]
        if changed:
            revision = next_revision(connection, workspace.workshop_id)
            exchange.save_days(connection, workspace.workshop_id, changed, revision)
            made = [change_of_day(Action.IMPORTED, there.get(day.published_on), day) for day in changed]
            audit.record(connection, workspace.workshop_id, workspace.actor, made)
    replaced = sum(day.published_on in there for day in changed)
    return Import(
        source=source,
        first_day=on[0],
        last_day=on[-1],
        added=len(changed) - replaced,
        replaced=replaced,
        unchanged=len(days) - len(changed),
    )


def withdraw_exchange_rates(
    workspace: Workspace, published_on: date, source: str, precondition: Precondition = always
) -> None:
    """Delete the rates of a day; those of the day before remain in force.

    Raises:
        NotRegisteredError: the source has none for it.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.taking_away() as connection:
        there = _day(connection, workspace, published_on, source)
        current = (told(there.day), there.revision)
        what, subject = _described_day(published_on, source), exchange_subject(published_on, source)

        def save(_: int) -> None:
            exchange.withdraw_day(connection, workspace.workshop_id, source, published_on)

        entry = Entry(what, subject, current, None, save)
        change(connection, workspace, entry, precondition)


def find_exchange_rates(workspace: Workspace, published_on: date, source: str = MANUAL) -> StoredDay:
    """The rates of one day; raises NotRegisteredError if the source has none."""
    with workspace.reading() as connection:
        return _day(connection, workspace, published_on, source)


def _day(connection: Connection, workspace: Workspace, published_on: date, source: str) -> StoredDay:
    found = exchange.find_day(connection, workspace.workshop_id, source, published_on)
    if found is None:
        raise NotRegisteredError(_described_day(published_on, source))
    return found


def list_exchange_rates(workspace: Workspace, *, before: tuple[date, str] | None, limit: int) -> list[DayRates]:
    """A page of days, newest first."""
    with workspace.reading() as connection:
        return exchange.page_of_days(connection, workspace.workshop_id, before=before, limit=limit)
