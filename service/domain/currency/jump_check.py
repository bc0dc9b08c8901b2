"""Exchange rates that jump: a published day that looks wrong waits for somebody to confirm it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.currency.exchange_rates import FEED_MAX_AGE_DAYS, DayRates
from service.domain.values.exact import ONE, SHARE_DECIMALS, exactly, half_up

JUMP_LIMIT_SHARE = Decimal("0.2")
"""A rate may differ by so much from the last one accepted. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A rate that differs too much from the last one accepted.

    Attributes:
        currency: whose rate it is.
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
        day: the rates as they were published.
        jumps: why it is held back.
    """

    day: DayRates
    jumps: tuple[Jump, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What becomes of published days.

    Attributes:
        accepted: those that may be used.
        held: those that wait for confirmation.
    """

    accepted: tuple[DayRates, ...]
    held: tuple[HeldDay, ...]


@exactly
def judged(published: Iterable[DayRates], accepted: Iterable[DayRates], waiting: Iterable[DayRates]) -> Judgement:
    """Which of a source's days may be used, and which are held back because a rate jumps:  |to ÷ from − 1| > limit.

    A rate is compared with the last one accepted before it, unless the source had paused for that currency for longer
    than a rate may be old: then there is nothing to compare it with, as there is for its very first rate.

    A day after all that were accepted has nothing but itself to speak for it. In a history (days before one that was
    accepted, or a first load) a jump stands where the source's next rate stands by it, within the limit.

    Args:
        published: days not known yet, or other than they are known.
        accepted: the source's days in use, from well before the first of the others on.
        waiting: the source's days held back before.
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
    """Where each currency stands on the way through a source's days."""

    def __init__(self) -> None:
        self._rates: dict[str, Decimal] = {}
        self._seen: dict[str, date] = {}

    def go_on(self, shown: DayRates, in_use: DayRates | None) -> None:
        """Past a day: what the source showed for it, and what of it is used."""
        self._seen |= dict.fromkeys(shown.rates, shown.published_on)
        self._rates |= in_use.rates if in_use else {}

    def jumps(self, day: DayRates) -> Iterator[Jump]:
        """The day's rates that are too far from the last ones used."""
        for currency, rate in day.rates.items():
            before = self._rates.get(currency)
            if before is None or (day.published_on - self._seen[currency]).days > FEED_MAX_AGE_DAYS:
                continue
            if (share := _change_share(before, rate)) > JUMP_LIMIT_SHARE:
                yield Jump(currency=currency, from_rate=before, to_rate=rate, share=half_up(share, SHARE_DECIMALS))


def _change_share(before: Decimal, after: Decimal) -> Decimal:
    return abs(after / before - ONE)


def _is_borne_out(jump: Jump, timeline: Sequence[DayRates], place: int) -> bool:
    """Whether the source's next rate stands by the one that jumped."""
    for later in range(place + 1, len(timeline)):
        following: Mapping[str, Decimal] = timeline[later].rates
        if jump.currency in following:
            return _change_share(jump.to_rate, following[jump.currency]) <= JUMP_LIMIT_SHARE
    return False
