"""Register a workshop from a file: resources and their rates, products, listings.

    pugmill register scripts/demo/workshop.yaml     the demo workshop; everything in it is invented

The file is YAML. Each collection of the service has its entries by code, each with its facts and its rates by first
day. They are registered in the order of the file, and replace entries with the same code. The rates under
exchange-rates are entered for today in the workshop's time zone. Running it again changes nothing.
"""

import sys
from collections.abc import Iterator
from datetime import date, datetime
from http import HTTPStatus
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import click

from service.client.command import FILE, Options, owners_command
from service.client.ends import RefusedError
from service.client.files.exact_yaml import read_yaml
from service.client.http import Service
from service.client.progress import each_shown
from service.client.rates import warnings_in


def puts(collection: str, entries: dict[str, Any], today: date) -> Iterator[tuple[str, Any]]:
    """Path and body of every PUT for a collection, in the order of the file."""
    if collection == "exchange-rates":
        yield f"/v1/{collection}/{today}", entries
        return
    for code, entry in entries.items():
        yield f"/v1/{collection}/{code}", entry["facts"]
        for day, terms in entry.get("rates", {}).items():
            yield f"/v1/{collection}/{code}/rates/{day}", terms


@owners_command(__doc__)
@click.argument("file", metavar="FILE", type=FILE, help="The workshop's file, in YAML.")
def register(service: Service, options: Options) -> None:
    """Register the file, collection by collection."""
    found = read_workshop(options.file)
    described = found.pop("workshop")
    today = datetime.now(ZoneInfo(described["time-zone"])).date()
    is_terminal = sys.stderr.isatty()
    sent = created = 0
    warnings: list[str] = []
    for collection, entries in found.items():
        requested = list(puts(collection, entries, today))
        for path, body in each_shown(requested, f"    {collection:15}"):
            done = service.send("PUT", path, body)
            created += done.status_code == HTTPStatus.CREATED
            warnings += (f"{path.removeprefix('/v1/')}: {text}" for text in warnings_in(done.json()))
        sent += len(requested)
        if not is_terminal:
            print(f"    {collection}: {len(requested)}", file=sys.stderr)
    print("".join(f"{each}\n" for each in warnings), end="")
    print(f"{described['name']} is registered: {sent} entries, {created} of them new.")


def read_workshop(path: Path) -> dict[str, Any]:
    """The contents of the file: the workshop, and its collections.

    Raises:
        RefusedError: if it cannot be read, or is not of this form.
    """
    try:
        found = read_yaml(path.read_text("utf-8-sig"))
    except OSError as error:
        raise RefusedError(f"{path} cannot be read: {error.strerror}") from None
    except ValueError as error:  # neither UTF-8 nor YAML
        raise RefusedError(f"{path}: {error}") from None
    if not isinstance(found, dict):
        raise RefusedError(f"{path} must have collections, such as materials, each with entries by code")
    for collection, entries in found.items():
        _check(path, collection, entries)
    found["workshop"] = {"name": str(path), "time-zone": "UTC", **found.get("workshop", {})}
    if found["workshop"]["time-zone"] not in available_timezones():
        raise RefusedError(f"{path}: workshop: time-zone must be an IANA time zone, such as Europe/Dublin")
    return found


def _check(path: Path, collection: str, entries: Any) -> None:
    if not isinstance(entries, dict):
        raise RefusedError(f"{path}: {collection} must have entries by code")
    if collection in ("workshop", "exchange-rates"):
        return
    for code, entry in entries.items():
        if not isinstance(entry, dict) or "facts" not in entry or not isinstance(entry.get("rates", {}), dict):
            raise RefusedError(f"{path}: {collection}/{code} must have facts, and may have rates by first day")
