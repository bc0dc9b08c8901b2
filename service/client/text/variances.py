"""Variances as text: from what good units should have cost to what they cost."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from service.client.rates import warnings_in
from service.client.text.figures import money, quantity
from service.client.text.terminal import heading, isolated, paragraph, row

Answer = Mapping[str, Any]

_COUNTED = {"issued": "what was issued", "returned": "what came back"}
_COUNTED |= {"minutes": "minutes", "scrap": "scrap", "hours": "hours", "kwh": "kWh"}


def batch_text(code: str, found: Answer, columns: int) -> str:
    """The variances of a batch."""
    lines = [*heading(f"BATCH {code}", found["made_on"], columns)]
    lines += paragraph(f"{quantity(found['good_units'])} × {isolated(found['name'])}", columns)
    lines += ["", *_told(found, columns)]
    for each in warnings_in(found):
        lines += ["", *paragraph(isolated(each), columns)]
    lines += ["", *_steps(found, columns)]
    if found["actual_unit_cost"] is not None:
        standard, actual = (money(found[f"{name}_unit_cost"]) for name in ("standard", "actual"))
        lines += ["", *row("a good one should cost", standard, columns), *row("and cost", actual, columns)]
    if found["taken_as_estimated"]:
        lines += ["", *paragraph(f"Nobody counted, so taken as estimated: {_estimated(found)}.", columns)]
    return "\n".join(lines)


def product_text(found: Answer, columns: int) -> str:
    """The variances of all batches of a product together."""
    lines = [*heading(f"PRODUCT {found['product']}", _batches(found), columns)]
    if not found["batches"]:
        return "\n".join((*lines, *_told(found, columns)))
    good = paragraph(f"{quantity(found['good_units'])} good ones", columns)
    return "\n".join((*lines, *good, "", *_told(found, columns), "", *_steps(found, columns)))


def period_text(found: Answer, columns: int) -> str:
    """The variances of all batches of a period, those of each product, and what its fixed cost was for."""
    return "\n".join(_period(found, columns))


def _period(found: Answer, columns: int) -> Iterator[str]:
    together = found["together"]
    yield from heading(f"BATCHES {found['first_day']} to {found['last_day']}", _batches(together), columns)
    yield from _told(together, columns)
    if together["batches"]:
        yield ""
        yield from _steps(together, columns)
        yield ""
        yield from paragraph("OF EACH PRODUCT, MORE OR LESS THAN IT SHOULD HAVE COST", columns)
        for each in found["products"]:
            yield from row(isolated(f"{each['name']}, {_batches(each)}"), _signed(each["variance"]), columns)
    if found["fixed"]:
        yield ""
        yield from paragraph(f"{isolated(found['fixed_total']['text'])}.", columns)
        yield ""
        yield from paragraph("NOT TAKEN UP BY THESE BATCHES", columns)
        for each in found["fixed"]:
            yield from row(isolated(each["name"]), money(each["capacity"]), columns)
            if Decimal(each["budget_variance"]["amount"]):
                yield from row(
                    isolated(f"{each['name']}: spent beyond its rates"), _signed(each["budget_variance"]), columns
                )


def _batches(found: Answer) -> str:
    return "1 batch" if found["batches"] == 1 else f"{found['batches']} batches"


def _told(found: Answer, columns: int) -> Iterator[str]:
    """The comparison in a sentence, and what was earned."""
    yield from paragraph(f"{isolated(found['text'])}.", columns)
    if found["earned"] is not None:
        yield from paragraph(f"{isolated(found['earned']['text'])}.", columns)


def _signed(amount: Answer) -> str:
    figure = money(amount)
    return f"+{figure}" if Decimal(amount["amount"]) > 0 else figure


def _steps(found: Answer, columns: int) -> Iterator[str]:
    """From the standard to the actual cost."""
    yield from row("SHOULD HAVE COST", money(found["standard_cost"]), columns)
    for each in found["variances"]:
        yield from row(isolated(each["text"]), _signed(each["amount"]), columns)
    yield from row("COST", money(found["actual_cost"]), columns)


def _estimated(found: Answer) -> str:
    by_kind: dict[str, list[str]] = {}
    for each in found["taken_as_estimated"]:
        by_kind.setdefault(each["what"], []).append(isolated(each["name"]))
    return "; ".join(f"{_COUNTED[what]} of {', '.join(dict.fromkeys(names))}" for what, names in by_kind.items())
