"""Register a workshop, or any part of it, from files: all of it or nothing.

    pugmill register workshop.yaml                    facts and dated rates; the same again changes nothing
    pugmill register workshop.yaml --dry-run          what would change, also of prices; stores nothing
    pugmill register people.yaml materials.csv        any number of files, taken together
    pugmill register workshop.yaml --prune            also retires what the files no longer have, after showing it

A YAML file has collections (materials, machines, products …), each with entries by code, each with its facts and its
rates by first day, in any order. It may have exchange-rates by day, where `today` is a day, too. A CSV file has one
collection, one entry a row: the code, its facts, then valid_from and its terms from that day on. Nested members have a
slash, and an amount of money has its currency after its name:

    materials,name,unit,polymer,valid_from,price EUR
    hdpe-flakes,HDPE flakes,kg,HDPE,2026-12-01,0.78

Everything that is wrong is named with its file and line. --prune concerns the collections that the files have, and the
rates of those entries that have any; what is still used elsewhere is not retired.
"""

import sys
from typing import Any

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import RefusedError, WaitingError
from service.client.files.register_files import Together, WrongFilesError, read_files
from service.client.http import Service
from service.client.register import refused_places, sent_document
from service.client.text.register import listed, register_text
from service.client.text.terminal import width

_TAKEN_AWAY = ("retired", "withdrawn")


@owners_command(__doc__)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=FILE, help="Files in YAML or CSV.")
@option("--dry-run", is_flag=True, help="Show what would change, also of prices; store nothing.")
@option("--prune", is_flag=True, help="Retire what the files no longer have, once you have agreed to what is shown.")
@option("--yes", is_flag=True, help="Agree to --prune beforehand.")
@option("--as-of", metavar="DAY", help="In a dry run, the day of the rates for prices (default: today).")
@option("--full", is_flag=True, help="List every entry.")
def register(service: Service, options: Options) -> None:
    """Read the files, and register what they have."""
    together = read_files(options.files)
    query = {"prune": "true"} if options.prune else {}
    headers = {}
    if options.dry_run:
        query |= {"dry_run": "true"} | ({"as_of": options.as_of} if options.as_of else {})
    elif options.prune and not options.yes:
        headers = _agreed(service, together)
    done, _ = sent(service, together, query, headers)
    print(register_text(done, width(), full=options.full))


def sent(
    service: Service, together: Together, query: dict[str, str], headers: dict[str, str]
) -> tuple[dict[str, Any], str]:
    """The answer to the document, and the tag of the register.

    Raises:
        WrongFilesError: naming everything that the service refuses, with its file and line.
    """
    try:
        return sent_document(service, together.document, query, headers)
    except RefusedError as error:
        if not (places := refused_places(error)):
            raise
        problems = [(together.place_of(steps), f"{'/'.join(steps)}: {detail}") for steps, detail in places]
        raise WrongFilesError(problems) from None


def _agreed(service: Service, together: Together) -> dict[str, str]:
    """The condition under which just what was shown is done; raises WaitingError if nobody agrees to it."""
    found, tag = sent(service, together, {"prune": "true", "dry_run": "true"}, {})
    gone = [each for each in found["entries"] if each["outcome"] in _TAKEN_AWAY]
    if gone:
        print(*listed(gone, full=True), sep="\n")
        if not (is_asked() and click.confirm(f"Take {len(gone)} away?")):
            raise WaitingError("nothing is stored; --yes agrees to it")
    return {"If-Match": tag}


def is_asked() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()
