"""The commands that export and import a workshop."""

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import IO
from uuid import UUID

import click

from service.cli.database import current_database, one_line, require_workshop
from service.whole_file import whole_file
from service.workflows.workshop import moving


@click.command("export")
@click.argument("workshop_id", type=click.UUID)
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), help="File (default: standard output).")
def export_workshop(workshop_id: UUID, output: Path | None) -> None:
    """Write all data of a workshop as JSON, without its keys."""
    database = current_database()
    require_workshop(database, workshop_id)
    parts = moving.export_workshop(database, workshop_id)
    if output is None:
        _write(parts, sys.stdout.buffer)
        return
    try:
        with whole_file(output) as beside, beside.open("wb") as file:
            _write(parts, file)
    except OSError as error:
        raise click.ClickException(f"{error.filename}: {error.strerror}") from None


def _write(parts: Iterable[bytes], file: IO[bytes]) -> None:
    for part in parts:
        file.write(part)
    file.flush()


@click.command("import")
@click.argument("path", metavar="FILE", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--key-name", default="first key", show_default=True, callback=one_line, help="Name of its first key here."
)
def import_workshop(path: Path, key_name: str) -> None:
    """Import a workshop exported elsewhere, and print its first key. It is shown only once."""
    database = current_database()
    try:
        document = json.loads(path.read_bytes())
        key = moving.import_workshop(database, document, key_name)
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError):
        raise click.ClickException(f"{path} is not JSON") from None
    except moving.UnfitDocumentError as error:
        raise click.ClickException(f"{path}: {error}") from None
    click.echo(key)
