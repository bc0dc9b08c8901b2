r"""Does the month pay? From a plan in a small file to what it leaves, where it breaks even and what limits it.

    pugmill month scripts/demo/month.yaml                       tables in the terminal
    pugmill month plan.yaml --html month.html --svg month.svg   a report and a picture besides
    pugmill month plan.csv --target 600.00 --as-of 2026-12-01

A plan in YAML has the members of the service's POST /v1/break-even. What stands under each_line counts for every line
that does not say otherwise:

    each_line: {tax: standard}
    lines:
      - {listing: brick-stall, pieces: 1500, most_per_month: 2500}
      - {product: sheet, standard_batch: 40, pieces: 120, policy: {target: margin, value: 0.30}}
    other_fixed_costs:
      - {name: The owner's own pay, amount: {amount: 2400.00, currency: EUR}}
    leave_out: [machines/bench-drill]
    target_profit: {amount: 600.00, currency: EUR}

In CSV every row is a line; a column is named as the member is, one within it behind a slash (policy/value).
"""

from contextlib import ExitStack
from typing import Any

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.files.lines_file import PLAN, request_of_file
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.text.month import month_text
from service.client.text.terminal import width

ADDRESS = "/v1/break-even"
FORMS = {"html": "text/html", "svg": "image/svg+xml", "png": "image/png"}


@owners_command(__doc__)
@click.argument("plan", type=FILE, help="The plan: a .yaml or a .csv file.")
@option("--as-of", metavar="DAY", help="The day whose rates are used, as 2026-11-25; today without it.")
@option("--weeks", metavar="WEEKS", help="Working weeks in the month; 52/12 without it.")
@option("--target", metavar="AMOUNT", help="What the month is to leave, in --currency.")
@option("--currency", metavar="CODE", default="EUR", show_default=True, help="Of --target.")
@option("--html", metavar="FILE", type=FILE, help="Write it as text/html.")
@option("--svg", metavar="FILE", type=FILE, help="Write it as image/svg+xml.")
@option("--png", metavar="FILE", type=FILE, help="Write it as image/png.")
def month(service: Service, options: Options) -> None:
    """Ask about the plan, show the answer and write what is wanted besides."""
    plan = request_of_file(PLAN, options.plan, given(options), {})
    places = {form: path for form in FORMS if (path := getattr(options, form)) is not None}
    with ExitStack() as files:
        opened = {form: files.enter_context(new_file(path)) for form, path in places.items()}
        shown = month_text(service.send("POST", ADDRESS, plan).json(), width())
        for form, file in opened.items():
            assert file is not None  # every form has a place
            file.write(service.send("POST", ADDRESS, plan, headers={"Accept": FORMS[form]}).content)
    print(shown)
    for path in places.values():
        print(f"{path} is written.")


def given(options: Options) -> dict[str, Any]:
    """What the command line says in place of the file."""
    target = options.target and {"amount": options.target, "currency": options.currency}
    members = {"as_of": options.as_of, "weeks": options.weeks, "target_profit": target}
    return {name: value for name, value in members.items() if value}
