"""The commands backup and restore."""

import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import sqlalchemy as sa

from service.cli.database import reached_database
from service.store.engine.database import Database
from service.store.engine.sqlite_files import Holding, InUseElsewhereError, UnusableFileError
from service.workflows.workshop import backups
from service.workflows.workshop.backups import OccupiedError, ServerDatabaseError

_FILE = click.Path(dir_okay=False, path_type=Path)
_EXISTING = click.Path(exists=True, dir_okay=False, path_type=Path)


def _libpq_address(database: Database) -> str:
    """The address without the password, which every user of the machine could see on a command line."""
    url = database.engine.url
    shown = sa.URL.create("postgresql", url.username, None, url.host, url.port, url.database, url.query)
    return shlex.quote(shown.render_as_string())


def _dump_command(database: Database, path: Path) -> str:
    return f"pg_dump --format=custom --file={shlex.quote(str(path))} --dbname={_libpq_address(database)}"


def _restore_command(database: Database, path: Path) -> str:
    return (
        "pg_restore --exit-on-error --single-transaction --no-owner "
        f"--dbname={_libpq_address(database)} {shlex.quote(str(path))}"
    )


@contextmanager
def _told_in_one_line(remedy: str, server_command: str) -> Iterator[None]:
    try:
        yield
    except ServerDatabaseError as error:
        raise click.ClickException(f"{error}: use PostgreSQL's own programs, here\n{server_command}") from None
    except OccupiedError as error:
        raise click.ClickException(f"{error}; {remedy}") from None
    except (UnusableFileError, InUseElsewhereError) as error:
        raise click.ClickException(str(error)) from None
    except OSError as error:
        raise click.ClickException(f"{error.filename}: {error.strerror}") from None


def _told(holding: Holding) -> str:
    return (
        f"workshops {holding.workshops}, rows {holding.rows}, revision {holding.revision}, "
        f"bytes {holding.size_bytes}\nsha256 {holding.sha256}"
    )


@click.command("backup")
@click.argument("path", metavar="FILE", type=_FILE)
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
def backup(path: Path, force: bool) -> None:
    """Back up a SQLite database to FILE while the service runs, and check the copy."""
    database = reached_database()
    with _told_in_one_line("give --force to overwrite it", _dump_command(database, path)):
        holding = backups.back_up(database, path, overwrites=force)
    click.echo(f"{path}\n{_told(holding)}")


@click.command("restore")
@click.argument("path", metavar="FILE", type=_EXISTING)
@click.option("--replace", is_flag=True, help="Replace an existing database, which is kept beside it.")
def restore(path: Path, replace: bool) -> None:
    """Restore the backup FILE as the SQLite database, while nobody uses it."""
    database = reached_database()
    with _told_in_one_line("give --replace to have it set aside", _restore_command(database, path)):
        done = backups.restore(database, path, replaces=replace)
    click.echo(f"{done.place}\n{_told(done.holding)}")
    if done.replaced is not None:
        click.echo(f"the old database is kept as {done.replaced}")
    click.echo("run 'pugmill migrate', then start the service")
