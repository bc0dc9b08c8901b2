"""The command recompute-quotations."""

import sys
from uuid import UUID

import click

from service.cli.database import current_database, require_workshop
from service.domain.audit import COMMAND_LINE
from service.workflows.quoting import quotations
from service.workflows.workspace import Workspace


@click.command("recompute-quotations")
@click.argument("workshop_id", type=click.UUID)
def recompute_quotations(workshop_id: UUID) -> None:
    """Recompute every quotation from its stored basis; exit with 1 if any figure differs."""
    database = current_database()
    found = require_workshop(database, workshop_id)
    whole = Workspace(database=database, workshop=found, actor=COMMAND_LINE)
    checked = differing = 0
    for recomputation in quotations.recompute_all(whole):
        checked += 1
        if not recomputation.agrees:
            differing += 1
            click.echo(f"{recomputation.number or recomputation.id} differs", err=True)
    click.echo(f"{checked} checked, {differing} differ")
    sys.exit(1 if differing else 0)
