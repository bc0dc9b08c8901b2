"""Import rates from a CSV file: what materials, electricity, labour, fees and so on cost from a day on.

    pugmill import-rates prices.csv --dry-run           what it would change; checked by the service, nothing stored
    pugmill import-rates prices.csv --csv outcome.csv   imports it; the outcome of each rate as a table and a file

The file is CSV in UTF-8 with a header. Each line has one member of a rate; the order of lines does not matter:

    resource,valid_from,member,value,currency
    materials/hdpe-flakes,2026-12-01,price,0.78,EUR
    tariffs/grid,2026-12-01,price_per_kwh/day,0.39,EUR
    tariffs/grid,2026-12-01,price_per_kwh/night,0.24,EUR
    taxes/standard,2027-01-01,rate_share,0.21,
    channels/quay-market,2027-01-01,fees[0]/name,commission,
    channels/quay-market,2027-01-01,fees[0]/share,0.11,

Members have the names of the service's members; nested ones follow a slash, and list entries are numbered from [0].
An amount of money has a currency. Members that the file does not name stay as in the rate in force on that day; an
empty value removes a member; a list named in the file is replaced as a whole. Wrong lines are reported by number. All
rates are stored or none, and only if nothing was changed meanwhile. The command can be repeated: rates already stored
stay unchanged.
"""

from http import HTTPStatus
from typing import Any

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import RefusedError
from service.client.files.new_file import csv_bytes, new_file
from service.client.files.rate_file import FileRate, WrongLinesError, read_file
from service.client.http import Service
from service.client.members import PathError
from service.client.progress import each_shown
from service.client.rates import (
    Rates,
    Terms,
    new_terms,
    outcome_in,
    outcome_of,
    read_rates,
    terms_in_force,
    warnings_in,
)
from service.client.register import refused_places, register_tag, sent_document
from service.client.text.terminal import table, width

_COLUMNS = ("lines", "resource", "valid_from", "outcome")


class Import:
    """A rate of the file, and the outcome of storing it.

    Attributes:
        rate: the rate in the file.
        terms: the terms to store.
        outcome: new, replaced or unchanged.
        warnings: what looks implausible about the terms.
    """

    def __init__(self, rate: FileRate, rates: Rates, terms: Terms) -> None:
        self.rate, self.terms = rate, terms
        self.outcome = outcome_of(rates, rate.valid_from, terms)
        self.warnings: list[str] = []

    def record(self) -> tuple[str, ...]:
        """A row of the table."""
        return (self.rate.numbers(), self.rate.resource, self.rate.valid_from, self.outcome)


@owners_command(__doc__)
@click.argument("file", metavar="FILE", type=FILE, help="The CSV file.")
@option("--dry-run", is_flag=True, help="Show the outcome of each rate; store nothing.")
@option("--csv", metavar="FILE", type=FILE, help="Write the outcome of each rate to this file, too.")
def import_rates(service: Service, options: Options) -> None:
    """Read the file, work the terms out from those in force, and store all of them together."""
    wanted = read_file(options.file)
    with new_file(options.csv) as file:
        tag = register_tag(service)
        imports = worked_out(service, wanted)
        store(service, imports, tag, is_dry_run=options.dry_run)
        imports.sort(key=lambda each: min(each.rate.lines.values()))
        if file is not None:
            file.write(csv_bytes(_COLUMNS, (each.record() for each in imports)))
    print(text_of(imports, options))


def worked_out(service: Service, wanted: list[FileRate]) -> list[Import]:
    """The terms of each rate, from the file and the terms in force.

    Raises:
        WrongLinesError: if a resource is not registered, or there can be no member at a path.
    """
    read: dict[str, Rates] = {}
    imports: list[Import] = []
    problems: list[tuple[int, str]] = []
    for rate in each_shown(wanted, "reading"):
        try:
            rates = read.get(rate.resource) or read_rates(service, rate.resource)
            terms = new_terms(terms_in_force(rates, rate.valid_from), rate.changes)
            imports.append(Import(rate, rates, terms))
            read[rate.resource] = {**rates, rate.valid_from: terms}
        except PathError as error:
            problems.append((rate.line_of(error.path or ()), f"member: {error}"))
        except RefusedError as error:
            if error.status != HTTPStatus.NOT_FOUND:
                raise
            _, is_near, meant = str(error.problem.get("detail")).partition("; did you mean ")
            near = f"{is_near}{meant}"
            problems.append((rate.line_of(()), f"resource: there is no {rate.resource} with rates{near}"))
    if problems:
        raise WrongLinesError(problems)
    return imports


def store(service: Service, imports: list[Import], tag: str, *, is_dry_run: bool) -> None:
    """Store all terms that are not there yet, if nothing has changed since the register had this tag.

    Raises:
        WrongLinesError: if the service refuses any; then none is stored.
    """
    waiting = {(each.rate.resource, each.rate.valid_from): each for each in imports if each.outcome != "unchanged"}
    if not waiting:
        return
    document: dict[str, Any] = {}
    for (resource, day), each in waiting.items():
        collection, _, code = resource.partition("/")
        entry = document.setdefault(collection, {}).setdefault(code, {"rates": {}})
        entry["rates"][day] = each.terms
    try:
        answer, _ = sent_document(service, document, {"dry_run": "true"} if is_dry_run else {}, {"If-Match": tag})
    except RefusedError as error:
        if not (places := refused_places(error)):
            raise
        raise WrongLinesError([_line(waiting, steps, detail) for steps, detail in places]) from None
    for entry in answer["entries"]:
        resource, _, day = entry["subject"].partition("/rates/")
        stored = waiting[resource, day]
        stored.outcome = outcome_in(entry)
        stored.warnings = warnings_in(entry)


def _line(waiting: dict[tuple[str, str], Import], steps: list[str], detail: str) -> tuple[int, str]:
    """The line of a refusal, with the member that it is about."""
    collection, code, *path = steps
    resource, day = f"{collection}/{code}", "".join(path[1:2])
    found = waiting.get((resource, day)) or next(each for (name, _), each in waiting.items() if name == resource)
    return found.rate.line_of(path[2:]), f"{'/'.join(path[2:]) or resource}: {detail}"


def text_of(imports: list[Import], options: Options) -> str:
    """The outcome of each rate, and the number of each outcome."""
    rows = [each.record() for each in imports]
    lines = table([_COLUMNS, *rows], width(), 0, ["", *("\n".join(each.warnings) for each in imports)])
    counts = {outcome: sum(each.outcome == outcome for each in imports) for *_, outcome in rows}
    told = ", ".join(f"{number} {outcome}" for outcome, number in counts.items())
    return "\n".join([*lines, "", f"{options.file}: {told}{'; nothing is stored' if options.dry_run else ''}"])
