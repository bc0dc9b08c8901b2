"""The command line: tables, workshops, keys, the server, the contract."""

import gc
import os
import sys
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import UUID
from zoneinfo import ZoneInfo, available_timezones

import click
from babel import Locale
from granian import Granian
from granian.constants import HTTPModes, Interfaces, Loops
from granian.http import HTTP1Settings

from service.api.health import contract
from service.api.logs import SERVER_LOGS, configure
from service.api.metrics import DIRECTORY as METRICS_DIRECTORY
from service.app import create_app
from service.arrivals import TABLE_BYTES
from service.cli_backup import backup, restore
from service.cli_database import current_database, one_line, reached_database, require_workshop, settings, state_of
from service.cli_moving import export_workshop, import_workshop
from service.config import ARRIVALS_VARIABLE, DEFAULT_HOST, DEFAULT_PORT, DEFAULT_WORKERS, settings_from_environment
from service.domain.errors import UnknownCurrencyError
from service.domain.locales import locale_problem
from service.domain.money import minor_unit_decimals
from service.serving import Front
from service.store.schema import migrate
from service.store.workshops import new_workshop
from service.workflows import keys, quotations

THREADS = 2
"""Of a worker: enough that one slow answer does not hold up the others, and fewer than the database pool has."""
HEADER_SECONDS = 10
"""In which a client has to send a request's header, or an open connection its next request."""
STOP_SECONDS = 60
"""In which requests that are under way when the service is stopped are finished; then a worker is killed."""
MAX_CONNECTIONS = 800
"""Of a worker at once: fewer than the files that a process may usually have open, which is 1,024."""
GARBAGE_THRESHOLD = 20_000
CONTRACT = Path(__file__).resolve().parents[1] / "openapi" / "openapi.yaml"


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pugmill")
def main() -> None:
    """Pugmill: what a workshop's product costs, what to ask for it, and quotations. DATABASE_URL names the database."""


@main.command("migrate")
def migrate_command() -> None:
    """Bring the tables up to date; twice does no harm."""
    database = reached_database()
    before = state_of(database)
    if not before.is_known:
        raise click.ClickException(
            f"the database is at revision {before.applied}, which this version does not know; install a newer version"
        )
    migrate(database)
    click.echo(f"tables are at revision {state_of(database).applied}")


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


@main.group()
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


@main.group()
def key() -> None:
    """Keys of a workshop."""


@key.command("create")
@click.argument("workshop_id", type=click.UUID)
@click.option("--name", required=True, callback=one_line, help="Who or what it is given to.")
@click.option("--read-only", is_flag=True, help="It may read, and nothing else.")
def create_key(workshop_id: UUID, name: str, read_only: bool) -> None:
    """Make another key and print it: it is shown this once only."""
    database = current_database()
    require_workshop(database, workshop_id)
    click.echo(keys.create_key(database, workshop_id, name, frozenset({"read"} if read_only else {"read", "write"})))


@key.command("list")
@click.argument("workshop_id", type=click.UUID)
def list_keys(workshop_id: UUID) -> None:
    """The workshop's keys, oldest first."""
    database = current_database()
    require_workshop(database, workshop_id)
    for each in keys.list_keys(database, workshop_id):
        state = f"revoked {each.revoked_at:%Y-%m-%d}" if each.revoked_at else "open"
        click.echo(f"{each.key_id}  {state:18}  {','.join(sorted(each.scopes)):10}  {each.name}")


@key.command("revoke")
@click.argument("workshop_id", type=click.UUID)
@click.argument("key_id", type=click.UUID)
def revoke_key(workshop_id: UUID, key_id: UUID) -> None:
    """Close a key for good."""
    if not keys.revoke_key(current_database(), workshop_id, key_id):
        raise click.ClickException("there is no such open key")
    click.echo("revoked")


@main.command("recompute-quotations")
@click.argument("workshop_id", type=click.UUID)
def recompute_quotations(workshop_id: UUID) -> None:
    """Compute every quotation again from what was stored with it; exit 1 if any figure differs."""
    database = current_database()
    found = require_workshop(database, workshop_id)
    checked = differing = 0
    for recomputation in quotations.recompute_all(database, found):
        checked += 1
        if not recomputation.agrees:
            differing += 1
            click.echo(f"{recomputation.number or recomputation.id} differs", err=True)
    click.echo(f"{checked} checked, {differing} differ")
    sys.exit(1 if differing else 0)


@main.command("serve")
@click.option("--host", default=DEFAULT_HOST, show_default=True)
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=DEFAULT_WORKERS, show_default=True, type=click.IntRange(1, 64))
def serve(host: str, port: int, workers: int) -> None:
    """Answer HTTP until stopped; refuses to start on tables it does not know."""
    current_database()
    with TemporaryDirectory(prefix="pugmill-") as directory:
        table = Path(directory) / "arrivals"
        table.write_bytes(bytes(TABLE_BYTES))
        os.environ[ARRIVALS_VARIABLE] = str(table)
        figures = Path(directory) / "metrics"
        figures.mkdir()
        os.environ[METRICS_DIRECTORY] = str(figures)
        _serve(host, port, workers)


def _serve(host: str, port: int, workers: int) -> None:
    Granian(
        "service.cli:application",
        address=host,
        port=port,
        interface=Interfaces.RSGI,
        workers=workers,
        backpressure=MAX_CONNECTIONS,
        workers_kill_timeout=STOP_SECONDS,
        http1_settings=HTTP1Settings(header_read_timeout=HEADER_SECONDS * 1000),
        http=HTTPModes.http1,
        loop=Loops.asyncio,
        factory=True,
        websockets=False,
        log_access=False,
        log_dictconfig=SERVER_LOGS,
    ).serve()


def application() -> Front:
    """The application of one worker, as the server calls it."""
    given = settings_from_environment()
    configure(given.log_level)
    app = create_app(given)
    # What was made so far stays for good: looking through it for garbage again and again costs every answer a share.
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE_THRESHOLD)
    return Front(app, threads=THREADS, seconds=given.time_limit)


@main.command("openapi")
@click.option("--check", is_flag=True, help="Write nothing; exit 1 if the committed contract differs.")
def openapi(check: bool) -> None:
    """Write the contract to openapi/openapi.yaml, or check that it is what the code says."""
    without_database = replace(settings(), database_url="sqlite://")
    text = contract(create_app(without_database).extensions["pugmill.api"])
    if not check:
        CONTRACT.write_text(text)
        click.echo(f"wrote {CONTRACT.name}")
    elif not CONTRACT.exists() or CONTRACT.read_text() != text:
        raise click.ClickException("openapi/openapi.yaml is not what the code says; run 'pugmill openapi'")
    else:
        click.echo("the contract is what the code says")


main.add_command(backup)
main.add_command(restore)

if __name__ == "__main__":
    main()
