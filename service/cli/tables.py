"""The command migrate."""

import click

from service.cli.database import reached_database, state_of
from service.store.engine.schema import migrate


@click.command("migrate")
def migrate_command() -> None:
    """Bring the tables up to date; may be repeated."""
    database = reached_database()
    before = state_of(database)
    if not before.is_known:
        raise click.ClickException(
            f"the database is at revision {before.applied}, which this version does not know; install a newer version"
        )
    migrate(database)
    click.echo(f"tables are at revision {state_of(database).applied}")
