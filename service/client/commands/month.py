r"""Does the month pay? Reads a plan from a file and shows its profit, its break-even and what limits it.

A plan that cannot be made with the hours there are does not pay: the exit status is then 3.

    pugmill month scripts/demo/month.yaml                       what it earns; --full has every table
    pugmill month plan.yaml --html month.html --svg month.svg   also a report and a chart
    pugmill month plan.csv --target 600.00 --as-of 2026-12-01

A plan in YAML has the members of the service's POST /v1/break-even. Members under each_line apply to every line that
does not set them itself:

    each_line: {tax: standard}
    lines:
      - {listing: brick-stall, pieces: 1500, most_per_month: 2500}
      - product: sheet
        standard_batch: 40
        pieces: 120
        policy: {target: margin, value: 0.30}
    other_fixed_costs:
      - {name: The owner's own pay, amount: {amount: 2400.00, currency: EUR}}
    leave_out: [machines/bench-drill]
    target_profit: {amount: 600.00, currency: EUR}

In CSV every row is a line; columns have the names of members, nested ones after a slash (policy/value).
"""

from contextlib import ExitStack
from typing import Any

import click

from service.client.command import FILE, Options, option, owners_command
from service.client.ends import WaitingError
from service.client.files.lines_file import PLAN, request_of_file
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.text.month import month_text
from service.client.text.remarks import FULL
from service.client.text.terminal import width

ADDRESS = "/v1/break-even"
FORMS = ("html", "svg", "png")


@owners_command(__doc__)
@click.argument("plan", type=FILE, help="The plan: a .yaml or a .csv file.")
@option("--as-of", metavar="DAY", help="The day whose rates are used, such as 2026-11-25 (default: today).")
@option("--month", metavar="MONTH", help="The month, such as 2026-12, shortened by its closures (default: any).")
@option("--weeks", metavar="WEEKS", help="Working weeks in the month, instead of --month (default: 52/12).")
@option("--target", metavar="AMOUNT", help="Target profit of the month, in --currency.")
@option("--currency", metavar="CODE", default="EUR", show_default=True, help="Currency of --target.")
@option("--full", is_flag=True, help=FULL)
@option("--html", metavar="FILE", type=FILE, help="Write the report as HTML.")
@option("--svg", metavar="FILE", type=FILE, help="Write the chart as SVG.")
@option("--png", metavar="FILE", type=FILE, help="Write the chart as PNG.")
def month(service: Service, options: Options) -> None:
    """Send the plan, show the answer and write the files requested."""
    plan = request_of_file(PLAN, options.plan, given(options), {})
    places = {form: path for form in FORMS if (path := getattr(options, form)) is not None}
    with ExitStack() as files:
        opened = {form: files.enter_context(new_file(path)) for form, path in places.items()}
        answer = service.send("POST", ADDRESS, plan).json()
        for form, file in opened.items():
            assert file is not None  # every form has a place
            file.write(service.send("POST", f"{ADDRESS}.{form}", plan).content)
    print(month_text(answer, width(), full=options.full))
    for path in places.values():
        print(f"{path} is written.")
    if answer["verdict"] == "cannot_be_made":
        raise WaitingError("the plan cannot be made with the hours there are")


def given(options: Options) -> dict[str, Any]:
    """Members given on the command line, which take precedence over the file."""
    target = options.target and {"amount": options.target, "currency": options.currency}
    members = {"as_of": options.as_of, "month": options.month, "weeks": options.weeks, "target_profit": target}
    return {name: value for name, value in members.items() if value}
