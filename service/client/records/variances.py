r"""Why did a batch cost more, or less? Cause by cause, the largest first.

    pugmill variances 2026-31                         a batch
    pugmill variances --product brick                 all batches of a product together
    pugmill variances --product brick --first-day 2026-11-01 --last-day 2026-11-30

A batch is compared with what its good units should have taken, by the facts and at the rates of the day it was made.
What nobody counted is taken as estimated.
"""

from urllib.parse import quote

import click

from service.client.command import Options, option, owners_command
from service.client.http import Service
from service.client.text.terminal import width
from service.client.text.variances import batch_text, product_text


@owners_command(__doc__)
@click.argument("code", required=False, help="The code of a batch.")
@option("--product", metavar="CODE", help="All batches of this product, in place of one.")
@option("--first-day", metavar="DAY", help="Those made on this day or later.")
@option("--last-day", metavar="DAY", help="Those made on this day or earlier.")
def variances(service: Service, options: Options) -> None:
    """Fetch the comparison, and show it."""
    if bool(options.code) == bool(options.product):
        raise click.UsageError("name either a batch, or --product CODE")
    if options.code:
        if options.first_day or options.last_day:
            raise click.UsageError("--first-day and --last-day are for --product")
        found = service.send("GET", f"/v1/batch-records/{quote(options.code, safe='')}/variances").json()
        print(batch_text(options.code, found, width()))
        return
    query = {"first_day": options.first_day, "last_day": options.last_day}
    address = f"/v1/products/{quote(options.product, safe='')}/variances"
    print(product_text(service.send("GET", address, query=query, is_long=False).json(), width()))
