"""A quotation as text for the owner: lines, totals, and what is kept."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.client.text.figures import PIECE, counted, per_pieces, quantity, saved_share, share, stated_share, whole_up
from service.client.text.remarks import remarks_text
from service.client.text.terminal import isolated, paragraph, row, table

_KINDS = {"tooling": "tool", "rush": "rush", "minimum_order": "minimum order", "shipping": "shipping"}
_STATED = "stated"
"""The kind of a charge that the quotation just adds: of it no cost is known."""


def quotation_text(quotation: Mapping[str, Any], columns: int, *, full: bool = False) -> str:
    """Amounts as the service rounds them; cautions are counted, and shown if full."""
    lines = [*_Text(quotation, columns).lines()]
    remarks = quotation["remarks"]
    return "\n".join((*lines, *remarks_text(remarks["warnings"], remarks["cautions"], columns, full=full)))


class _Text:
    def __init__(self, quotation: Mapping[str, Any], columns: int) -> None:
        self.quotation, self.columns = quotation, columns
        self.figures, self.remarks = quotation["figures"], quotation["remarks"]

    def lines(self) -> Iterator[str]:
        customer = isolated(self.quotation["request"]["customer"]["name"])
        dates = f"of {self.quotation['quoted_on']}, valid until {self.quotation['valid_until']}"
        yield from self._answer()
        yield from paragraph(f"For {customer}, in {self.figures['currency']}, {dates}", self.columns)
        yield ""
        rows, notes = zip(*self._rows(), strict=True)
        yield from table(rows, self.columns, figures=4, notes=notes)
        yield ""
        yield from self._totals()
        yield ""
        yield from self._kept()
        yield from self._ready()

    def _answer(self) -> Iterator[str]:
        """The total, and what is kept of it."""
        kept, total, currency = self.figures["kept"], self.figures["totals"]["payable"], self.figures["currency"]
        margin = "" if kept["margin_share"] is None else f", a margin of {share(kept['margin_share'])}"
        told = f"{total['amount']} {currency} in total; profit {kept['profit']['amount']}{margin}"
        yield from paragraph(told, self.columns)
        lines = (line["quoted"]["charges"] for line in self.figures["lines"])
        charged = [
            f"{isolated(each['reason'])} ({each['amount']['amount']})"
            for charges in (*lines, self.figures["charges"])
            for each in charges
            if each["kind"] == _STATED
        ]
        if charged:
            less = ", less its tax" if self.figures["display"] == "tax_inclusive" else ""
            told = f"What is charged for {', '.join(charged)} counts as profit{less}: no cost of it is known."
            yield from paragraph(told, self.columns)

    def _rows(self) -> Iterator[tuple[tuple[str, ...], str]]:
        """Each row with its notes."""
        lines = self.figures["lines"]
        in_pieces = all(line["unit"] == "piece" for line in lines)
        is_of_one = in_pieces and all(line["quoted"]["base_quantity"] == 1 for line in lines)
        heading = "pieces" if in_pieces else "quantity"
        last = "with tax" if self.figures["display"] == "tax_inclusive" else "net"
        yield ("line", heading, "a piece" if is_of_one else "price", "saves", last), ""
        for line in lines:
            unit = line["unit"]
            yield self._quantity(isolated(line["description"]), line["quoted"], unit), "; ".join(_notes(line))
            for each in line["quantity_breaks"]:
                yield self._quantity("or, not in the totals", each, unit), "; ".join(_below_floor(each))

    def _quantity(self, name: str, quoted: Mapping[str, Any], unit: str) -> tuple[str, ...]:
        saving, amount = quoted["saving_share"], quoted["amount_with_tax"] or quoted["net_amount"]
        saves = "" if saving is None else saved_share(saving)
        priced = per_pieces(quoted["unit_price"]["amount"], quoted["base_quantity"], unit)
        sold = quoted["quantity"] if unit == PIECE else counted(quoted["quantity"], unit)
        return name, sold, priced, saves, amount["amount"]

    def _totals(self) -> Iterator[str]:
        totals = self.figures["totals"]
        contains_tax = self.figures["display"] == "tax_inclusive"
        told = "lines, with tax" if contains_tax else "lines, without tax"
        yield from row(told, totals["line_total"]["amount"], self.columns)
        for sign, adjustments in (("-", self.figures["allowances"]), ("", self.figures["charges"])):
            for each in adjustments:
                name = isolated(each["reason"]) or _KINDS[each["kind"]]
                less = "less " if sign else ""
                yield from row(f"{less}{name}", sign + each["amount"]["amount"], self.columns)
        yield from row("total without tax", totals["tax_exclusive"]["amount"], self.columns)
        for each in totals["tax_subtotals"]:
            name = each["name"] or f"tax of category {each['category']}, {stated_share(each['rate_share'])}"
            yield from row(isolated(name), each["tax_amount"]["amount"], self.columns)
        if totals["rounding"] is not None:
            yield from row("rounded for payment in cash", totals["rounding"]["amount"], self.columns)
        yield from row("TOTAL", totals["payable"]["amount"], self.columns)

    def _ready(self) -> Iterator[str]:
        ready = self.remarks.get("lead_time")
        if ready is not None:
            told = f"could be ready on {ready['ready_on']}" if ready["ready_on"] else f"no day: {ready['reason']}"
            yield ""
            yield from paragraph(f"Lead time: {told}; the bottleneck is {ready['bottleneck_name']}.", self.columns)

    def _kept(self) -> Iterator[str]:
        kept = self.figures["kept"]
        yield from row("full cost (not for the customer)", kept["full_cost"]["amount"], self.columns)
        if kept["shipping_cost"] is not None:
            yield from row("shipping", kept["shipping_cost"]["amount"], self.columns)
        margin = "" if kept["margin_share"] is None else f", a margin of {share(kept['margin_share'])}"
        yield from row(f"profit{margin}", kept["profit"]["amount"], self.columns)
        yield from row("contribution", kept["contribution"]["amount"], self.columns)


def _notes(line: Mapping[str, Any]) -> Iterator[str]:
    """Allowances and charges of a line, and materials that the customer supplies."""
    for sign, adjustments in (("-", line["quoted"]["allowances"]), ("", line["quoted"]["charges"])):
        for each in adjustments:
            kind = "tool, charged once: " if each["kind"] == "tooling" else ""
            less = "less " if sign else ""
            yield f"{less}{kind}{isolated(each['reason'])} {sign}{each['amount']['amount']}"
    for each in line["supplied"]:
        shown = whole_up if each["unit"] == PIECE else quantity
        of = "" if each["needed"] is None else f" of {shown(each['needed'])}"
        yield f"supplied by the customer: {isolated(each['name'])}, {shown(each['quantity'])}{of} {each['unit']}"
    yield from _below_floor(line["quoted"])


def _below_floor(quoted: Mapping[str, Any]) -> Iterator[str]:
    if quoted["below_floor"] is not None:
        yield f"below the floor of its policy by {quoted['below_floor']['amount']}"


def risk_text(risk: Mapping[str, Any], columns: int) -> str:
    """What a quotation may cost, as past batches went: the whole in words, then each line."""
    rows: list[tuple[tuple[str, ...], str]] = [
        (("as past batches went", "quoted", "lowest", "expected", "highest"), "")
    ]
    rows += [(_costs(isolated(line["description"]), line), isolated(line["text"])) for line in risk["lines"]]
    if len(risk["lines"]) > 1:
        rows.append((_costs("all of it", risk), ""))
    shown, notes = zip(*rows, strict=True)
    told = paragraph(f"Risk, not for the customer: {risk['text']}.", columns)
    return "\n".join((*told, "", *table(shown, columns, figures=4, notes=notes)))


def _costs(name: str, costs: Mapping[str, Any]) -> tuple[str, ...]:
    found = [costs[each] for each in ("quoted", "lowest", "expected", "highest")]
    return name, *("" if each is None else each.get("full_cost", each)["amount"] for each in found)
