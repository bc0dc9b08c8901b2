"""Fetch the European Central Bank's reference rates, and show which days are new and which are held back.

    pugmill refresh-exchange-rates                          the latest day, or the last 90 at first or after a pause
    pugmill refresh-exchange-rates --span history           every day since 1999
    pugmill refresh-exchange-rates --dry-run                the last day in use and the days held back; fetches nothing
    pugmill refresh-exchange-rates --confirm 2026-11-25     puts a held day in use
    pugmill refresh-exchange-rates --drop 2026-11-25        discards it

A day on which a rate jumps is held back until it is confirmed; the exit status is 3 while one waits. If the feed
cannot be reached, nothing changes and the exit status is 4; if its answer cannot be used, the status is 1.
"""

from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import WaitingError
from service.client.files.new_file import csv_bytes, new_file
from service.client.http import Service
from service.client.progress import waiting_shown
from service.client.text.figures import share
from service.client.text.terminal import isolated, row, table, width

ADDRESS = "/v1/exchange-rates"
_COLUMNS = ("published_on", "source", "currency", "from_rate", "to_rate", "share")
_COUNTS = {"added": "new days", "replaced": "days corrected by the source", "unchanged": "unchanged days"}


@owners_command(__doc__)
@option(
    "--span",
    type=click.Choice(["latest", "90-days", "history"]),
    help="How far back (default: latest, or 90-days if no stored day is recent enough to compare with).",
)
@option("--csv", metavar="FILE", type=FILE, help="Write every rate that jumps to this file, too.")
@option("--dry-run", one_of="instead", is_flag=True, help="Show what is in use and held back; fetch nothing.")
@option("--confirm", one_of="instead", metavar="DAY", help="Put a held day in use; fetch nothing.")
@option("--drop", one_of="instead", metavar="DAY", help="Discard a held day; fetch nothing.")
def refresh_exchange_rates(service: Service, options: Options) -> None:
    """Fetch, confirm, discard or look, then report the days held back."""
    with new_file(options.csv) as file:
        lines = [*done(service, options)]
        held = [*service.everything(f"{ADDRESS}/held")]
        if file is not None:
            file.write(csv_bytes(_COLUMNS, (record for day in held for record in jumps(day))))
    print("\n".join([*lines, *held_text(held)]))
    if held:
        days = ", ".join(each["day"]["published_on"] for each in held)
        raise WaitingError(f"held back until confirmed: {days}; --confirm DAY uses a day, --drop DAY discards it")


def done(service: Service, options: Options) -> Iterator[str]:
    """Fetch, confirm, discard or look; yields the result in lines."""
    if options.confirm:
        told = service.send("POST", f"{ADDRESS}/{quote(options.confirm, safe='')}/confirm").json()
        yield f"In use now: {', '.join(told['days'])}"
    elif options.drop:
        service.send("DELETE", f"{ADDRESS}/{quote(options.drop, safe='')}/held")
        yield f"Discarded: {options.drop}"
    elif options.dry_run:
        newest = service.send("GET", ADDRESS, query={"limit": 1}).json()["items"]
        if not newest:
            yield "No exchange rates are in use."
        for each in newest:
            yield f"The last day in use is {each['published_on']}, source {isolated(each['source'])}."
    else:
        with waiting_shown("fetching"):
            told = service.send("POST", f"{ADDRESS}/refresh", {"span": options.span}).json()
        yield from refreshed_text(told)


def refreshed_text(told: dict[str, Any]) -> Iterator[str]:
    """The result of a refresh."""
    columns = width()
    yield f"Reference rates, source {isolated(told['source'])}"
    yield "=" * columns
    if not told["modified"]:
        yield "The file has not changed since it was last read."
    for name, meaning in _COUNTS.items():
        if told["modified"]:
            yield from row(meaning, str(told[name]), columns)
    if told["left_out"]:
        yield from row("unknown currencies, left out", ", ".join(told["left_out"]), columns)
    last, days = told["last_published_on"], told["age_days"]
    yield from row("last day in use", f"{last}, {days} day{'' if days == 1 else 's'} old" if last else "none", columns)


def held_text(held: list[dict[str, Any]]) -> Iterator[str]:
    """The days held back, and why."""
    if held:
        yield ""
        heading = ("held back", "source", "currency", "last in use", "published", "differs by")
        rows = [(*of[:5], share(of[5])) for day in held for of in jumps(day)]
        yield from table([heading, *rows], width(), 3)


def jumps(held: dict[str, Any]) -> Iterator[tuple[str, ...]]:
    """The rates for which a day is held back."""
    for jump in held["jumps"]:
        yield (held["day"]["published_on"], held["day"]["source"], *(jump[name] for name in _COLUMNS[2:]))
