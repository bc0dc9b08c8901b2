"""The prices in force on a listing, and its unit costs, over time, as a chart."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.documents.drawing.drawing import Chart, ImageForm, Layer, drawn, layer, literal, shortened, words
from service.documents.listing.price_panel import Look, Step, Terms, panel
from service.documents.writing.formats import formatted_date, formatted_number, isolated
from service.documents.writing.labels import Labels, labels_for
from service.domain.listing.price_history import PriceHistoryEntry, PriceInForce, prices_in_force

MOST_DRAWN = 1000
"""Most prices drawn, the newest."""
_WIDEST_HEADING = 300
_MOST_TOLD = 24


def price_history_chart(
    listing: str, entries: Sequence[PriceHistoryEntry], form: ImageForm, *, locale: str, time_zone: str, as_of: date
) -> bytes:
    """The prices in force on a listing until the end of a day, as an image.

    Each currency has its own panel and axis: amounts in different currencies are not compared. Drawn is the price of a
    piece, or unit, beside its cost, whatever number of them the price is for. Figures are exact; only
    positions are floats. A price that was rolled back ends at that time, and the restored one is marked.

    Args:
        listing: its name.
        entries: in any order.
        form: of the image.
        locale: for figures and days.
        time_zone: IANA name; decides which day an instant is on.
        as_of: the last day shown, unless an entry is later; what is taken back after it still stands.
    """
    zone, said = ZoneInfo(time_zone), labels_for(locale, "price_history")
    end = datetime.combine(as_of + timedelta(days=1), time(), zone)
    newest = [_until(end, each) for each in sorted(entries, key=lambda each: (each.applied_at, each.repricing))]
    newest = newest[-MOST_DRAWN:]
    prices = prices_in_force(newest, zone)
    days = [as_of, *(price.since.astimezone(zone).date() for price in prices)]
    terms = Terms(first=min(days), last=max(days), zone=zone, words=said)
    told = [terms.told(price) for price in prices[-_MOST_TOLD:]]
    name, then = literal(listing), _then(prices, as_of, terms)
    counted = _counted(newest, len(newest) < len(entries), said)
    subtitle = (terms.told(prices[-1]), counted) if _is_priced(prices) else (counted,)
    chart = Chart(
        title=f"{isolated(name)}{said.colon}{then}",
        heading=f"{shortened(name, _WIDEST_HEADING)}{said.colon}{then}",
        subtitle=subtitle,
        description="; ".join(
            [said("Prices of {listing}: {then}", listing=isolated(name), then=then), *subtitle, *reversed(told)]
        ),
        left=0,
        body={"spacing": 44, "vconcat": list(_panels(prices, terms))},
    )
    return drawn(chart, form)


def _until(end: datetime, entry: PriceHistoryEntry) -> PriceHistoryEntry:
    """The entry as it stood before that instant."""
    is_later = entry.rolled_back_at is not None and entry.rolled_back_at >= end
    return replace(entry, rolled_back_at=None) if is_later else entry


def _then(prices: Sequence[PriceInForce], day: date, terms: Terms) -> str:
    """The price in force at the end of the day."""
    if not _is_priced(prices):
        return terms.words("no price in force")
    price = terms.price(prices[-1].entry)
    return terms.words("{price} on {day}", price=price, day=formatted_date(day, terms.locale))


def _is_priced(prices: Sequence[PriceInForce]) -> bool:
    """Whether a price is in force at the end."""
    return bool(prices) and prices[-1].until is None


def _counted(entries: Sequence[PriceHistoryEntry], are_more: bool, said: Labels) -> str:
    rolled_back = sum(entry.rolled_back_at is not None for entry in entries)
    counts = {
        "applied": formatted_number(len(entries), said.locale),
        "back": formatted_number(rolled_back, said.locale),
    }
    if are_more:
        return said("the newest prices applied: {applied}, of them rolled back: {back}", **counts)
    return said("prices applied: {applied}, of them rolled back: {back}", **counts)


def _panels(prices: Sequence[PriceInForce], terms: Terms) -> Iterator[Layer]:
    """A panel for each currency, that of the newest price first; a text if there is no price yet."""
    newest_first = [price.entry for price in reversed(prices)]
    used = [entry.price.currency for entry in newest_first] + [entry.unit_cost.currency for entry in newest_first]
    currencies = list(dict.fromkeys(used))
    for currency in currencies:
        series = {look: list(_steps(prices, look, currency, terms)) for look in Look}
        yield panel(currency, {look: steps for look, steps in series.items() if steps}, terms)
    if not currencies:
        mark, text = {"type": "text", "align": "left"}, terms.words("No price has been applied yet.")
        yield layer(mark, [{"text": text}], text=words("text"), x={"value": 0}, y={"value": 0})


def _steps(prices: Sequence[PriceInForce], look: Look, currency: str, terms: Terms) -> Iterator[Step]:
    for price in prices:
        is_price = look is Look.PRICE
        amount = price.entry.price_of_a_piece if is_price else price.entry.unit_cost
        if amount.currency == currency:
            end = terms.end if price.until is None else price.until.timestamp()
            lasts = price.until is None
            begin = price.since.timestamp()
            yield Step(begin=begin, end=end, amount=amount, price=price, lasts=lasts, is_price=is_price)
