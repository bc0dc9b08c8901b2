"""A repricing as text: which cost changed, which prices follow, and which do not."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from service.client.text.figures import PIECE, amount, as_exact_as, money, one_of, per_pieces, rate, share
from service.client.text.terminal import heading, isolated, paragraph, table

_HEADING = ("listing", "", "old price", "new price", "move")
_RATES = ("which cost changed", "since", "old rate", "new rate")
_LEGEND = "cost: extra cost {one}, the reason stands underneath; margin: at the price that is in force then"
_OF_PRODUCT = (
    "products/...: what one takes has changed: the product is made, ordered or charged with overhead another way now"
)
_DECISIONS = ("first", "changed", "same", "kept", "held", "unpriced")
_TITLES = {
    "preview": "PREVIEW OF A REPRICING, nothing is stored",
    "nothing_to_change": "REPRICING, nothing left to change",
    "applied": "REPRICING, the new prices applied",
    "rolled_back": "REPRICING, rolled back",
    "would_be_rolled_back": "PREVIEW OF A ROLLBACK, nothing is stored",
}
_MEANINGS = {
    "kept": "kept: left as it is, the change is too small (--least-move) and the old price still meets its policy",
    "held": "held: waiting for you, it changes more than --greatest-move; --confirm LISTING lets it through",
    "unpriced": "unpriced: no price can be worked out, the old one stays",
}


_SHOWN = 10
"""Listings and rates that are shown unless somebody asks for all."""


def repricing_text(answer: dict[str, Any], columns: int, *, full: bool = False) -> str:
    """A repricing or its preview: the prices that wait or move most; if full, all of the answer."""
    return "\n".join(_lines(answer, columns, None if full else _SHOWN))


def _lines(answer: dict[str, Any], columns: int, most: int | None) -> Iterator[str]:
    summary, changes = answer["summary"], answer["changes"]["items"]
    items = changes if len(changes) <= (most or len(changes)) else sorted(changes, key=_weight)[:most]
    yield from heading(_title(answer), answer["as_of"], columns)
    if answer["id"]:
        yield f"repricing {answer['id']}"
    yield from paragraph(_counted(summary), columns)
    yield from _days(answer, columns)
    if answer["rate_changes"]:
        yield ""
        yield from table([_RATES, *map(_rate, answer["rate_changes"][:most])], columns, 2)
        if more := len(answer["rate_changes"][most or len(answer["rate_changes"]) :]):
            yield f"and {more} more; --full shows them"
    if items:
        yield ""
        notes = ["", *(_why(each) for each in items)]
        named = (*_HEADING, _cost(items), "margin")
        yield from table([named, *map(_change, items)], columns, 5, notes)
        yield ""
        yield from paragraph(_LEGEND.format(one=_one(items)), columns)
        if any(effect["cause"] == "product" for each in items for effect in each["effects"]):
            yield from paragraph(_OF_PRODUCT, columns)
    if answer["status"] in ("preview", "applied"):  # after a rollback nothing waits
        yield from (line for name, told in _MEANINGS.items() if summary[name] for line in paragraph(told, columns))
    if len(items) < len(changes):
        told = f"These {len(items)} wait or move most; --full shows {len(changes)}, --csv FILE writes all."
        yield from paragraph(told, columns)
    elif answer["changes"]["next"]:
        yield from paragraph(f"These are the first {len(items)}; --csv FILE writes them all.", columns)


def _weight(change: dict[str, Any]) -> tuple[bool, Decimal]:
    """Sorts what waits for somebody first, then the greatest moves."""
    waits = change["decision"] in ("held", "unpriced")
    return not waits, -abs(Decimal(change["move_share"] or 0))


def _title(answer: dict[str, Any]) -> str:
    summary = answer["summary"]
    is_idle = answer["status"] == "preview" and not _moved(summary) + summary["held"]
    return _TITLES["nothing_to_change" if is_idle else answer["status"]]


def _moved(summary: dict[str, Any]) -> int:
    return int(summary["first"] + summary["changed"])


def _days(answer: dict[str, Any], columns: int) -> Iterator[str]:
    """From which day the new prices are in force, and what stays that is set for later ones."""
    if answer["status"] not in ("preview", "applied", "nothing_to_change"):
        return
    day, later = answer["valid_from"], answer["later_days"]
    if _moved(answer["summary"]):
        are = "would be" if answer["status"] == "preview" else "are"
        rates = "" if day == answer["as_of"] else f", with the rates of {answer['as_of']}"
        yield from paragraph(f"The new prices {are} in force from {day}{rates}.", columns)
    if later:
        told = f"What is set from {', '.join(later)} on stays. If a changed rate holds then, too, reprice that day:"
        yield from paragraph(told, columns)
        yield from (f"  pugmill reprice --as-of {each}" for each in later[:_SHOWN])


def _counted(summary: dict[str, Any]) -> str:
    listings = summary["listings"]
    parts = [f"{summary[name]} {name}" for name in _DECISIONS if summary[name]]
    return f"{listings} {'listing' if listings == 1 else 'listings'}{': ' if parts else ''}{', '.join(parts)}"


def _rate(change: dict[str, Any]) -> tuple[str, ...]:
    is_exchanged = change["cause"] == "exchange_rate"
    resource = f"{change['resource']} (exchange rate)" if is_exchanged else change["resource"]
    return (resource, change["since"] or "", _cost_of_unit(change["old_rate"]), _cost_of_unit(change["new_rate"]))


def _cost_of_unit(found: str | None) -> str:
    return rate(found) if found else "none"


def _change(change: dict[str, Any]) -> tuple[str, ...]:
    old, new = change["old"], change["new"]
    stays = change["decision"] in ("kept", "held", "unpriced")
    margin = change["kept_margin_share"] if stays else new["margin_share"]
    return (
        change["listing"],
        change["decision"],
        _price(old, change),
        _price(new, change),
        _signed(share(change["move_share"])),
        _cost_change(old, new),
        share(margin),
    )


def _cost(changes: Sequence[dict[str, Any]]) -> str:
    """The heading of extra costs, with their currency: prices may be in others."""
    sides = (side for each in changes for side in (each["old"], each["new"]) if side)
    return " ".join(["cost", *sorted({side["unit_cost"]["currency"] for side in sides})])


def _one(changes: Sequence[dict[str, Any]]) -> str:
    """What the extra cost is for: a piece, or one of the unit of each product."""
    units = {each.get("unit", PIECE) for each in changes}
    if units == {PIECE}:
        return "a piece"
    if PIECE in units or len(units) > 1:
        return "a piece, or a unit of what is not sold by the piece"
    return f"per {one_of(units.pop())}"


def _price(side: dict[str, Any] | None, change: dict[str, Any]) -> str:
    if side is None:
        return "-"
    return per_pieces(money(side["price"]), side.get("base_quantity", 1), change.get("unit", PIECE))


def _cost_change(old: dict[str, Any] | None, new: dict[str, Any] | None) -> str:
    """The extra cost of a piece, or unit."""
    if old is None or new is None:
        return "-"
    more = Decimal(new["unit_cost"]["amount"]) - Decimal(old["unit_cost"]["amount"])
    return _signed(amount(f"{more:f}", new["unit_cost"]["currency"]))


def _signed(figure: str) -> str:
    is_more = figure[0].isdigit() and bool(Decimal(figure.removesuffix(" %")))
    return f"+{figure}" if is_more else figure


def _why(change: dict[str, Any]) -> str:
    if change["problem"]:
        return isolated(change["problem"])
    cost = _cost_change(change["old"], change["new"])
    return "; ".join(
        f"{each['resource']}{' (exchange rate)' if each['cause'] == 'exchange_rate' else ''}"
        f" {_signed(as_exact_as(each['amount']['amount'], cost))}"
        for each in change["effects"]
    )
