"""Begin a workshop of your own: write a small file of it, with a comment on every figure.

    pugmill begin my-workshop          asks five questions, and writes my-workshop/workshop.yaml and order.yaml
    pugmill begin my-workshop --name 'Tidewater Plastics' --place '1 Quay Road' --currency EUR --kwh 0.32 --hour 22

The file has a person, a tariff, a shredder, a press, two materials, a product, a tax and a price policy. Its figures
are invented, and marked as such; those of money are scaled to what an hour costs. `pugmill register` registers it.
It needs neither a service nor a key, and replaces no file.
"""

import json
import os
import re
import shlex
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal, InvalidOperation
from importlib.resources import files
from pathlib import Path
from typing import Any

import click

from service.client.command import FILE

FILES = ("workshop.yaml", "order.yaml")
_PLACEHOLDER = re.compile(r"<([a-z ]+|[0-9.]+ h)>")
_LOCALE = re.compile(r"[a-z]{2,3}_[A-Z]{2}")
_ZONE = re.compile(r"zoneinfo/(.+)")


def _currency(text: str) -> str:
    if not re.fullmatch("[A-Za-z]{3}", text):
        raise click.BadParameter(f"'{text}' is not a currency; write its three letters, such as EUR")
    return text.upper()


def _amount(text: str) -> str:
    try:
        found = Decimal(text.replace(",", "."))
    except InvalidOperation:
        found = Decimal(-1)
    if not (found.is_finite() and 0 < found < Decimal("1E12")):
        raise click.BadParameter(f"'{text}' is not an amount; write for instance 0.32")
    return f"{found:f}"


def _text(text: str) -> str:
    if not text.strip():
        raise click.BadParameter("it must not be empty")
    return text.strip().replace("\\n", "\n")


_QUESTIONS: dict[str, tuple[str, str | None, Callable[[str], str]]] = {
    "name": ("What is the workshop called?", None, _text),
    "place": ("Where is it? (its address, as on a letter)", None, _text),
    "currency": ("Which currency does it reckon in?", "EUR", _currency),
    "kwh": ("What does a kilowatt-hour cost?", "0.30", _amount),
    "hour": ("What does an hour of work cost, everything included?", "20", _amount),
}


def _checked(_: click.Context, parameter: click.Parameter, text: str | None) -> str | None:
    return None if text is None else _QUESTIONS[str(parameter.name)][2](text)


@click.command(help=__doc__, context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("folder", type=FILE)
@click.option("--name", callback=_checked, help="The workshop's name, as on a quotation.")
@click.option("--place", callback=_checked, help="Its address, as on a letter; \\n for a new line.")
@click.option("--currency", callback=_checked, help="ISO 4217 code of its currency.")
@click.option("--kwh", callback=_checked, help="What a kilowatt-hour costs.")
@click.option("--hour", callback=_checked, help="What an hour of work costs, everything included.")
@click.option("--locale", help="Locale of its papers (default: this machine's, or else en_IE).")
@click.option("--time-zone", help="Its IANA time zone (default: this machine's, or else UTC).")
def begin(folder: Path, locale: str | None, time_zone: str | None, **given: str | None) -> None:
    """Ask what is not given, and write the files."""
    if there := [name for name in FILES if (folder / name).exists()]:
        raise click.ClickException(f"{folder / there[0]} is there already; register it, or name another folder")
    answers = {name: given[name] or _asked(name) for name in _QUESTIONS}
    values = {
        **answers,
        "name": json.dumps(answers["name"], ensure_ascii=False),
        "place": json.dumps(answers["place"], ensure_ascii=False),
        "locale": locale or _locale(),
        "time zone": time_zone or _time_zone(),
        "year": str(datetime.now().astimezone().year),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in FILES:
            template = files("service.client").joinpath("first", name).read_text("utf-8")
            (folder / name).write_text(_PLACEHOLDER.sub(lambda found: _value(found[1], values), template), "utf-8")
    except OSError as error:
        raise click.ClickException(f"{error.filename} cannot be written: {error.strerror}") from None
    click.echo(
        f"{folder / FILES[0]} is written; every figure marked with * is invented. It has no overheads yet, such as"
    )
    click.echo("insurance or your own pay: until you add them, prices do not pay for these. Next:")
    click.echo(f"  pugmill register {shlex.quote(str(folder / FILES[0]))}")


def _asked(name: str) -> str:
    question, usual, check = _QUESTIONS[name]
    try:
        answer: str = click.prompt(question, default=usual, value_proc=check)
    except click.Abort:
        raise click.UsageError(f"--{name} is needed, or an answer to: {question}") from None
    return answer


def _value(placeholder: str, values: dict[str, Any]) -> str:
    """The value of a placeholder; "150 h" is what 150 hours cost, in two digits."""
    if placeholder in values:
        return str(values[placeholder])
    cost = Decimal(placeholder.removesuffix(" h")) * Decimal(values["hour"])
    return f"{cost.quantize(Decimal(1).scaleb(cost.adjusted() - 1)):f}"


def _locale() -> str:
    named = (os.environ.get(name, "") for name in ("LC_ALL", "LC_MESSAGES", "LANG"))
    first = next((found for found in named if found), "").partition(".")[0]
    return first if _LOCALE.fullmatch(first) else "en_IE"


def _time_zone() -> str:
    named = os.environ.get("TZ", "").lstrip(":") or _ZONE.search(os.path.realpath("/etc/localtime"))
    return named if isinstance(named, str) else named[1] if named else "UTC"
