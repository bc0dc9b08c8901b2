"""Exchange rates fetched from a feed, and the days held back until they are confirmed."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

from service.domain.audit import Action, Change, exchange_subject
from service.domain.currency.exchange_rates import FEED, FEED_MAX_AGE_DAYS, DayRates
from service.domain.currency.jump_check import HeldDay, judged
from service.encoding import to_text
from service.feeds.errors import Fault, FeedError
from service.feeds.reference_rates import Published, ReferenceRates, Span
from service.store.currency import exchange, feed_files
from service.store.engine.database import Connection
from service.store.workshop import audit
from service.store.workshop.workshops import next_revision
from service.workflows.currency.exchange import change_of_day
from service.workflows.entity_tags import Precondition, always, content_tag, expect
from service.workflows.errors import FeedFailedError, NotRegisteredError
from service.workflows.workspace import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class Refreshing:
    """The result of a refresh.

    Attributes:
        source: publisher of the rates.
        span: the period of the file that was fetched.
        modified: whether the file had changed since it was last read; if not, there is nothing new.
        added: number of days now in use that were not stored before.
        replaced: number of days that the source has corrected.
        unchanged: number of days that were stored before.
        held: days of the file that are not used until they are confirmed, and why.
        left_out: currency codes of the file that are not known here.
        last_published_on: the last day in use.
        age_days: age of that day today.
    """

    source: str
    span: Span
    modified: bool = False
    added: int = 0
    replaced: int = 0
    unchanged: int = 0
    held: tuple[HeldDay, ...] = ()
    left_out: tuple[str, ...] = ()
    last_published_on: date | None = None
    age_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """The result of confirming a day.

    Attributes:
        source: publisher of the rates.
        days: days now in use: the day itself, and later held days that no longer jump from it.
    """

    source: str
    days: tuple[date, ...]


def refresh_exchange_rates(workspace: Workspace, feed: ReferenceRates, wanted: Span | None = None) -> Refreshing:
    """Fetch a file of the feed outside any transaction, then store its rates in one.

    Repeating it changes nothing; on any error nothing is changed.

    Args:
        wanted: how far back; by default far enough to compare the latest day with another.

    Raises:
        FeedFailedError: the feed is out of reach, late, or not plausible.
    """
    today, workshop_id = workspace.workshop.today(), workspace.workshop_id
    with workspace.reading() as connection:
        known = exchange.find_newest_known(connection, workshop_id, FEED)
        span = wanted or _span_after(exchange.find_newest_day(connection, workshop_id, FEED), today)
        address = feed.address_of(span)
        conditions = feed_files.conditions_of(connection, workshop_id, address) if known else {}
    try:
        published = feed.published(span, today, conditions)
        newest = published.days[-1].published_on if published else known
        assert newest is not None  # if no day is known, the request is unconditional
        _check_is_timely(newest, today)
    except FeedError as error:
        with workspace.reading() as connection:
            last = exchange.find_newest_day(connection, workshop_id, FEED)
        raise FeedFailedError(FEED, error.fault, error.reason, error.retry_after_seconds, last, today) from None
    done = Refreshing(source=FEED, span=span)
    with workspace.changing() as connection:
        if published is not None:
            done = _keep(connection, workspace, published, done)
            feed_files.save_conditions(connection, workshop_id, address, published.conditions)
        last = exchange.find_newest_day(connection, workshop_id, FEED)
    return replace(done, last_published_on=last, age_days=None if last is None else (today - last).days)


def _span_after(last: date | None, today: date) -> Span:
    """The latest day, unless there is no recent day to compare it with: then an absurd rate would be accepted."""
    is_comparable = last is not None and (today - last).days <= FEED_MAX_AGE_DAYS
    return Span.LATEST if is_comparable else Span.DAYS_90


def _check_is_timely(newest: date, today: date) -> None:
    if (age := (today - newest).days) > FEED_MAX_AGE_DAYS:
        raise FeedError(Fault.LATE, f"its last day is {newest}, {age} days ago")


def _keep(connection: Connection, workspace: Workspace, published: Published, nothing: Refreshing) -> Refreshing:
    """Store the new days of a file, and hold back those that jump."""
    workshop_id, days = workspace.workshop_id, published.days
    waiting = exchange.held_days(connection, workshop_id, FEED)
    there = _days_around(connection, workshop_id, (days[0].published_on, *waiting))
    fresh = [day for day in days if there.get(day.published_on) != day]
    judgement = judged(fresh, there.values(), (each.day for each in waiting.values()))
    held = {each.day.published_on: each for each in judgement.held}
    newly_held = [each for on, each in held.items() if waiting.get(on) != each]
    released = [day.published_on for day in days if day.published_on in waiting and day.published_on not in held]
    if judgement.accepted or newly_held or released:
        exchange.save_days(connection, workshop_id, judgement.accepted, next_revision(connection, workshop_id))
        exchange.save_held(connection, workshop_id, newly_held)
        exchange.delete_held(connection, workshop_id, ((FEED, on) for on in released))
        made = [change_of_day(Action.FETCHED, there.get(day.published_on), day) for day in judgement.accepted]
        made += [_change_of_held(Action.HELD_BACK, waiting.get(each.day.published_on), each) for each in newly_held]
        made += [_change_of_held(Action.RELEASED, waiting[on], None) for on in released]
        audit.record(connection, workshop_id, workspace.actor, made)
    replaced = sum(day.published_on in there for day in judgement.accepted)
    return replace(
        nothing,
        modified=True,
        added=len(judgement.accepted) - replaced,
        replaced=replaced,
        unchanged=len(days) - len(fresh),
        held=judgement.held,
        left_out=published.left_out,
    )


def _change_of_held(action: Action, before: HeldDay | None, after: HeldDay | None) -> Change:
    """A change of a day held back, for the audit trail; at most one side is None."""
    held = after or before
    assert held is not None
    subject = exchange_subject(held.day.published_on, held.day.source, is_held=True)
    return Change(subject=subject, action=action, before=before, after=after)


def _days_around(
    connection: Connection, workshop_id: UUID, days: Iterable[date], source: str = FEED
) -> dict[date, DayRates]:
    """The source's days in use from well before these on, to compare them with."""
    since = min(days) - timedelta(days=FEED_MAX_AGE_DAYS)
    return {day.published_on: day for day in exchange.days_since(connection, workshop_id, source, since)}


def list_held_exchange_rates(workspace: Workspace, *, before: tuple[date, str] | None, limit: int) -> list[HeldDay]:
    """A page of the days held back, newest first."""
    with workspace.reading() as connection:
        return exchange.page_of_held(connection, workspace.workshop_id, before=before, limit=limit)


def _held(connection: Connection, workspace: Workspace, published_on: date, source: str) -> dict[date, HeldDay]:
    waiting = exchange.held_days(connection, workspace.workshop_id, source)
    if published_on not in waiting:
        raise NotRegisteredError(f"day of exchange rates held back for {published_on} from '{source}'")
    return waiting


def find_held_exchange_rates(workspace: Workspace, published_on: date, source: str) -> HeldDay:
    """A day held back, and why; raises NotRegisteredError if none is held back for it."""
    with workspace.reading() as connection:
        return _held(connection, workspace, published_on, source)[published_on]


def tag_of(held: HeldDay) -> str:
    """The tag of a day held back and its reasons."""
    return content_tag(to_text(held).encode())


def _expected(held: HeldDay, precondition: Precondition) -> None:
    expect(tag_of(held), precondition, f"the day of exchange rates held back for {held.day.published_on}")


def confirm_exchange_rates(
    workspace: Workspace, published_on: date, source: str, precondition: Precondition = always
) -> Confirmation:
    """Use a day that was held back, and later ones that no longer jump once it is used.

    Raises:
        NotRegisteredError: nothing is held back for the day.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    workshop_id = workspace.workshop_id
    with workspace.changing() as connection:
        held = _held(connection, workspace, published_on, source)
        _expected(held[published_on], precondition)
        waiting = {on: each.day for on, each in held.items()}
        in_use = _days_around(connection, workshop_id, waiting, source)
        there = in_use | {published_on: waiting[published_on]}
        later = [day for on, day in waiting.items() if on > published_on]
        judgement = judged(later, there.values(), waiting.values())
        accepted = (waiting[published_on], *judgement.accepted)
        exchange.save_days(connection, workshop_id, accepted, next_revision(connection, workshop_id))
        exchange.delete_held(connection, workshop_id, ((source, day.published_on) for day in accepted))
        exchange.save_held(connection, workshop_id, judgement.held)
        made = [change_of_day(Action.CONFIRMED, in_use.get(day.published_on), day) for day in accepted]
        made += [_change_of_held(Action.CONFIRMED, held[day.published_on], None) for day in accepted]
        made += [_change_of_held(Action.HELD_BACK, held[each.day.published_on], each) for each in judgement.held]
        audit.record(connection, workshop_id, workspace.actor, made)
    return Confirmation(source=source, days=tuple(day.published_on for day in accepted))


def drop_held_exchange_rates(
    workspace: Workspace, published_on: date, source: str, precondition: Precondition = always
) -> None:
    """Delete a day that was held back; it is held back again if a later file of the feed has it.

    Raises:
        NotRegisteredError: nothing is held back for the day.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    with workspace.taking_away() as connection:
        held = _held(connection, workspace, published_on, source)[published_on]
        _expected(held, precondition)
        exchange.delete_held(connection, workspace.workshop_id, [(source, published_on)])
        next_revision(connection, workspace.workshop_id)
        audit.record(connection, workspace.workshop_id, workspace.actor, [_change_of_held(Action.DROPPED, held, None)])
