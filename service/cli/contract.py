"""The command openapi."""

from dataclasses import replace

import click

from service.api.operating.documentation import contract
from service.app import create_app
from service.beside import beside
from service.cli.database import settings

CONTRACT = beside("openapi") / "openapi.yaml"


@click.command("openapi")
@click.option("--check", is_flag=True, help="Write nothing; exit 1 if the committed contract differs.")
def openapi(check: bool) -> None:
    """Write the contract to openapi/openapi.yaml, or check that it matches the code."""
    without_database = replace(settings(), database_url="sqlite://")
    text = contract(create_app(without_database).extensions["pugmill.api"])
    if not check:
        CONTRACT.write_text(text)
        click.echo(f"wrote {CONTRACT.name}")
    elif not CONTRACT.exists() or CONTRACT.read_text() != text:
        raise click.ClickException("openapi/openapi.yaml does not match the code; run 'pugmill openapi'")
    else:
        click.echo("the contract matches the code")
