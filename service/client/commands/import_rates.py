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
empty value removes a member; a list named in the file is replaced as a whole. Wrong lines are reported by number
before anything is stored. The command can be repeated: rates already stored stay unchanged.
"""

from collections.abc import Iterator
from http import HTTPStatus

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import OutOfReachError, RefusedError
from service.client.files.new_file import csv_bytes, new_file
from service.client.files.rate_file import FileRate, WrongLinesError, read_file
from service.client.http import Service
from service.client.members import PathError, steps_of
from service.client.progress import each_shown
from service.client.rates import Rates, Terms, new_terms, outcome_of, put_rate, read_rates, terms_in_force
from service.client.repricing import ADDRESS
from service.client.text.terminal import table, width

_TOGETHER = 200
_NEVER = "2999-12-31"
_DONE = ("new", "replaced", "unchanged")
_COLUMNS = ("lines", "resource", "valid_from", "outcome", "problem")


class Import:
    """A rate of the file, and the outcome of storing it.

    Attributes:
        rate: the rate in the file.
        rates: the rates of the resource as read from the service.
        terms: the terms to store.
        outcome: new, replaced or unchanged; or not stored, not known or not sent.
        problem: why, if it is one of the last three.
        warnings: what looks implausible about the terms.
    """

    def __init__(self, rate: FileRate, rates: Rates, terms: Terms) -> None:
        self.rate, self.rates, self.terms = rate, rates, terms
        self.outcome = outcome_of(rates, rate.valid_from, terms)
        self.problem = ""
        self.warnings: list[str] = []

    def record(self) -> tuple[str, ...]:
        """A row of the table."""
        return (self.rate.numbers(), self.rate.resource, self.rate.valid_from, self.outcome, self.problem)


@owners_command(__doc__)
@click.argument("file", metavar="FILE", type=FILE, help="The CSV file.")
@option("--dry-run", is_flag=True, help="Show the outcome of each rate; store nothing.")
@option("--csv", metavar="FILE", type=FILE, help="Write the outcome of each rate to this file, too.")
def import_rates(service: Service, options: Options) -> None:
    """Read the file, have the service check it, then store one rate after another."""
    wanted = read_file(options.file)
    failure: BaseException | None = None
    with new_file(options.csv) as file:
        imports = worked_out(service, wanted)
        check(service, imports)
        if not options.dry_run:
            failure = store(service, imports)
        imports.sort(key=lambda each: min(each.rate.lines.values()))
        if file is not None:
            file.write(csv_bytes(_COLUMNS, (each.record() for each in imports)))
    print(text_of(imports, options))
    if isinstance(failure, RefusedError):
        missing = sum(each.outcome not in _DONE for each in imports)
        raise type(failure)(f"{missing} of {len(imports)} rates are not stored; run it again once that is mended")
    if failure:
        raise failure


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
            problems.append((rate.line_of(()), f"resource: there is no {rate.resource} with rates"))
    if problems:
        raise WrongLinesError(problems)
    return imports


def check(service: Service, imports: list[Import]) -> None:
    """Have the service check all terms, as what-if rates, before the first is stored.

    Raises:
        WrongLinesError: if it refuses any.
    """
    waiting = sorted((each for each in imports if each.outcome != "unchanged"), key=lambda each: each.rate.valid_from)
    batches = each_shown([*_batches(waiting)], "checking")
    problems = [problem for batch in batches for problem in _problems(service, batch)]
    if problems:
        raise WrongLinesError(problems)


def _batches(imports: list[Import]) -> Iterator[dict[str, Import]]:
    """All imports in batches of one first day, with no resource twice."""
    batch: dict[str, Import] = {}
    for each in imports:
        is_other_day = any(other.rate.valid_from != each.rate.valid_from for other in batch.values())
        if is_other_day or each.rate.resource in batch or len(batch) == _TOGETHER:
            yield batch
            batch = {}
        batch[each.rate.resource] = each
    if batch:
        yield batch


def _problems(service: Service, batch: dict[str, Import]) -> list[tuple[int, str]]:
    """What the service refuses in the terms, by line."""
    terms = {resource: each.terms for resource, each in batch.items()}
    # A preview without listings, on the first day: a currency may have ended since then.
    day = next(iter(batch.values())).rate.valid_from
    supposed = {"rates": terms, "as_of": day, "scope": {"changed_since": _NEVER}}
    try:
        service.send("POST", ADDRESS, supposed, query={"limit": 1})
    except RefusedError as error:
        if error.problem.get("type", "").endswith("/nothing-priced"):
            return []  # the terms are right; on that day other rates are missing
        errors = error.problem.get("errors", ())
        places = [steps_of(each.get("pointer", "")) for each in errors]
        if not places or not all(_is_of(batch, place) for place in places):
            raise
        return [
            (batch[resource].rate.line_of(path), f"{'/'.join(path) or resource}: {each['detail']}")
            for each, (_, resource, *path) in zip(errors, places, strict=True)
        ]
    return []


def _is_of(batch: dict[str, Import], place: list[str]) -> bool:
    match place:
        case ["rates", resource, *_]:
            return resource in batch
    return False


def store(service: Service, imports: list[Import]) -> BaseException | None:
    """Store one rate after another; a refusal does not stop the others, but a missing answer does.

    Returns:
        The error, if not all were stored.
    """
    failure: BaseException | None = None
    for each in each_shown(imports, "storing"):
        try:
            if isinstance(failure, OutOfReachError | KeyboardInterrupt):
                each.outcome = "unchanged" if each.outcome == "unchanged" else "not sent"
            else:
                each.outcome, each.warnings = put_rate(
                    service, each.rate.resource, each.rate.valid_from, each.terms, each.rates
                )
        except (RefusedError, KeyboardInterrupt) as error:
            is_silent = isinstance(error, KeyboardInterrupt) or error.status is None
            each.outcome, each.problem = "not known" if is_silent else "not stored", str(error) or "interrupted"
            failure = error
    return failure


def text_of(imports: list[Import], options: Options) -> str:
    """The outcome of each rate, and the number of each outcome."""
    rows = [each.record()[:4] for each in imports]
    beside = ("\n".join(filter(None, [each.problem, *each.warnings])) for each in imports)
    lines = table([_COLUMNS[:4], *rows], width(), 0, ["", *beside])
    counts = {outcome: sum(each.outcome == outcome for each in imports) for *_, outcome in rows}
    told = ", ".join(f"{number} {outcome}" for outcome, number in counts.items())
    return "\n".join([*lines, "", f"{options.file}: {told}{'; nothing is stored' if options.dry_run else ''}"])
