r"""Quote a batch: from a small order file to an issued quotation and its PDF.

    pugmill quote order.yaml                  issues the quotation, and writes order.pdf beside the file
    pugmill quote order.yaml --dry-run        shows it; stores nothing
    pugmill quote order.yaml --dry-run --risk   what past batches say of its cost
    pugmill quote order.yaml --draft          stores a draft, which has no number and can be discarded
    pugmill quote lines.csv --customer 'Harbour Garden Trust' \
        --tax standard --margin 0.30
    pugmill quote --document Q000042 --pdf again.pdf --html page.html      documents of an existing quotation

An order in YAML has the members of the service's quotation request. Members under each_line apply to every line that
does not set them itself:

    customer: {name: Harbour Garden Trust, address: "Pier 4\nPort Quillan"}
    locale: de_DE
    each_line:
      tax: standard
      policy: {target: margin, value: 0.30, never_below_cost: full_cost}
    lines:
      - {product: brick, quantity: 500, quantity_breaks: [1000, 2500]}
      - {product: beam-1200, quantity: 40, tooling: charged_once}
      # kilograms, some of them of the customer's plastic
      - product: regrind
        quantity: 780
        supplied_quantities: {hdpe-crates: 300}
      # no product: a stated cost, a purchase price, or work at the day's rates
      - {item: {name: Fitting, unit: hour, cost: 38.50}, quantity: 2.5}
      - item: {name: Hinge, purchase: {price: {amount: 1.20, currency: CHF}}}
        quantity: 40
      - item:
          name: Press work
          unit: hour
          work: {machine: sheet-press, setup_minutes: 15, band_shares: {day: 1}}
        quantity: 2.5

In CSV every row is a line; columns have the names of members, nested ones after a slash (policy/value, item/name,
supplied_quantities/hdpe-caps). Several quantity breaks or supplied materials are separated by spaces.

If the output file exists already, the order is not quoted again, unless --again is given.
"""

import sys
from contextlib import ExitStack
from http import HTTPStatus
from pathlib import Path
from typing import Any, BinaryIO

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import OutOfReachError, RefusedError
from service.client.files.lines_file import ORDER, request_of_file
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.text.quotation import quotation_text, risk_text
from service.client.text.remarks import FULL
from service.client.text.terminal import width

FORMS = {"pdf": "pdf", "html": "html", "xml": "xml", "text": "txt"}
"""File endings of a quotation's documents, by the option that asks for one."""
ADDRESS, PREVIEWS = "/v1/quotations", "/v1/quotation-previews"


_IN_PLACE = "In place of what the order says"
_EACH_LINE = "For every line that does not set it itself"
_DOCUMENTS = "Documents"


@owners_command(__doc__)
@click.argument("order", required=False, type=FILE, help="The order: a .yaml or a .csv file.")
@option("--document", metavar="NUMBER", help="Write documents of this quotation; quote nothing.")
@option("--dry-run", one_of="kept", is_flag=True, help="Show the quotation; store nothing.")
@option("--draft", one_of="kept", is_flag=True, help="Store a draft; issue nothing.")
@option("--below-floor", is_flag=True, help="Issue it although allowances take it below the floor of a policy.")
@option("--full", is_flag=True, help=FULL)
@option("--risk", is_flag=True, help="Show what it may cost, as past batches went; for you alone.")
@option("--again", is_flag=True, help="Overwrite existing documents; an order is quoted again.")
@option("--customer", section=_IN_PLACE, metavar="NAME", help="The customer's name.")
@option("--currency", section=_IN_PLACE, metavar="CODE", help="Currency of every price, for instance EUR.")
@option("--locale", section=_IN_PLACE, metavar="LOCALE", help="Locale of the document, for instance de_DE.")
@option("--valid-until", section=_IN_PLACE, metavar="DAY", help="Last day the prices hold, such as 2026-12-31.")
@option("--tax", section=_EACH_LINE, metavar="CODE", help="The tax.")
@option(
    "--margin",
    section=_EACH_LINE,
    one_of="target",
    metavar="SHARE",
    help="Aim at a profit of this share of the net price.",
)
@option(
    "--markup", section=_EACH_LINE, one_of="target", metavar="SHARE", help="Aim at a profit of this share of the cost."
)
@option("--pdf", section=_DOCUMENTS, metavar="FILE", type=FILE, help="Write it as PDF.")
@option("--html", section=_DOCUMENTS, metavar="FILE", type=FILE, help="Write it as HTML.")
@option("--xml", section=_DOCUMENTS, metavar="FILE", type=FILE, help="Write it as XML (UBL).")
@option("--text", section=_DOCUMENTS, metavar="FILE", type=FILE, help="Write it as plain text.")
def quote(service: Service, options: Options) -> None:
    """Preview, quote or fetch a quotation, and write its documents."""
    if (options.order is None) == (options.document is None):
        raise click.UsageError("name an order, or a quotation with --document")
    if options.dry_run and options.order is not None:
        preview(service, options)
        return
    places = documents_of(options)
    if present := [str(path) for path in places.values() if path.exists() and not options.again]:
        raise RefusedError(f"{', '.join(present)} exists already; --again overwrites it, and quotes again")
    with ExitStack() as files:
        opened = {form: files.enter_context(new_file(path)) for form, path in places.items()}
        name = options.document or quoted(service, options)
        if options.document:
            show_risk(service, options, "GET", f"{ADDRESS}/{name}/risk")
        for form, file in opened.items():
            assert file is not None  # every form has a place
            write(service, name, form, file)
    for path in places.values():
        print(f"{path} is written.")


def documents_of(options: Options) -> dict[str, Path]:
    """The documents to write, by form; by default a PDF beside the order."""
    if options.dry_run or options.draft:
        return {}
    named = {form: path for form in FORMS if (path := getattr(options, form)) is not None}
    if named or options.order is None:
        return named or {"pdf": Path(f"{options.document}.pdf")}
    return {"pdf": options.order.with_suffix(".pdf")}


def quoted(service: Service, options: Options) -> str:
    """Quote the order, show it, and issue it unless a draft is wanted; returns its number or id."""
    quotation = service.send("POST", ADDRESS, request_of(options)).json()
    address = f"{ADDRESS}/{quotation['id']}"
    if not options.draft:
        quotation = issued(service, address, {"below_floor": "accepted"} if options.below_floor else {})
    print(quotation_text(quotation, width(), full=options.full))
    show_risk(service, options, "GET", f"{address}/risk")
    print()
    print(f"Stored as a draft:\n{address}" if options.draft else f"Issued as {quotation['number']}.")
    return str(quotation["number"] or quotation["id"])


def preview(service: Service, options: Options) -> None:
    """Show the quotation that the order would get."""
    request = request_of(options)
    quotation = service.send("POST", PREVIEWS, request).json()
    print(quotation_text(quotation, width(), full=options.full))
    show_risk(service, options, "POST", f"{PREVIEWS}/risk", request)
    print()
    print("Nothing is stored.")


def show_risk(service: Service, options: Options, method: str, address: str, request: Any = None) -> None:
    """Show what the quotation may cost, if that is wanted."""
    if options.risk:
        print()
        print(risk_text(service.send(method, address, request).json(), width()))


def issued(service: Service, address: str, body: dict[str, str]) -> Any:
    """Issue the draft; if the service refuses, discard it, because nobody asked for a draft."""
    try:
        return service.send("POST", f"{address}/issue", body).json()
    except OutOfReachError:
        print(f"it is not known whether it was issued; POST {address}/issue issues it at most once", file=sys.stderr)
        raise
    except RefusedError as error:
        if "below_floor" in str(error):
            print("--below-floor issues it all the same", file=sys.stderr)
        service.send("DELETE", address)
        raise


def request_of(options: Options) -> dict[str, Any]:
    """The body of the service's quotation request."""
    given = {
        "customer": options.customer and {"name": options.customer},
        "currency": options.currency,
        "locale": options.locale,
        "valid_until": options.valid_until,
    }
    line: dict[str, Any] = {"tax": options.tax} if options.tax else {}
    for target in ("margin", "markup"):
        if (value := getattr(options, target)) is not None:
            line["policy"] = {"target": target, "value": value}
    return request_of_file(ORDER, options.order, {name: value for name, value in given.items() if value}, line)


def write(service: Service, name: str, form: str, file: BinaryIO) -> None:
    """Fetch and write one document of a quotation."""
    try:
        file.write(service.send("GET", f"{ADDRESS}/{name}/quotation.{FORMS[form]}").content)
    except RefusedError as error:
        if error.status not in (HTTPStatus.NOT_FOUND, HTTPStatus.UNPROCESSABLE_ENTITY):
            print(f"{name} is stored, but its {form} was not written: --document {name} writes it", file=sys.stderr)
        raise
