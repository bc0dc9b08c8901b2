"""Export the price list: every listing with its price, as a table, CSV, or JSON-LD for a web page.

    pugmill export-prices                                   a table of the prices in force
    pugmill export-prices --csv prices.csv                  a CSV file, written completely or not at all
    pugmill export-prices --json-ld prices.jsonld           schema.org's products and offers
    pugmill export-prices --asked                           the prices that the policies give today
    pugmill export-prices --as-of 2026-11-30                the prices in force on a day
    pugmill export-prices --csv prices.csv --dry-run        the table only; writes no file

A listing without a price is listed with the reason; the exit status is then 3.
"""

import csv
import io

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import WaitingError
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.progress import bytes_shown, waiting_shown
from service.client.repricing import length_of
from service.client.text.listing import price_list_text
from service.client.text.terminal import width

ADDRESS = "/v1/price-list"
_NAMED = 20


@owners_command(__doc__)
@option("--csv", metavar="FILE", type=FILE, help="Write it as CSV.")
@option("--json-ld", metavar="FILE", type=FILE, help="Write it as JSON-LD.")
@option("--asked", is_flag=True, help="The prices that the policies give, in place of those in force.")
@option("--channel", metavar="CODE", help="Only the listings of this sales channel.")
@option("--as-of", metavar="DAY", help="The day of the prices and rates (default: today).")
@option("--dry-run", is_flag=True, help="Show the table and write no file.")
def export_prices(service: Service, options: Options) -> None:
    """Fetch the list in each form requested, and write or show it."""
    is_shown = options.dry_run or not (options.csv or options.json_ld)
    with (
        new_file(None if is_shown else options.csv) as table,
        new_file(None if is_shown else options.json_ld) as linked,
    ):
        content = price_list(service, options, ADDRESS)
        if table is not None:
            table.write(content)
        if linked is not None:
            linked.write(price_list(service, options, f"{ADDRESS}.jsonld"))
    entries = [*csv.DictReader(io.StringIO(content.decode(), newline=""))]
    if is_shown:
        print(price_list_text(entries, width()) if entries else "No listing is registered.")
    for path in filter(None, (options.csv, options.json_ld)):
        print(f"{path}: {len(entries)} listings{', not written' if options.dry_run else ''}")
    if unpriced := [each["listing"] for each in entries if each["problem"]]:
        more = f" and {len(unpriced) - _NAMED} more" if len(unpriced) > _NAMED else ""
        named = ", ".join(unpriced[:_NAMED])
        raise WaitingError(f"{len(unpriced)} of {len(entries)} listings have no price to list: {named}{more}")


def price_list(service: Service, options: Options, address: str) -> bytes:
    """The price list in the form at an address."""
    prices = None if options.asked else "in_force"  # the service's default is the price asked
    query = {"as_of": options.as_of, "channel": options.channel, "prices": prices}
    with waiting_shown("computing prices"):
        answer = service.send("GET", address, query=query, is_long=True)
    return b"".join(bytes_shown(service.parts(answer), "price list", length_of(answer.headers)))
