"""Reprice listings: work out what each costs and what to ask, show what changes and why, put it in force.

    pugmill reprice --dry-run                               every listing, storing nothing
    pugmill reprice --least-move 0.01 --greatest-move 0.25  in force; small moves are kept, great ones held back
    pugmill reprice --resource tariffs/grid                 what a rate touches (may be given several times)
    pugmill reprice --changed-since 2026-11-23              what rates changed since a day touch
    pugmill reprice --confirm brick-stall --greatest-move 0.25
                                                            the same again, one that was held back let through
    pugmill reprice --list                                  repricings so far, the newest first
    pugmill reprice --rollback ID                           puts back the prices that were in force before it

Prices are put in force in the very state in which they were worked out, all of them or none. Run a second time, there
is nothing left to change. Shares are fractions of one (0.25, not 25).
"""

from typing import Any
from urllib.parse import quote

import click

from service.client.command import Options, option, owners_command
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.repricing import ADDRESS, question_of, repriced, save_recorded, show, with_repricing
from service.client.text.repricing import repricing_text
from service.client.text.terminal import table, width

_LISTED = 20


@owners_command(__doc__)
@with_repricing
@option("--resource", one_of="scope", metavar="RESOURCE", multiple=True, help="Only what it touches: tariffs/grid.")
@option("--changed-since", one_of="scope", metavar="DAY", help="Only what rates touch that were changed since the day.")
@option("--rollback", one_of="scope", metavar="ID", help="Put back the prices before this repricing.")
@option("--list", one_of="scope", is_flag=True, help=f"The last {_LISTED} repricings.")
def reprice(service: Service, options: Options) -> None:
    """Do what the command line asks for."""
    if options.rollback or options.list:
        _check_alone(options)
        roll_back(service, options) if options.rollback else show_last(service)
        return
    scope = {"resources": [*options.resource], "changed_since": options.changed_since}
    with new_file(options.csv) as file:
        answer = repriced(service, question_of(options, scope), is_dry_run=options.dry_run, file=file)
    show(answer)


def _check_alone(options: Options) -> None:
    takes = {"url", "key", "rollback", "list", *(("csv", "dry_run") if options.rollback else ())}
    if others := sorted(name for name, given in vars(options).items() if given and name not in takes):
        told = ", ".join(f"--{name.replace('_', '-')}" for name in others)
        raise click.UsageError(f"{told}: has no meaning beside {'--rollback' if options.rollback else '--list'}")


def roll_back(service: Service, options: Options) -> None:
    """Put back what was in force before a repricing, unless that has been done, or show what it would undo."""
    address = f"{ADDRESS}/{quote(options.rollback, safe='')}"
    with new_file(options.csv) as file:
        repricing = service.send("GET", address).json()
        is_done = repricing["status"] == "rolled_back"
        if not (is_done or options.dry_run):
            repricing = service.data(service.send("POST", f"{address}/rollback", is_long=True))
        shown = {**repricing, "changes": service.send("GET", f"{address}/changes", query={"limit": 500}).json()}
        if file is not None:
            save_recorded(service, repricing, file)
    if is_done:
        print(f"It was rolled back already, at {repricing['rolled_back_at']}.\n")
    elif options.dry_run:
        print("Rolling this back would put the old prices in force again.\n")
    print(repricing_text(shown, width()))


def show_last(service: Service) -> None:
    """The last repricings as a table, each with its id."""
    repricings = service.send("GET", ADDRESS, query={"limit": _LISTED}).json()["items"]
    ids = ["", *(each["id"] for each in repricings)]
    rows = [("by", "status", "as of", "applied at (UTC)", "prices changed"), *map(_row, repricings)]
    print("\n".join(table(rows, width(), 3, ids)) if repricings else "No repricing yet.")


def _row(repricing: dict[str, Any]) -> tuple[str, ...]:
    moved, at = repricing["summary"]["first"] + repricing["summary"]["changed"], repricing["applied_at"]
    status = repricing["status"].replace("_", " ")
    return (repricing["applied_by"], status, repricing["as_of"], at[:16].replace("T", " "), str(moved))
