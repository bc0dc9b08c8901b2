"""The changes of a repricing for spreadsheets (CSV)."""

from collections.abc import Iterable, Iterator
from typing import Any

from service.documents.writing.csv_text import csv_lines, guarded

COLUMNS = (
    "listing",
    "product",
    "channel",
    "decision",
    "currency",
    "old_price",
    "new_price",
    "old_base_quantity",
    "new_base_quantity",
    "move_share",
    "cost_currency",
    "old_unit_cost",
    "new_unit_cost",
    "old_margin_share",
    "kept_margin_share",
    "new_margin_share",
    "effects",
    "problem",
    "unit",
)


def price_changes_csv(changes: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    """The changes, as data of `PriceChange`, in CSV; several effects are separated by '; '."""
    return csv_lines(COLUMNS, map(_row, changes))


def _row(change: dict[str, Any]) -> list[str]:
    old, new = (change[name] or _NOTHING for name in ("old", "new"))
    effects = "; ".join(f"{each['resource']} {each['cause']} {each['amount']['amount']}" for each in change["effects"])
    return [
        change["listing"],
        change["product"],
        change["channel"],
        change["decision"],
        (new["price"] or old["price"] or _NO_MONEY)["currency"],
        (old["price"] or _NO_MONEY)["amount"],
        (new["price"] or _NO_MONEY)["amount"],
        _base_quantity(old),
        _base_quantity(new),
        change["move_share"] or "",
        (new["unit_cost"] or old["unit_cost"] or _NO_MONEY)["currency"],
        (old["unit_cost"] or _NO_MONEY)["amount"],
        (new["unit_cost"] or _NO_MONEY)["amount"],
        old["margin_share"] or "",
        change["kept_margin_share"] or "",
        new["margin_share"] or "",
        effects,
        guarded(change["problem"] or ""),
        change.get("unit", "piece"),
    ]


def _base_quantity(side: dict[str, Any]) -> str:
    """Pieces, or units, that a price is for; changes stored before there were others have only prices for one."""
    return str(side.get("base_quantity", 1)) if side["price"] else ""


_NO_MONEY = {"amount": "", "currency": ""}
_NOTHING: dict[str, Any] = {"price": None, "unit_cost": None, "margin_share": None}
