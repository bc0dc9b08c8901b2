"""A month as text: whether it pays, what limits it, and the best mix."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.client.text.terminal import isolated, paragraph, row, table

_VOLUMES = {
    "nothing": "nothing sold",
    "break_even": "break-even",
    "target": "target profit",
    "plan": "the plan",
    "full_capacity": "bottleneck full",
}
_UNKNOWN = "-"


def month_text(month: Mapping[str, Any], columns: int) -> str:
    """The service's figures, unchanged; shares as percentages."""
    return "\n".join(_Text(month, columns).lines())


class _Text:
    def __init__(self, month: Mapping[str, Any], columns: int) -> None:
        self.month, self.columns = month, columns
        self.names = {load["resource"]: load["name"] for load in month["loads"]}
        self.names |= {line["product"]: line["name"] for line in month["lines"]}

    def lines(self) -> Iterator[str]:
        month = self.month
        profit = month["profit"]["amount"]
        verdict = f"does not pay: it loses {profit[1:]}" if profit.startswith("-") else f"pays: it earns {profit}"
        yield from paragraph(f"The month {verdict} {month['currency']}, at the rates of {month['as_of']}", self.columns)
        yield ""
        yield from self._facts()
        for heading, rows, figures in self._tables():
            yield ""
            yield heading
            yield from table(rows, self.columns, figures)
        if month["best_mix"] is not None:
            yield ""
            yield from self._best_mix(month["best_mix"])
        if month["cautions"]:
            yield ""
            yield "Cautions:"
            for each in month["cautions"]:
                yield from paragraph(each["text"], self.columns, "  - ", "    ")

    def _facts(self) -> Iterator[str]:
        month = self.month
        for name in ("sales", "contribution", "fixed_cost", "profit"):
            yield from row(name.replace("_", " "), month[name]["amount"], self.columns)
        yield from row("contribution of the sales", _share(month["contribution_margin_share"]), self.columns)
        yield from row("break-even, pieces", _volume(month["break_even"], "whole_pieces"), self.columns)
        yield from row("break-even, sales", _volume(month["break_even"], "sales"), self.columns)
        if month["target_profit"] is not None:
            target = f"for a profit of {month['target_profit']['amount']}"
            yield from row(f"{target}, pieces", _volume(month["target"], "whole_pieces"), self.columns)
            yield from row(f"{target}, sales", _volume(month["target"], "sales"), self.columns)
        if month["margin_of_safety"] is not None:
            margin = month["margin_of_safety"]
            yield from row(f"margin of safety, {_share(margin['share'])}", margin["sales"]["amount"], self.columns)
        bottleneck = self.names.get(month["bottleneck"], "not known: register hours_per_week")
        yield from paragraph(f"bottleneck: {isolated(bottleneck)}", self.columns, "  ", "    ")

    def _tables(self) -> Iterator[tuple[str, Sequence[Sequence[str]], int]]:
        yield "What is sold", list(self._sold()), 5
        yield "Fixed costs of the month", list(self._fixed()), 1
        yield "Profit by volume of the mix", list(self._volumes()), 4
        if self.month["loads"]:
            yield "Time, in minutes", list(self._time()), 3

    def _sold(self) -> Iterator[tuple[str, ...]]:
        yield "product", "pieces", "price", "contributes", "together", "break-even alone"
        for line in self.month["lines"]:
            price = line["price"]
            shown = price["amount"] + ("" if price["currency"] == self.month["currency"] else f" {price['currency']}")
            alone = _volume(line["alone_break_even"], "whole_pieces")
            together = line["month_contribution"]["amount"]
            pieces = str(line["pieces"])
            yield isolated(line["name"]), pieces, shown, line["contribution"]["amount"], together, alone

    def _fixed(self) -> Iterator[tuple[str, str]]:
        yield "fixed cost", "amount"
        for each in self.month["fixed_costs"]:
            yield isolated(each["name"]), each["amount"]["amount"]

    def _volumes(self) -> Iterator[tuple[str, ...]]:
        yield "volume", "pieces", "sales", "bottleneck", "profit"
        for each in self.month["profit_by_volume"]:
            figures = each["sales"]["amount"], _share(each["bottleneck_share"]), each["profit"]["amount"]
            yield _VOLUMES[each["milestone"]], each["pieces"], *figures

    def _time(self) -> Iterator[tuple[str, ...]]:
        yield "machine or labour grade", "needed", "available", "load"
        for load in self.month["loads"]:
            mark = " (too much)" if load["is_over_full"] else " (bottleneck)" if load["is_bottleneck"] else ""
            available = load["minutes_available"] or "not known"
            yield isolated(load["name"]) + mark, load["minutes_needed"], available, _share(load["load_share"])

    def _best_mix(self, mix: Mapping[str, Any]) -> Iterator[str]:
        if mix["outcome"] != "found":
            named = ", ".join(isolated(self.names[each]) for each in mix["limited_by"])
            reasons = {
                "not_solved": "The best mix could not be computed; everything else here holds.",
                "too_little_time": f"Even the least that must be sold needs more time than there is on: {named}.",
                "unlimited": f"No best mix: neither demand nor known time limits {named}.",
            }
            yield from paragraph(reasons[mix["outcome"]], self.columns)
            return
        yield f"The mix that earns the most: {mix['profit']['amount']}"
        rows = [("product", "planned", "best mix", "earns a bottleneck hour")]
        for line, best in zip(self.month["lines"], mix["lines"], strict=True):
            hour = line["contribution_per_hour"]
            figures = str(line["pieces"]), str(best["pieces"]), hour["amount"] if hour else _UNKNOWN
            rows.append((isolated(line["name"]), *figures))
        yield from table(rows, self.columns, 3)
        than = "" if mix["is_proven"] else f" than {mix['profit_at_most']['amount']}"
        yield from paragraph(f"No mix that you can make and sell earns more{than}.", self.columns)
        for each in mix["time_values"]:
            value = each["value_of_another_hour"]["amount"]
            yield from paragraph(f"One more hour of {isolated(each['name'])} earns about {value}.", self.columns)


def _share(share: str | None) -> str:
    return _UNKNOWN if share is None else f"{Decimal(share) * 100:.1f} %"


def _volume(volume: Mapping[str, Any] | None, member: str) -> str:
    if volume is None:
        return "none reaches it"
    figure = volume[member]
    return figure["amount"] if isinstance(figure, dict) else str(figure)
