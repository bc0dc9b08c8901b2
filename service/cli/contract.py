"""The command openapi."""

from dataclasses import replace

import click

from service.api.contract.document import ANSWERS
from service.api.operating.documentation import contract
from service.app import create_app
from service.beside import beside
from service.cli.database import settings
from service.cli.recording import recorded, written

CONTRACT = beside("openapi") / "openapi.yaml"


@click.command("openapi")
@click.option("--check", is_flag=True, help="Write nothing; exit 1 if the committed contract differs.")
def openapi(check: bool) -> None:
    """Record the answers to its examples and write the contract to openapi/openapi.yaml, or check the latter."""
    if not check:
        ANSWERS.write_text(written(recorded()), "utf-8")
    without_database = replace(settings(), database_url="sqlite://")
    text = contract(create_app(without_database).extensions["pugmill.api"])
    if not check:
        CONTRACT.write_text(text)
        click.echo(f"wrote {CONTRACT.name} and {ANSWERS.name}")
    elif not CONTRACT.exists() or CONTRACT.read_text() != text:
        raise click.ClickException("openapi/openapi.yaml does not match the code; run 'pugmill openapi'")
    else:
        click.echo("the contract matches the code")
