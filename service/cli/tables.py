"""The commands migrate and distribute."""

import click

from service.cli.database import reached_database, state_of
from service.store.engine.database import Database
from service.store.engine.distribution import DistributedOtherwiseError, distribute, has_nodes
from service.store.engine.schema import migrate


def _known_database() -> Database:
    """The database, if this version knows its tables."""
    database = reached_database()
    state = state_of(database)
    if not state.is_known:
        raise click.ClickException(
            f"the database is at revision {state.applied}, which this version does not know; install a newer version"
        )
    return database


@click.command("migrate")
def migrate_command() -> None:
    """Bring the tables up to date, and distribute new ones where Citus is; may be repeated."""
    database = _known_database()
    try:
        migrate(database)
    except DistributedOtherwiseError as error:
        raise click.ClickException(str(error)) from None
    click.echo(f"tables are at revision {state_of(database).applied}")


@click.command("distribute")
def distribute_command() -> None:
    """Distribute the tables by workshop over the nodes of a PostgreSQL with the extension Citus; may be repeated."""
    database = _known_database()
    with database.reading() as connection:
        if not has_nodes(connection):
            raise click.ClickException(
                "the database has one node, so there is nothing to distribute: it is not a PostgreSQL with the "
                "extension Citus"
            )
    if not state_of(database).is_migrated:
        raise click.ClickException("the tables are not up to date; run 'pugmill migrate', which distributes them too")
    try:
        names = distribute(database)
    except DistributedOtherwiseError as error:
        raise click.ClickException(str(error)) from None
    click.echo(f"distributed {', '.join(names)}" if names else "every table is distributed already")
