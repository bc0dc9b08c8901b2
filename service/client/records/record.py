r"""Record what really happened to a batch, as far as somebody counted.

    pugmill record brick                    asks step by step; what nobody counted is left empty
    pugmill record brick --code 2026-31 --made-on 2026-11-25
    pugmill record batches.csv              the batches of a file, all of them or none
    pugmill record batches.yaml

Each batch has a code of your own. A record that is there already is only replaced with --correct, and as a whole: what
a file does not say of it was then not counted. What it was stays in the audit trail.

In YAML every entry has the members of the service's batch records; those under each_record apply to every one:

    each_record: {product: brick, made_on: 2026-11-25}
    records:
      - {code: 2026-31, good_units: 488, units_started: 520}
      - code: 2026-32
        good_units: 505
        materials: [{material: hdpe-crates, issued: 496}]
        operations: [{operation: extruding, minutes: 1640, scrap: 22}]
        labour: [{labour_grade: operator, hours: 22.5}]
        electricity: [{tariff: grid, meter_begin: 18204, meter_end: 18466}]

In CSV every row is a batch; counts are named like materials/hdpe-crates/issued, operations/extruding/minutes,
labour/operator/hours, electricity/grid/kwh.
"""

import json
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from functools import partial
from http import HTTPStatus
from pathlib import Path
from typing import Any
from urllib.parse import quote

import click

from service.client.command import Options, option, owners_command
from service.client.ends import RefusedError
from service.client.files.exact_yaml import read_yaml
from service.client.http import Service
from service.client.rates import warnings_in
from service.client.records.questions import Question, counted, number, questions, with_answer
from service.client.text.terminal import isolated, paragraph, width
from service.client.text.variances import batch_text

ADDRESS = "/v1/batch-records"
_YAML, _CSV = (".yaml", ".yml"), ".csv"


@owners_command(__doc__)
@click.argument("what", help="A product's code, or a .yaml or .csv file.")
@option("--code", metavar="CODE", help="The batch's code, in place of the one proposed.")
@option("--made-on", metavar="DAY", help="The day it was finished, such as 2026-11-25.")
@option("--correct", is_flag=True, help="Replace what is recorded with these codes.")
def record(service: Service, options: Options) -> None:
    """Record the batches of a file, or ask about one."""
    path = Path(options.what)
    if path.suffix.lower() == _CSV:
        _send_many(service, options, _bytes_of(path), {"Content-Type": "text/csv"})
    elif path.suffix.lower() in _YAML:
        _send_many(service, options, _records_of(path), {})
    else:
        _ask(service, options)


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise RefusedError(f"{path} cannot be read: {error.strerror}") from None


def _records_of(path: Path) -> dict[str, Any]:
    try:
        found = read_yaml(_bytes_of(path).decode("utf-8-sig"))
        if not isinstance(found, dict) or not isinstance(found.get("records"), list):
            raise ValueError("a file of batches must have the member records: a list of them")
    except ValueError as error:
        raise RefusedError(f"{path}: {error}") from None
    usual = found.get("each_record") or {}
    return {"records": [{**usual, **each} if isinstance(each, dict) else each for each in found["records"]]}


def _send_many(service: Service, options: Options, body: Any, headers: dict[str, str]) -> None:
    query = {"correct": "true" if options.correct else "false"}
    done = service.send("POST", ADDRESS, body, headers=headers, query=query).json()
    told = ", ".join(f"{done[name]} {name}" for name in ("recorded", "corrected", "unchanged") if done[name])
    print(f"{options.what}: {told}.")
    for warning in warnings_in(done):
        print("\n".join(paragraph(isolated(warning), width())))


def _ask(service: Service, options: Options) -> None:
    """Ask about one batch, and record it."""
    product = quote(options.what, safe="")
    named = service.send("GET", f"/v1/products/{product}").json()["name"]
    for line in paragraph(f"A batch of {isolated(named)}. Leave empty what nobody counted.", width()):
        click.echo(line)
    made_on = options.made_on or _answer("Made on (day)", _text, datetime.now().astimezone().date().isoformat())
    code = options.code or _answer("Code of the batch", _text, f"{options.what}-{made_on}")
    if not options.correct:
        _check_is_new(service, code)
    found: dict[str, Any] = {"product": options.what, "made_on": made_on}
    found["good_units"] = _answer("Good ones", number)
    if started := _answer("Begun at the first step", _or_nothing(number), ""):
        found["units_started"] = started
    if Decimal(found["good_units"]):
        query = {"quantity": found["good_units"]}
        bill = service.send("GET", f"/v1/products/{product}/bill-of-resources", query=query).json()["bill"]
        _ask_each(found, [*questions(bill)])
    if note := _answer("Anything worth knowing", str, ""):
        found["note"] = note
    _record(service, code, found, is_correction=options.correct)


def _check_is_new(service: Service, code: str) -> None:
    """Raises RefusedError if there is a record with the code, before anything is typed in vain."""
    try:
        service.send("GET", f"{ADDRESS}/{quote(code, safe='')}")
    except RefusedError as error:
        if error.status == HTTPStatus.NOT_FOUND:
            return
        raise
    raise RefusedError(f"there is a record with the code {code}: name another with --code, or --correct it")


def _ask_each(found: dict[str, Any], asked: list[Question]) -> None:
    about = ""
    for question in asked:
        if question.about != about:
            about = question.about
            for line in paragraph(isolated(about), width()):
                click.echo(line)
        answer = _answer(question.prompt, _or_nothing(partial(counted, question)), "")
        if answer:
            with_answer(found, question, answer)


def _text(text: str) -> str:
    if not text.strip():
        raise ValueError("it must not be empty")
    return text.strip()


def _or_nothing(read: Callable[[str], Any]) -> Callable[[str], Any]:
    return lambda text: read(text) if text.strip() else ""


def _answer(question: str, read: Callable[[str], Any], usual: str | None = None) -> Any:
    """The answer to a question, asked again until it is one."""

    def checked(text: str) -> Any:
        try:
            return read(text)
        except ValueError as error:
            raise click.BadParameter(str(error)) from None

    return click.prompt(question, default=usual, show_default=bool(usual), value_proc=checked)


def _record(service: Service, code: str, found: dict[str, Any], *, is_correction: bool) -> None:
    address = f"{ADDRESS}/{quote(code, safe='')}"
    try:
        done = service.send("PUT", address, found, headers={} if is_correction else {"If-None-Match": "*"}).json()
    except RefusedError as error:
        _keep(code, found, error)
        raise
    click.echo(f"Recorded as {code}.")
    try:
        compared = service.send("GET", f"{address}/variances").json()
    except RefusedError as error:
        for told in (*warnings_in(done), f"It cannot be compared yet: {error}"):
            click.echo("\n".join(paragraph(isolated(told), width())))
    else:
        click.echo(f"\n{batch_text(code, compared, width())}")


def _keep(code: str, found: dict[str, Any], error: RefusedError) -> None:
    """Write what was typed into a file, so that it need not be typed again."""
    path = Path(f"{code.replace('/', '-')}.yaml")
    if path.exists():
        return
    text = json.dumps({"records": [{"code": code, **found}]}, indent=2, ensure_ascii=False)  # JSON is YAML
    path.write_text(f"{text}\n", "utf-8")
    there = "There is a record with this code. " if error.status == HTTPStatus.PRECONDITION_FAILED else ""
    told = f"{there}What you typed is in {path}: correct it there, and run pugmill record {path}"
    click.echo("\n".join(paragraph(told, width())))
