"""Variances as text: from what good units should have cost to what they cost."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from service.client.text.figures import money, quantity
from service.client.text.terminal import heading, isolated, paragraph, row

_COUNTED = {"issued": "what was issued", "minutes": "minutes", "scrap": "scrap", "hours": "hours", "kwh": "kWh"}


def batch_text(code: str, found: dict[str, Any], columns: int) -> str:
    """The variances of a batch."""
    lines = [*heading(f"BATCH {code}", found["made_on"], columns)]
    lines += paragraph(f"{quantity(found['good_units'])} × {isolated(found['name'])}", columns)
    lines += ["", *paragraph(f"{isolated(found['text'])}.", columns), "", *_steps(found, columns)]
    if found["actual_unit_cost"] is not None:
        standard, actual = (money(found[f"{name}_unit_cost"]) for name in ("standard", "actual"))
        lines += ["", *row("a good one should cost", standard, columns), *row("and cost", actual, columns)]
    if found["taken_as_estimated"]:
        lines += ["", *paragraph(f"Nobody counted, so taken as estimated: {_estimated(found)}.", columns)]
    return "\n".join(lines)


def product_text(found: dict[str, Any], columns: int) -> str:
    """The variances of all batches of a product together."""
    count = found["batches"]
    lines = [*heading(f"PRODUCT {found['product']}", "1 batch" if count == 1 else f"{count} batches", columns)]
    if not count:
        return "\n".join((*lines, *paragraph("No batch of it is recorded there.", columns)))
    return "\n".join(
        (*lines, *paragraph(f"{quantity(found['good_units'])} good ones", columns), "", *_steps(found, columns))
    )


def _steps(found: dict[str, Any], columns: int) -> Iterator[str]:
    """From the standard to the actual cost."""
    yield from row("SHOULD HAVE COST", money(found["standard_cost"]), columns)
    for each in found["variances"]:
        figure = money(each["amount"])
        yield from row(
            isolated(each["text"]), figure if Decimal(each["amount"]["amount"]) < 0 else f"+{figure}", columns
        )
    yield from row("COST", money(found["actual_cost"]), columns)


def _estimated(found: dict[str, Any]) -> str:
    by_kind: dict[str, list[str]] = {}
    for each in found["taken_as_estimated"]:
        by_kind.setdefault(each["what"], []).append(isolated(each["name"]))
    return "; ".join(f"{_COUNTED[what]} of {', '.join(dict.fromkeys(names))}" for what, names in by_kind.items())
