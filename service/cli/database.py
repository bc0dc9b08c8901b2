"""The database that the server's commands use; faults are reported in one line."""

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

import click
import sqlalchemy as sa

from service.config import Settings, SettingsError, settings_from_environment
from service.domain.values.declared import Name, rules_and_type
from service.store.engine.database import Database, UnknownDatabaseError
from service.store.engine.database_faults import MOVED, fault_of
from service.store.engine.schema import SchemaState, schema_state
from service.store.workshop.workshops import Workshop, find_workshop


def settings() -> Settings:
    """The settings of the environment."""
    try:
        return settings_from_environment()
    except SettingsError as error:
        raise click.ClickException(str(error)) from None


def reached_database() -> Database:
    """The database, whatever its schema revision; its connections are closed when the command ends."""
    try:
        database = Database(settings().database_url)
    except UnknownDatabaseError as error:
        raise click.ClickException(str(error)) from None
    command = click.get_current_context()
    command.call_on_close(database.dispose)
    command.with_resource(_faults_in_one_line())
    return database


@contextmanager
def _faults_in_one_line() -> Iterator[None]:
    """Report a fault of the database, or of one of its nodes, in one line with the database's own words."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        fault = fault_of(error)
        if fault is None:
            raise
        said = str(error.orig).partition("\n")[0]
        raise click.ClickException(f"{fault.detail} (the database says: {said})") from None


def current_database() -> Database:
    """The database, checked to be at this version's schema revision and distributed over its nodes, if it has some."""
    database = reached_database()
    state = state_of(database)
    if not state.is_migrated:
        remedy = "run 'pugmill migrate' first" if state.is_known else "install the version that made it"
        raise click.ClickException(f"the database is at revision {state.applied}, not {state.newest}; {remedy}")
    if state.undistributed:
        missing = ", ".join(state.undistributed)
        raise click.ClickException(
            f"the database has several nodes, and these tables are not distributed over them: {missing}; run 'pugmill "
            "distribute' first"
        )
    return database


def state_of(database: Database) -> SchemaState:
    """Its schema revision, compared with the code's."""
    try:
        return schema_state(database)
    except sa.exc.DBAPIError as error:
        if fault_of(error) is MOVED:
            raise click.ClickException(f"{database.file}: {error.orig}; stop the service first") from None
        said = f" (it says: {str(error.orig).partition(chr(10))[0]})"
    except sa.exc.SQLAlchemyError:
        said = ""
    directory = database.file and database.file.absolute().parent
    if directory and not directory.is_dir():
        raise click.ClickException(
            f"the file that DATABASE_URL names is to be in {directory}, which does not exist; make it first"
        )
    raise click.ClickException(f"the database that DATABASE_URL names does not answer{said}")


def require_workshop(database: Database, workshop_id: UUID) -> Workshop:
    """The workshop with this id."""
    with database.reading() as connection:
        found = find_workshop(connection, workshop_id)
    if found is None:
        raise click.ClickException(f"there is no workshop {workshop_id}")
    return found


def one_line(_context: click.Context, _parameter: click.Parameter, value: str) -> str:
    """Checks an option's text for one line, as for names."""
    for rule in rules_and_type(Name)[0]:
        if problem := rule(value):
            raise click.BadParameter(problem)
    return value
