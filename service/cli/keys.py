"""The commands for a workshop's keys: create, list, revoke."""

from uuid import UUID

import click

from service.cli.database import current_database, one_line, require_workshop
from service.workflows.workshop import keys


@click.group()
def key() -> None:
    """Keys of a workshop."""


@key.command("create")
@click.argument("workshop_id", type=click.UUID)
@click.option("--name", required=True, callback=one_line, help="Who or what the key is for.")
@click.option("--read-only", is_flag=True, help="A key that only reads.")
def create_key(workshop_id: UUID, name: str, read_only: bool) -> None:
    """Create a key and print it. It is shown only once."""
    database = current_database()
    require_workshop(database, workshop_id)
    click.echo(keys.create_key(database, workshop_id, name, frozenset({"read"} if read_only else {"read", "write"})))


@key.command("list")
@click.argument("workshop_id", type=click.UUID)
def list_keys(workshop_id: UUID) -> None:
    """List the workshop's keys, oldest first."""
    database = current_database()
    require_workshop(database, workshop_id)
    for each in keys.list_keys(database, workshop_id):
        state = f"revoked {each.revoked_at:%Y-%m-%d}" if each.revoked_at else "open"
        click.echo(f"{each.key_id}  {state:18}  {','.join(sorted(each.scopes)):10}  {each.name}")


@key.command("revoke")
@click.argument("workshop_id", type=click.UUID)
@click.argument("key_id", type=click.UUID)
def revoke_key(workshop_id: UUID, key_id: UUID) -> None:
    """Revoke a key for good."""
    if not keys.revoke_key(current_database(), workshop_id, key_id):
        raise click.ClickException("the workshop has no such key, or it is revoked already")
    click.echo("revoked")
