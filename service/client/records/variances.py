r"""Why did batches cost more, or less? Cause by cause, the largest first; and what they earned.

    pugmill variances 2026-31                         a batch
    pugmill variances 2026-31 --pdf why.pdf --svg why.svg      also a paper and a picture
    pugmill variances --product brick                 all batches of a product together
    pugmill variances                                 all batches of this month, and what its fixed cost was for
    pugmill variances --last-day 2026-10-31 --incurred overheads/premises=655

A batch is compared with what its good units should have taken, by the facts and at the rates of the day it was made.
What nobody counted is taken as estimated. A batch that was made for a quotation earns what that brings.
"""

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from typing import Any
from urllib.parse import quote

import click

from service.client.command import FILE, NamedAmount, Options, option, owners_command
from service.client.commands.workshop import ADDRESS
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.text.terminal import width
from service.client.text.variances import batch_text, period_text, product_text

FORMS = ("html", "pdf", "svg", "png")
Send = Callable[[str], Any]
"""Asks for the answer at an address with this ending."""


@owners_command(__doc__)
@click.argument("code", required=False, help="The code of a batch; all batches of a period if left out.")
@option("--product", metavar="CODE", help="All batches of this product, in place of one.")
@option("--first-day", metavar="DAY", help="Those made on this day or later.")
@option("--last-day", metavar="DAY", help="Those made on this day or earlier.")
@option(
    "--incurred",
    metavar="RESOURCE=AMOUNT",
    multiple=True,
    type=NamedAmount("what a fixed cost really was", "overheads/premises=655"),
    help="What a fixed cost of these days really was, in the workshop's currency; may be repeated.",
)
@option("--html", metavar="FILE", type=FILE, help="Write it as a page.")
@option("--pdf", metavar="FILE", type=FILE, help="Write it as PDF.")
@option("--svg", metavar="FILE", type=FILE, help="Write the picture as SVG.")
@option("--png", metavar="FILE", type=FILE, help="Write the picture as PNG.")
def variances(service: Service, options: Options) -> None:
    """Fetch the comparison, and show it."""
    _check(options)
    days = {name: day for name in ("first_day", "last_day") if (day := getattr(options, name))}
    if options.code:
        address = f"/v1/batch-records/{quote(options.code, safe='')}/variances"
        found = _fetched(options, lambda ending: service.send("GET", address + ending))
        print(batch_text(options.code, found, width()))
    elif options.product:
        address = f"/v1/products/{quote(options.product, safe='')}/variances"
        found = _fetched(options, lambda ending: service.send("GET", address + ending, query=days))
        print(product_text(found, width()))
    else:
        body = {**days, "incurred": _incurred(service, options)}
        found = _fetched(options, lambda ending: service.send("POST", f"/v1/variances{ending}", body))
        print(period_text(found, width()))
    for path in _places(options).values():
        print(f"{path} is written.")


def _check(options: Options) -> None:
    if options.code and options.product:
        raise click.UsageError("name either a batch, or --product CODE")
    if options.code and (options.first_day or options.last_day):
        raise click.UsageError("--first-day and --last-day are for several batches")
    if options.incurred and (options.code or options.product):
        raise click.UsageError("--incurred is for a period")


def _incurred(service: Service, options: Options) -> Mapping[str, Any]:
    if not options.incurred:
        return {}
    currency = service.send("GET", ADDRESS).json()["currency"]
    return {resource: {"amount": amount, "currency": currency} for resource, amount in options.incurred}


def _places(options: Options) -> Mapping[str, Any]:
    return {form: path for form in FORMS if (path := getattr(options, form)) is not None}


def _fetched(options: Options, send: Send) -> Any:
    """The answer; writes the files that are asked for."""
    with ExitStack() as files:
        opened = {form: files.enter_context(new_file(path)) for form, path in _places(options).items()}
        found = send("").json()
        for form, file in opened.items():
            assert file is not None  # every form has a place
            file.write(send(f".{form}").content)
    return found
