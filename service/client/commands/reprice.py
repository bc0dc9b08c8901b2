"""Reprice listings: compute costs and prices, show what changes and why, and put the prices in force.

    pugmill reprice --dry-run                               every listing; stores nothing
    pugmill reprice --least-move 0.01 --greatest-move 0.25  skips small changes, holds large ones back
    pugmill reprice --resource tariffs/grid                 listings that depend on a resource (may be repeated)
    pugmill reprice --changed-since 2026-11-23              listings that depend on rates changed since a day
    pugmill reprice --confirm brick-stall                   lets through a listing that was held back
    pugmill reprice --list                                  past repricings, newest first
    pugmill reprice --as-of 2026-11-30                      prices of a later day, in force from then on
    pugmill reprice --rollback ID                           takes its prices back; the rates stay as they are

Prices are in force from the day of the rates on, or from today if that is later; what is set for a later day stays.
They are applied only if nothing has changed since they were computed, all of them or none. A second run changes
nothing. Shares are fractions of one (0.25, not 25).
"""

from typing import Any
from urllib.parse import quote

import click

from service.client.command import Options, option, owners_command
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.repricing import ADDRESS, question_of, repriced, save_recorded, show, with_repricing
from service.client.rollback import rollback_notes
from service.client.text.repricing import repricing_text
from service.client.text.terminal import table, width

_LISTED = 20


@owners_command(__doc__)
@with_repricing
@option("--resource", one_of="scope", metavar="RESOURCE", multiple=True, help="Those that depend on it: tariffs/grid.")
@option("--changed-since", one_of="scope", metavar="DAY", help="Listings that depend on rates changed since this day.")
@option("--rollback", one_of="scope", metavar="ID", help="Take the prices of this repricing back.")
@option("--list", one_of="scope", is_flag=True, help=f"List the last {_LISTED} repricings.")
def reprice(service: Service, options: Options) -> None:
    """Reprice, roll back or list."""
    if options.rollback or options.list:
        _check_alone(options)
        roll_back(service, options) if options.rollback else show_last(service)
        return
    scope = {"resources": [*options.resource], "changed_since": options.changed_since}
    with new_file(options.csv) as file:
        answer = repriced(service, question_of(options, scope), is_dry_run=options.dry_run, file=file)
    show(answer, options)


def _check_alone(options: Options) -> None:
    takes = {"url", "key", "rollback", "list", *(("csv", "dry_run", "full") if options.rollback else ())}
    if others := sorted(name for name, given in vars(options).items() if given and name not in takes):
        told = ", ".join(f"--{name.replace('_', '-')}" for name in others)
        raise click.UsageError(f"{told}: not allowed with {'--rollback' if options.rollback else '--list'}")


def roll_back(service: Service, options: Options) -> None:
    """Take the prices of a repricing back, unless that has been done, or show what that would undo."""
    address = f"{ADDRESS}/{quote(options.rollback, safe='')}"
    with new_file(options.csv) as file:
        repricing = service.send("GET", address).json()
        is_done = repricing["status"] == "rolled_back"
        if not is_done:
            query = {"dry_run": "true"} if options.dry_run else {}
            repricing = service.data(service.send("POST", f"{address}/rollback", query=query, is_long=True))
        shown = {**repricing, "changes": service.send("GET", f"{address}/changes", query={"limit": 500}).json()}
        if file is not None:
            save_recorded(service, repricing, file)
        notes = rollback_notes(service, shown)
    if is_done:
        print(f"It was rolled back already, at {repricing['rolled_back_at']}.\n")
    elif options.dry_run:
        shown["status"] = "would_be_rolled_back"
    print(repricing_text(shown, width(), full=options.full), "", *notes, sep="\n")


def show_last(service: Service) -> None:
    """Show the last repricings as a table, each with its id."""
    repricings = service.send("GET", ADDRESS, query={"limit": _LISTED}).json()["items"]
    ids = ["", *(each["id"] for each in repricings)]
    rows = [("by", "status", "rates of", "in force from", "applied at (UTC)", "prices changed"), *map(_row, repricings)]
    print("\n".join(table(rows, width(), 4, ids)) if repricings else "No repricing yet.")


def _row(repricing: dict[str, Any]) -> tuple[str, ...]:
    moved, at = repricing["summary"]["first"] + repricing["summary"]["changed"], repricing["applied_at"]
    status = repricing["status"].replace("_", " ")
    days = repricing["as_of"], repricing["valid_from"]
    return (repricing["applied_by"], status, *days, at[:16].replace("T", " "), str(moved))
