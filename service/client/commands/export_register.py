"""Export what the workshop has registered, as a file for `pugmill register`.

    pugmill export-register                         everything, in YAML, on the screen
    pugmill export-register --output workshop.yaml  a file, written completely or not at all
    pugmill export-register --collection materials  only some collections (may be repeated)
    pugmill export-register --output w.yaml --dry-run  how many entries; writes no file

It has every collection with all dated rates, and the exchange rates entered by hand; what has its default is left out.
Registering it again changes nothing, and registering it elsewhere makes the same workshop there. Quotations, prices in
force and keys are not in it; `pugmill workshop export` has them.
"""

import re
from typing import Any

import click
import yaml

from service.client.command import FILE, Options, option, owners_command
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.members import without_nothing
from service.client.progress import waiting_shown
from service.client.register import ADDRESS
from service.nearest import did_you_mean

_AS_WRITTEN = re.compile(r"-?(?:0|[1-9][0-9]*)\.[0-9]+|[0-9]{4}-[0-9]{2}-[0-9]{2}")
"""Decimals and days, which `pugmill register` reads as they are written, without quotes."""
_COLUMNS = 100


class _Dumper(yaml.SafeDumper):
    """Writes decimals and days without quotes."""


def _written(dumper: _Dumper, text: str) -> yaml.ScalarNode:
    if not _AS_WRITTEN.fullmatch(text):
        return dumper.represent_str(text)
    kind = "float" if "." in text else "timestamp"
    return dumper.represent_scalar(f"tag:yaml.org,2002:{kind}", text)


_Dumper.add_representer(str, _written)


@owners_command(__doc__)
@option("--output", metavar="FILE", type=FILE, help="Write it to this file (default: standard output).")
@option("--collection", metavar="NAME", multiple=True, help="Only this collection; may be repeated.")
@option("--dry-run", is_flag=True, help="Count the entries and write no file.")
def export_register(service: Service, options: Options) -> None:
    """Fetch the register, and write it as YAML."""
    is_written = options.output is not None and not options.dry_run
    with new_file(options.output if is_written else None) as file:
        register = _chosen(_fetched(service), options.collection)
        text = yaml.dump(register, Dumper=_Dumper, allow_unicode=True, sort_keys=False, width=_COLUMNS)
        if file is not None:
            file.write(text.encode())
    if options.output is None and not options.dry_run:
        print(text, end="")
        return
    entries = sum(map(len, register.values()))
    print(f"{options.output or 'the register'}: {entries} entries{'' if is_written else ', not written'}")


def _fetched(service: Service) -> dict[str, Any]:
    with waiting_shown("reading the register"):
        answer = service.send("GET", ADDRESS, is_long=True)
    found: dict[str, Any] = service.data(answer)
    return found


def _chosen(register: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """The collections wanted, with what they have."""
    if unknown := sorted(set(names) - register.keys()):
        meant = did_you_mean(unknown[0], register) or f"; there are {', '.join(register)}"
        raise click.UsageError(f"there is no collection {', '.join(unknown)}{meant}")
    return {name: without_nothing(each) for name, each in register.items() if name in (names or register)}
