r"""What the records of a product teach: its facts as they really are, and what taking them over would do.

    pugmill learn brick                        each fact, and what those at odds with today's would change
    pugmill learn brick --apply                takes over those at odds with today's
    pugmill learn brick --take 1,3 --apply     takes over these, by their numbers in the list
    pugmill learn brick --without-outliers     without the batches that stand out
    pugmill learn brick --undo                 the product as it was before it last took facts over

Taken over is just what was shown, or nothing. Prices stay until the next pugmill reprice. The audit trail has the
records as the reason.
"""

import re
from typing import Any
from urllib.parse import quote

import click

from service.client.command import QUANTITY, Options, option, owners_command
from service.client.http import Service
from service.client.text.learning import learning_text, taking_over_text
from service.client.text.terminal import width

_NAMES = ("fact", "product", "item", "grade")


@owners_command(__doc__)
@click.argument("code", help="The product.")
@option("--first-day", metavar="DAY", help="From batches made on this day or later.")
@option("--last-day", metavar="DAY", help="From batches made on this day or earlier.")
@option("--without-outliers", is_flag=True, help="Leave batches that stand out out of the figures.")
@option("--take", metavar="NUMBERS", help="These facts, such as 1,3 (default: those at odds with today's).")
@option("--quantity", metavar="QUANTITY", type=QUANTITY, help="The batch to cost (default: as in the newest record).")
@option("--apply", one_of="what", is_flag=True, help="Take them over.")
@option("--undo", one_of="what", is_flag=True, help="Undo what was taken over last.")
def learn(service: Service, options: Options) -> None:
    """Show what records teach and what it would do, take it over, or undo it."""
    address = f"/v1/products/{quote(options.code, safe='')}/learning"
    if options.undo:
        print(taking_over_text(service.send("POST", f"{address}/undo").json(), width()))
        return
    chosen = {"first_day": options.first_day, "last_day": options.last_day}
    query = {**chosen, "without_outliers": "true" if options.without_outliers else None}
    found = service.send("GET", address, query=query).json()
    order: dict[str, Any] = {name: day for name, day in chosen.items() if day}
    order["without_outliers"] = options.without_outliers
    if options.take:
        order["facts"] = _taken(options.take, found["facts"])
    asked = {} if options.quantity is None else {"quantity": options.quantity}
    seen = service.send("POST", address, {**order, **asked})
    answer = seen.json()
    if options.apply and answer["status"] == "preview":
        done = service.send("POST", address, {**order, "apply": True}, headers={"If-Match": seen.headers["ETag"]})
        answer = {**answer, **{name: done.json()[name] for name in ("status", "products", "facts")}}
    print(learning_text(found, width()), "", taking_over_text(answer, width()), sep="\n")


def _taken(numbers: str, facts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The facts with these numbers, as the service names them."""
    if not re.fullmatch(r"\d+(,\d+)*", numbers):
        raise click.UsageError(f"--take {numbers}: give the numbers of facts, such as 1,3")
    places = [int(each) for each in numbers.split(",")]
    if wrong := [each for each in places if not 0 < each <= len(facts)]:
        raise click.UsageError(f"--take {numbers}: there is no fact {wrong[0]}; there are {len(facts)}")
    return [{name: facts[each - 1][name] for name in _NAMES if facts[each - 1][name]} for each in places]
