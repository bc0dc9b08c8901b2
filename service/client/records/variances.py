r"""Why did a batch cost more, or less? Cause by cause, the largest first.

    pugmill variances 2026-31                         a batch
    pugmill variances 2026-31 --pdf why.pdf --svg why.svg      also a paper and a picture
    pugmill variances --product brick                 all batches of a product together
    pugmill variances --product brick --first-day 2026-11-01

A batch is compared with what its good units should have taken, by the facts and at the rates of the day it was made.
What nobody counted is taken as estimated.
"""

from contextlib import ExitStack
from urllib.parse import quote

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.text.terminal import width
from service.client.text.variances import batch_text, product_text

FORMS = ("html", "pdf", "svg", "png")


@owners_command(__doc__)
@click.argument("code", required=False, help="The code of a batch.")
@option("--product", metavar="CODE", help="All batches of this product, in place of one.")
@option("--first-day", metavar="DAY", help="Those made on this day or later.")
@option("--last-day", metavar="DAY", help="Those made on this day or earlier.")
@option("--html", metavar="FILE", type=FILE, help="Write it as a page, of one batch.")
@option("--pdf", metavar="FILE", type=FILE, help="Write it as PDF.")
@option("--svg", metavar="FILE", type=FILE, help="Write the picture as SVG.")
@option("--png", metavar="FILE", type=FILE, help="Write the picture as PNG.")
def variances(service: Service, options: Options) -> None:
    """Fetch the comparison, and show it."""
    if bool(options.code) == bool(options.product):
        raise click.UsageError("name either a batch, or --product CODE")
    if options.code:
        if options.first_day or options.last_day:
            raise click.UsageError("--first-day and --last-day are for --product")
        _of_batch(service, options)
        return
    if given := [form for form in FORMS if getattr(options, form)]:
        raise click.UsageError(f"--{given[0]} is for one batch")
    query = {"first_day": options.first_day, "last_day": options.last_day}
    address = f"/v1/products/{quote(options.product, safe='')}/variances"
    print(product_text(service.send("GET", address, query=query).json(), width()))


def _of_batch(service: Service, options: Options) -> None:
    address = f"/v1/batch-records/{quote(options.code, safe='')}/variances"
    places = {form: path for form in FORMS if (path := getattr(options, form)) is not None}
    with ExitStack() as files:
        opened = {form: files.enter_context(new_file(path)) for form, path in places.items()}
        found = service.send("GET", address).json()
        for form, file in opened.items():
            assert file is not None  # every form has a place
            file.write(service.send("GET", f"{address}.{form}").content)
    print(batch_text(options.code, found, width()))
    for path in places.values():
        print(f"{path} is written.")
