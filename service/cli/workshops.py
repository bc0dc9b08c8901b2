"""The commands for workshops: create, list, storage, export, import; and set, which uses a running service."""

import sys
from decimal import Decimal
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo, available_timezones

import click
from babel import Locale

from service.cli.database import current_database, one_line, require_workshop, settings
from service.cli.moving import export_workshop, import_workshop
from service.client.commands.workshop import set_workshop
from service.client.files.exact_yaml import read_yaml
from service.domain.values.forms import locale_problem
from service.domain.values.money import currency_problem
from service.store.engine.database import Database
from service.store.engine.metering import Stored
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys, storage


def _currency(_context: click.Context, _parameter: click.Parameter, value: str) -> str:
    if (problem := currency_problem(value)) is not None:
        raise click.BadParameter(problem)
    return value


def _locale(_context: click.Context, _parameter: click.Parameter, value: str) -> str:
    if locale_problem(value) is not None:
        raise click.BadParameter(f"{value} is not a CLDR locale, such as en_IE")
    return str(Locale.parse(value))


def _time_zone(_context: click.Context, _parameter: click.Parameter, value: str) -> str:
    if value not in available_timezones():
        raise click.BadParameter(f"{value} is not an IANA time zone, such as Europe/Dublin")
    return ZoneInfo(value).key


@click.group()
def workshop() -> None:
    """Workshops."""


def _read(context: click.Context, parameter: click.Parameter, path: Path | None) -> None:
    """Take what the file says of the workshop as the defaults of the other options."""
    if path is None:
        return
    try:
        described = read_yaml(path.read_text("utf-8-sig"))["workshop"]
        found = {str(name).replace("-", "_"): str(value) for name, value in described.items()}
    except (OSError, ValueError) as error:
        raise click.BadParameter(f"{path}: {error}", context, parameter) from None
    except (TypeError, KeyError, AttributeError):
        raise click.BadParameter(f"{path} has no section `workshop` with its name, currency …") from None
    context.default_map = {**found, **(context.default_map or {})}


@workshop.command("create")
@click.option(
    "--file",
    type=click.Path(dir_okay=False, path_type=Path),
    callback=_read,
    expose_value=False,
    help="A file of the workshop, for `pugmill register`: its section `workshop` has what no option says.",
)
@click.option("--name", required=True, callback=one_line, help="Name, as on a quotation.")
@click.option("--address", default="", help="Address, as on a letter; \\n for a new line.")
@click.option("--currency", required=True, callback=_currency, help="ISO 4217 code of its currency.")
@click.option("--locale", default="en", show_default=True, callback=_locale, help="Locale of its documents.")
@click.option("--time-zone", default="UTC", show_default=True, callback=_time_zone, help="IANA time zone.")
@click.option("--key-name", default="first key", show_default=True, callback=one_line, help="Name of its first key.")
@click.option("--same-name", is_flag=True, help="Create it even if there is one of this name.")
def create_workshop(key_name: str, *, same_name: bool, **facts: str) -> None:
    """Create a workshop and its first key, and print the key. It is shown only once."""
    facts["address"] = facts["address"].replace("\\n", "\n")
    made, database = new_workshop(**facts), current_database()
    if not same_name:
        _confirm_name(database, made.name)
    key = keys.create_workshop(database, made, key_name)
    click.echo(f"workshop {made.workshop_id}", err=True)
    click.echo(key)


def _confirm_name(database: Database, name: str) -> None:
    """Ask whether another workshop of the name is meant; refuse it where nobody can be asked."""
    there = [each for each in keys.list_workshops(database) if each.name.casefold() == name.casefold()]
    if not there:
        return
    told = f"there is a workshop of this name already: {', '.join(str(each.workshop_id) for each in there)}"
    if not sys.stdin.isatty():
        raise click.ClickException(f"{told}; 'pugmill key create' makes a key to it, --same-name another workshop")
    click.confirm(f"{told}\nCreate another one?", abort=True, err=True)


workshop.add_command(set_workshop, "set")
workshop.add_command(export_workshop)
workshop.add_command(import_workshop)


@workshop.command("list", short_help="List the workshops with their ids.")
def list_workshops() -> None:
    """List the workshops, oldest first, each with the id that other commands take."""
    database = current_database()
    stored = storage.storage_in_use(database)
    for each in keys.list_workshops(database):
        used = _told(stored.get(each.workshop_id, Stored(0, 0)))
        click.echo(f"{each.workshop_id}  {each.currency}  {each.locale:6}  {used}  {each.name}")


def _told(stored: Stored) -> str:
    return f"{stored.rows:>10,} rows  {Decimal(stored.size_bytes) / 1_000_000:>8,.1f} MB"


@workshop.command("storage", short_help="What the workshop stores, by table.")
@click.argument("workshop_id", type=click.UUID)
def show_storage(workshop_id: UUID) -> None:
    """What the workshop stores, by table, counted anew from its rows, and what it may store."""
    database, given = current_database(), settings()
    require_workshop(database, workshop_id)
    found = storage.recount(database, workshop_id)
    for table, stored in sorted(found.items(), key=lambda each: each[1].size_bytes, reverse=True):
        click.echo(f"{table:20}  {_told(stored)}")
    rows, size = (sum(each) for each in zip(*found.values(), strict=True))
    click.echo(f"{'together':20}  {_told(Stored(rows, size))}")
    most = (("rows", given.quota_rows), ("MB", given.quota_megabytes))
    click.echo(f"{'at most':20}  " + "  ".join(f"{_limit(number):>10} {unit}" for unit, number in most))


def _limit(number: int | None) -> str:
    return "any" if number is None else f"{number:,}"
