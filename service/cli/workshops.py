"""Workshops, from the command line: made, listed, exported and imported."""

from zoneinfo import ZoneInfo, available_timezones

import click
from babel import Locale

from service.cli.database import current_database, one_line
from service.cli.moving import export_workshop, import_workshop
from service.domain.values.errors import UnknownCurrencyError
from service.domain.values.locales import locale_problem
from service.domain.values.money import minor_unit_decimals
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys


def _currency(_context: click.Context, _parameter: click.Parameter, value: str) -> str:
    try:
        minor_unit_decimals(value)
    except UnknownCurrencyError as error:
        raise click.BadParameter(str(error)) from None
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


@workshop.command("create")
@click.option("--name", required=True, callback=one_line, help="As it stands on a quotation.")
@click.option("--address", default="", help="As it stands on a letter; \\n for a new line.")
@click.option("--currency", required=True, callback=_currency, help="ISO 4217 code in which it reckons.")
@click.option("--locale", default="en", show_default=True, callback=_locale, help="Of its documents.")
@click.option("--time-zone", default="UTC", show_default=True, callback=_time_zone, help="Decides what today is.")
@click.option(
    "--key-name", default="first key", show_default=True, callback=one_line, help="What its first key is called."
)
def create_workshop(name: str, address: str, currency: str, locale: str, time_zone: str, key_name: str) -> None:
    """Make a workshop and its first key, and print the key: it is shown this once only."""
    lines = address.replace("\\n", "\n")
    made = new_workshop(name=name, address=lines, currency=currency, locale=locale, time_zone=time_zone)
    key = keys.create_workshop(current_database(), made, key_name)
    click.echo(f"workshop {made.workshop_id}", err=True)
    click.echo(key)


workshop.add_command(export_workshop)
workshop.add_command(import_workshop)


@workshop.command("list")
def list_workshops() -> None:
    """The workshops, oldest first, each with the id by which the other commands name it."""
    for each in keys.list_workshops(current_database()):
        click.echo(f"{each.workshop_id}  {each.currency}  {each.locale:6}  {each.name}")
