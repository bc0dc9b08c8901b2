"""What the workshop reads and hangs up: the price list in every form, shelf labels, and a job sheet."""

import csv
import io
import re
from contextlib import ExitStack
from urllib.parse import quote

import click

from service.client.command import FILE, QUANTITY, Options, option, owners_command
from service.client.ends import WaitingError
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.progress import bytes_shown, waiting_shown
from service.client.repricing import length_of
from service.client.text.listing import price_list_text
from service.client.text.terminal import width

EXPORT = """
Export the price list: every listing with its price, as a table, CSV, JSON-LD for a web page, or for the wall.

    pugmill export-prices                                   a table of the prices in force
    pugmill export-prices --csv prices.csv                  a CSV file, written completely or not at all
    pugmill export-prices --json-ld prices.jsonld           schema.org's products and offers
    pugmill export-prices --pdf prices.pdf --locale de      for the wall; --html for a browser
    pugmill export-prices --labels labels.pdf               labels for the shelf, 3 by 8 on A4; --grid for others
    pugmill export-prices --asked                           the prices that the policies give today
    pugmill export-prices --as-of 2026-11-30                the prices in force on a day
    pugmill export-prices --csv prices.csv --dry-run        the table only; writes no file

A listing without a price is listed with the reason; the exit status is then 3.
"""
JOB = """
Write the job sheet of a batch: what to fetch, which steps to take, and blanks for what really happened; no money.

    pugmill job-sheet brick --quantity 500 --pdf job.pdf
    pugmill job-sheet brick --quantity 500 --html job.html --locale de
"""
ADDRESS, LABELS = "/v1/price-list", "/v1/shelf-labels.pdf"
FORMS = {"csv": "csv", "json_ld": "jsonld", "pdf": "pdf", "html": "html", "labels": "pdf"}
"""File endings of the forms of a price list, by the option that asks for one."""
_NAMED = 20
_GRID = re.compile(r"(\d+)x(\d+)")


@owners_command(EXPORT)
@option("--csv", metavar="FILE", type=FILE, help="Write it as CSV.")
@option("--json-ld", metavar="FILE", type=FILE, help="Write it as JSON-LD.")
@option("--pdf", metavar="FILE", type=FILE, help="Write it as PDF, for the wall.")
@option("--html", metavar="FILE", type=FILE, help="Write it as a page.")
@option("--labels", metavar="FILE", type=FILE, help="Write shelf labels as PDF.")
@option("--grid", metavar="COLUMNSxROWS", help="Labels side by side and one below the other (default: 3x8).")
@option("--asked", is_flag=True, help="The prices that the policies give, in place of those in force.")
@option("--channel", metavar="CODE", help="Only the listings of this sales channel.")
@option("--locale", metavar="LOCALE", help="Only listings for this locale or language; the papers are written in it.")
@option("--as-of", metavar="DAY", help="The day of the prices and rates (default: today).")
@option("--dry-run", is_flag=True, help="Show the table and write no file.")
def export_prices(service: Service, options: Options) -> None:
    """Fetch the list in each form requested, and write or show it."""
    places = {form: path for form in FORMS if (path := getattr(options, form)) is not None}
    is_shown = options.dry_run or not places
    with ExitStack() as files:
        opened = {} if is_shown else {form: files.enter_context(new_file(path)) for form, path in places.items()}
        content = fetched(service, options, ADDRESS)
        for form, file in opened.items():
            assert file is not None  # every form has a place
            file.write(content if form == "csv" else _written(service, options, form))
    entries = [*csv.DictReader(io.StringIO(content.decode(), newline=""))]
    if is_shown:
        print(price_list_text(entries, width()) if entries else "No listing is registered.")
    for path in places.values():
        print(f"{path}: {len(entries)} listings{', not written' if options.dry_run else ''}")
    if unpriced := [each["listing"] for each in entries if each["problem"]]:
        more = f" and {len(unpriced) - _NAMED} more" if len(unpriced) > _NAMED else ""
        named = ", ".join(unpriced[:_NAMED])
        raise WaitingError(f"{len(unpriced)} of {len(entries)} listings have no price to list: {named}{more}")


def _written(service: Service, options: Options, form: str) -> bytes:
    """The list in a form, or the labels on sheets with the grid requested."""
    if form != "labels":
        return fetched(service, options, f"{ADDRESS}.{FORMS[form]}")
    grid = _GRID.fullmatch(options.grid or "")
    if options.grid and not grid:
        raise click.UsageError("--grid is columns by rows, such as 3x8")
    return fetched(service, options, LABELS, **({"columns": grid[1], "rows": grid[2]} if grid else {}))


def fetched(service: Service, options: Options, address: str, **more: str) -> bytes:
    """The price list in the form at an address."""
    prices = "asked" if options.asked else "in_force"
    query = {"as_of": options.as_of, "channel": options.channel, "locale": options.locale, "prices": prices, **more}
    with waiting_shown("computing prices"):
        answer = service.send("GET", address, query=query, is_long=True)
    return b"".join(bytes_shown(service.parts(answer), "price list", length_of(answer.headers)))


@owners_command(JOB)
@click.argument("product", help="The product's code.")
@option("--quantity", metavar="QUANTITY", type=QUANTITY, required=True, help="Good pieces, or units, in the batch.")
@option("--pdf", metavar="FILE", type=FILE, help="Write it as PDF.")
@option("--html", metavar="FILE", type=FILE, help="Write it as a page.")
@option("--locale", metavar="LOCALE", help="Its language, such as de_AT (default: the workshop's).")
def job_sheet(service: Service, options: Options) -> None:
    """Fetch the sheet in each form requested, and write it."""
    places = {form: path for form in ("pdf", "html") if (path := getattr(options, form)) is not None}
    if not places:
        raise click.UsageError("say where to write it: --pdf FILE or --html FILE")
    query = {"quantity": options.quantity, "locale": options.locale}
    for form, path in places.items():
        with new_file(path) as file:
            assert file is not None  # every form has a place
            address = f"/v1/products/{quote(options.product, safe='')}/job-sheet.{form}"
            file.write(service.send("GET", address, query=query).content)
        print(f"{path} is written.")
