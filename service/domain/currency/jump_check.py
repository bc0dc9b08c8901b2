"""Exchange rates that jump: a published day that looks wrong waits for confirmation."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.currency.errors import MissingExchangeRateError
from service.domain.currency.exchange_rates import FEED_MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.values.exact import ONE, SHARE_DECIMALS, exactly, half_up, readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning

JUMP_LIMIT_SHARE = Decimal("0.2")
"""The most that a rate may differ from the last one accepted. Common practice, no source."""
_SHOWN_DECIMALS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A rate that differs too much from the last one accepted.

    Attributes:
        currency: the currency of the rate.
        from_rate: the last one that was accepted, in units for one unit of the base.
        to_rate: the one that was published.
        share: by how much it differs, 0.25 for a quarter up or down.
    """

    currency: str
    from_rate: Decimal
    to_rate: Decimal
    share: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldDay:
    """A published day that waits for confirmation, and is not used until then.

    Attributes:
        day: the rates as published.
        jumps: the rates that jumped.
    """

    day: DayRates
    jumps: tuple[Jump, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Published days that may be used, and days held back for confirmation."""

    accepted: tuple[DayRates, ...]
    held: tuple[HeldDay, ...]


@exactly
def judged(published: Iterable[DayRates], accepted: Iterable[DayRates], waiting: Iterable[DayRates]) -> Judgement:
    """Accepts a source's days, or holds them back where a rate jumps:  |to ÷ from − 1| > limit.

    A rate is compared with the last accepted one before it. The first rate of a currency, and one after a pause longer
    than the maximum age, have nothing to be compared with and are accepted. In a history (days before an accepted one,
    or a first load) a jump is accepted if the source's next rate confirms it within the limit.

    Args:
        published: new or changed days.
        accepted: the source's days in use, from well before the first published one.
        waiting: the source's days held back earlier.
    """
    fresh, used = _by_day(published), _by_day(accepted)
    timeline = sorted({**_by_day(waiting), **used, **fresh}.values(), key=lambda day: day.published_on)
    newest = max(used, default=None)
    series = _Series()
    passed, held = [], []
    for place, day in enumerate(timeline):
        in_use = used.get(day.published_on)
        if day.published_on in fresh:
            is_history = newest is None or day.published_on < newest
            jumps = tuple(
                jump for jump in series.jumps(day) if not (is_history and _is_borne_out(jump, timeline, place))
            )
            if jumps:
                held.append(HeldDay(day=day, jumps=jumps))
            else:
                passed.append(day)
                in_use = day
        series.go_on(day, in_use)
    return Judgement(accepted=tuple(passed), held=tuple(held))


def _by_day(days: Iterable[DayRates]) -> dict[date, DayRates]:
    return {day.published_on: day for day in days}


class _Series:
    """The last used rate and the last published day of each currency, day by day."""

    def __init__(self) -> None:
        self._rates: dict[str, Decimal] = {}
        self._seen: dict[str, date] = {}

    def go_on(self, shown: DayRates, in_use: DayRates | None) -> None:
        """Record a day as published and, if any of it is used, as used."""
        self._seen |= dict.fromkeys(shown.rates, shown.published_on)
        self._rates |= in_use.rates if in_use else {}

    def jumps(self, day: DayRates) -> Iterator[Jump]:
        for currency, rate in day.rates.items():
            before = self._rates.get(currency)
            if before is None or (day.published_on - self._seen[currency]).days > FEED_MAX_AGE_DAYS:
                continue
            if (share := _change_share(before, rate)) > JUMP_LIMIT_SHARE:
                yield Jump(currency=currency, from_rate=before, to_rate=rate, share=half_up(share, SHARE_DECIMALS))


@exactly
def jump_warnings(day: DayRates, before: ExchangeRates) -> tuple[PlausibilityWarning, ...]:
    """A warning for each rate of a day entered by hand that jumps; the day is in use all the same.

    Args:
        before: what would be in use on the day without it, from any source and on any base.
    """
    return tuple(
        PlausibilityWarning(
            code="exchange-rate-jump",
            product=None,
            text=Message(
                "1 {base} is {new} {currency} on {day}, but {old} {currency} by the rates before it. Check the figure, "
                "and that it is for 1 {base}.",
                base=day.base,
                currency=currency,
                new=rate,
                old=readable(last, _SHOWN_DECIMALS),
                day=str(day.published_on),
            ),
            source=COMMON_PRACTICE,
        )
        for currency, rate in day.rates.items()
        if (last := _last_rate(before, day.base, currency)) and _change_share(last, rate) > JUMP_LIMIT_SHARE
    )


def _last_rate(rates: ExchangeRates, base: str, currency: str) -> Decimal | None:
    """Units of the currency for one of the base; None if there was no rate between them."""
    try:
        return rates.day_for(base, currency).conversion(base, currency)(ONE)
    except MissingExchangeRateError:
        return None


def _change_share(before: Decimal, after: Decimal) -> Decimal:
    return abs(after / before - ONE)


def _is_borne_out(jump: Jump, timeline: Sequence[DayRates], place: int) -> bool:
    """Whether the source's next rate confirms the one that jumped."""
    for later in range(place + 1, len(timeline)):
        following: Mapping[str, Decimal] = timeline[later].rates
        if jump.currency in following:
            return _change_share(jump.to_rate, following[jump.currency]) <= JUMP_LIMIT_SHARE
    return False
