r"""Price a listing: register it if options describe it, then print its price and how it is found.

    pugmill price beam-market-ch                    its price, and what is kept of it
    pugmill price beam-market-ch --kept-at 49.90    what is kept at another price
    pugmill price beam-market-ch --discount 0.15    the effect of 15 % off, and the lowest price that allows it

    pugmill price sheet-market --product sheet --channel quay-market \
        --currency EUR --locale nl_NL --standard-batch 40 --tax standard \
        --margin 0.25 --price-endings 0.50,0.95 --unit-price-per m2

Options of the listing have the names of its members in the service. In a registered listing only the members given
change; '' removes a member. Shares are fractions of one (0.25, not 25). For every listing with its price, run
pugmill export-prices.
"""

import json
import sys
from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

import click

from service.client.command import QUANTITY, Declared, Options, option, owners_command
from service.client.ends import RefusedError
from service.client.http import Service
from service.client.members import without_nothing
from service.client.register import tried
from service.client.text.listing import price_sheet_text
from service.client.text.remarks import FULL
from service.client.text.terminal import width

Members = Mapping[str, tuple[str, str]]
"""Members by name, each with its metavar and its help."""

MEMBERS = {
    "product": ("CODE", "The product."),
    "channel": ("CODE", "The sales channel."),
    "currency": ("CODE", "Currency of sale, for instance EUR."),
    "locale": ("LOCALE", "Locale in which its prices are written, for instance de_AT."),
    "tax": ("CODE", "The tax."),
    "shipping_service": ("CODE", "The shipping service."),
    "shipping_zone": ("CODE", "The zone of the service that the buyers are in."),
    "unit_price_per": ("UNIT", "Show a unit price: kg, l, m, m2 or m3."),
    "name": ("TEXT", "Name for buyers (default: the product's name)."),
    "description": ("TEXT", "Description for buyers."),
    "image": ("ADDRESS", "Address of a picture of it."),
    "availability": ("STATE", "Whether buyers can have it, such as in_stock or made_to_order."),
    "tags": ("CODES", "Tags to select it by when repricing, separated by commas: garden,summer."),
    "note": ("TEXT", "A note that buyers do not see."),
}
POLICY = {
    "cost_basis": ("COST", "The cost that the target refers to: full_cost or variable_cost."),
    "never_below_cost": ("COST", "The price never falls below this cost: full_cost or variable_cost."),
    "never_below_amount": ("AMOUNT", "The price never falls below this amount."),
    "price_step": ("AMOUNT", "Prices are multiples of this; with endings, the endings repeat at this interval."),
    "price_endings": ("AMOUNTS", "Endings that a price may have, separated by commas: 0.49,0.99."),
    "rounding": ("WAY", "up or nearest."),
}
TARGETS = {
    "margin": ("SHARE", "Aim at a profit of this share of the net price."),
    "markup": ("SHARE", "Aim at a profit of this share of the cost."),
    "profit_per_piece": ("AMOUNT", "Aim at this profit, in the currency of sale."),
    "fixed_price": ("AMOUNT", "Set this price."),
}


_OUTCOMES = {"created": "new", "replaced": "changed"}
_LISTING = "The listing"
_POLICY = "Its policy"


def _texts(section: str, members: Members, one_of: str = "") -> Callable[[Declared], Declared]:
    """An option for each of the members."""

    def declared(job: Declared) -> Declared:
        for member, (value, meaning) in reversed([*members.items()]):
            name = f"--{member.replace('_', '-')}"
            job = option(name, section=section, one_of=one_of, metavar=value, help=meaning)(job)
        return job

    return declared


@owners_command(__doc__)
@click.argument("code", help="The listing's code.")
@option("--as-of", metavar="DAY", help="The day whose rates are used, such as 2026-11-25 (default: today).")
@option("--kept-at", metavar="PRICE", help="Show what is kept at this price instead.")
@option("--discount", metavar="SHARE", help="Show the effect of this discount, a share of the price.")
@option("--full", is_flag=True, help=FULL)
@option("--dry-run", is_flag=True, help="Print what would be registered, and register nothing.")
@option("--standard-batch", section=_LISTING, metavar="QUANTITY", type=QUANTITY, help="The batch that its cost is for.")
@option("--base-quantity", section=_LISTING, metavar="NUMBER", type=int, help="Price for 1, 12, 100 or 1000 together.")
@option("--pieces-per-order", section=_LISTING, metavar="QUANTITY", type=QUANTITY, help="Usually ordered together.")
@_texts(_LISTING, MEMBERS)
@_texts(_POLICY, TARGETS, one_of="target")
@_texts(_POLICY, POLICY)
def price(service: Service, options: Options) -> None:
    """Register the listing if members are given, then show its price sheet."""
    changes = changed_members(options)
    if changes or options.dry_run:
        register(service, options, changes)
    if not options.dry_run:
        query = {"as_of": options.as_of, "kept_at": options.kept_at, "discount_share": options.discount}
        sheet = service.send("GET", f"{address(options)}/price-sheet", query=query).json()
        print(price_sheet_text(sheet, width(), full=options.full))


def address(options: Options) -> str:
    """The address of the listing."""
    return f"/v1/listings/{quote(options.code, safe='')}"


def given(options: Options, members: Members) -> dict[str, Any]:
    """The members given on the command line."""
    return {member: text for member in members if (text := getattr(options, member)) is not None}


def changed_members(options: Options) -> dict[str, Any]:
    """The listing's members given on the command line, with the policy's nested."""
    changes, policy = given(options, MEMBERS), given(options, POLICY)
    counts = {name: getattr(options, name) for name in ("standard_batch", "base_quantity", "pieces_per_order")}
    changes |= {name: count for name, count in counts.items() if count is not None}
    for members in (changes, policy):
        members |= {name: _several(members[name]) for name in ("tags", "price_endings") if name in members}
    for target, value in given(options, TARGETS).items():
        policy |= {"target": target, "value": value}
    return changes | ({"policy": policy} if policy else {})


def _several(text: str) -> list[str]:
    return [each.strip() for each in text.split(",") if each.strip()]


def register(service: Service, options: Options, changes: dict[str, Any]) -> None:
    """Register the listing with the changes, unless somebody else changes it meanwhile."""
    if not changes:
        raise click.UsageError("--dry-run shows what would be registered: give options of the listing")
    known, tag = registered(service, options)
    body = without_nothing({**known, **changes, "policy": {**known.get("policy", {}), **changes.get("policy", {})}})
    if options.dry_run:
        try_out(service, options, body)
        return
    condition = {"If-Match": tag} if tag else {"If-None-Match": "*"}
    done = service.send("PUT", address(options), body, headers=condition)
    is_new, is_same = done.status_code == HTTPStatus.CREATED, done.headers["ETag"] == tag
    outcome = "new" if is_new else "unchanged" if is_same else "changed"
    print(f"The listing {options.code} is {outcome}.", file=sys.stderr)


def try_out(service: Service, options: Options, body: dict[str, Any]) -> None:
    """Show what would be registered, once the service has tried it.

    Raises:
        RefusedError: as the service would refuse it, or if the listing would have no price.
    """
    answer = tried(service, "listings", options.code, {"facts": body}, as_of=options.as_of)
    (entry,) = answer["entries"]
    outcome = _OUTCOMES.get(entry["outcome"], entry["outcome"])
    print(f"The listing {options.code} would be {outcome}; nothing is stored:", file=sys.stderr)
    print(json.dumps(body, indent=2, ensure_ascii=False))
    if answer["prices_problem"]:
        raise RefusedError(f"it would have no price: {answer['prices_problem']}")


def registered(service: Service, options: Options) -> tuple[dict[str, Any], str | None]:
    """The listing and its entity tag; empty and None if it is not registered."""
    try:
        response = service.send("GET", address(options))
    except RefusedError as error:
        if error.status == HTTPStatus.NOT_FOUND:
            return {}, None
        raise
    return response.json(), response.headers["ETag"]
