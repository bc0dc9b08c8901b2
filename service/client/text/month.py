"""A month as text: whether it pays, what limits it, and the best mix."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.client.text.figures import NOTHING, amount, share, whole, whole_down, whole_up
from service.client.text.month_resources import earned, rests_on, taken
from service.client.text.month_units import Units
from service.client.text.remarks import remarks_text
from service.client.text.terminal import isolated, paragraph, row, table

_VOLUMES = {
    "nothing": "nothing sold",
    "break_even": "break-even",
    "target": "target profit",
    "plan": "the plan",
    "full_capacity": "bottleneck full",
}
_STEPS = {
    "profit_of_products": "profits of the products at full cost",
    "under_absorbed": "less what the plan does not absorb",
    "over_absorbed": "plus what it absorbs beyond the cost",
    "left_out": "plus what it absorbs of costs that are left out",
    "other_fixed_costs": "less other fixed costs",
}
_REACHED = ("whole_pieces", "sales")
"""What is told of a volume: its members."""
_NOTHING_PLANNED = "nothing is planned"
_NONE_REACHES = "none reaches it"
_BEYOND = " (not with the hours there are)"
_VERDICTS = {"pays": "pays: it earns", "loses": "does not pay: it loses", "breaks_even": "breaks even: it earns"}


def month_text(month: Mapping[str, Any], columns: int, *, full: bool = False) -> str:
    """Whether it pays, and by how much; if full, with what it takes, what its fixed costs are and every caution."""
    text = _Text(month, columns)
    remarks = remarks_text(month["warnings"], month["cautions"], columns, full=full, more="every table")
    return "\n".join((*(text.lines() if full else text.in_short()), *remarks))


class _Text:
    def __init__(self, month: Mapping[str, Any], columns: int) -> None:
        self.month, self.columns = month, columns
        self.names = {load["resource"]: load["name"] for load in month["loads"]}
        self.names |= {line["product"]: line["name"] for line in month["lines"]}
        self.cannot_be_made = month["verdict"] == "cannot_be_made"
        self.is_empty = not any(Decimal(line["pieces"]) for line in month["lines"])
        self.units = Units(month)
        self.counted = "pieces" if self.units.are_pieces else "quantity"

    def in_short(self) -> Iterator[str]:
        """The verdict and what it rests on, the main figures, and what would earn more."""
        yield from self._head()
        yield from self._result()
        yield from self._reached(_VOLUMES["break_even"], self.month["break_even"], _REACHED[:1])
        if self.month["target_profit"] is not None:
            yield from self._reached(_VOLUMES["target"], self.month["target"], _REACHED[:1])
        yield from self._bottleneck()
        mix = self.month["best_mix"]
        if mix is not None and mix["outcome"] == "found" and not self.cannot_be_made:
            yield from row("profit of the mix that earns the most", mix["profit"]["amount"], self.columns)
        else:
            yield from self._best_mix()

    def _head(self) -> Iterator[str]:
        yield from paragraph(self._verdict(), self.columns)
        why = self._why_it_cannot_be_made() if self.cannot_be_made else ()
        for each in (*why, *rests_on(self.month)):
            yield from paragraph(each, self.columns)
        yield ""

    def lines(self) -> Iterator[str]:
        yield from self._head()
        yield from self._facts()
        if self.cannot_be_made:
            yield from self._best_mix()
        for heading, rows, figures in self._tables():
            yield ""
            yield heading
            yield from table(rows, self.columns, figures)
        if not self.cannot_be_made:
            yield from self._best_mix()

    def _verdict(self) -> str:
        month, rates = self.month, f"at the rates of {self.month['as_of']}"
        if self.cannot_be_made:
            return f"The plan cannot be made, {rates}"
        profit = month["profit"]["amount"].removeprefix("-")
        return f"The month {_VERDICTS[month['verdict']]} {profit} {month['currency']}, {rates}"

    def _why_it_cannot_be_made(self) -> Iterator[str]:
        """The time that is missing, and what the best mix that fits earns."""
        for load in sorted(self.month["loads"], key=lambda load: not load["is_bottleneck"]):
            if load["is_over_full"]:
                of_it = "" if load["load_share"] is None else f" ({share(load['load_share'])})"
                needed, available = _whole_minutes(load)
                yield f"It needs {needed} minutes of {isolated(load['name'])}, and there are {available}{of_it}."
        mix = self.month["best_mix"]
        if mix is not None and mix["outcome"] == "found":
            profit = mix["profit"]["amount"]
            earns = f"loses {profit[1:]}" if profit.startswith("-") else f"earns {profit}"
            yield f"The best mix found that fits {earns} {self.month['currency']}."

    @property
    def _supposed(self) -> str:
        return ", if the plan could be made" if self.cannot_be_made else ""

    def _result(self) -> Iterator[str]:
        for name in ("sales", "contribution", "fixed_cost", "profit"):
            told = name.replace("_", " ") + (self._supposed if name == "profit" else "")
            yield from row(told, self.month[name]["amount"], self.columns)

    def _facts(self) -> Iterator[str]:
        month, supposed = self.month, self._supposed
        yield from self._result()
        if month["paid_idle"] is not None:
            yield from row("of the fixed cost, pay for idle time", month["paid_idle"]["amount"], self.columns)
        for told, earns in earned(month):
            yield from row(told + supposed, earns, self.columns)
        yield from row("contribution of the sales", share(month["contribution_margin_share"]), self.columns)
        yield from self._reached("break-even", month["break_even"])
        if month["target_profit"] is not None:
            target = f"for a profit of {month['target_profit']['amount']}"
            yield from self._reached(target, month["target"])
        if month["margin_of_safety"] is not None:
            margin = month["margin_of_safety"]
            told = f"margin of safety, {share(margin['share'])}{supposed}"
            yield from row(told, margin["sales"]["amount"], self.columns)
        yield from self._bottleneck()

    def _bottleneck(self) -> Iterator[str]:
        none = _NOTHING_PLANNED if self.is_empty else "not known: register hours_per_week"
        full = (load["load_share"] for load in self.month["loads"] if load["is_bottleneck"])
        named = isolated(self.names.get(self.month["bottleneck"], none))
        yield from row(f"bottleneck: {named}", share(next(full, None)), self.columns)

    def _reached(self, told: str, volume: Mapping[str, Any] | None, members: Sequence[str] = _REACHED) -> Iterator[str]:
        """Pieces and sales of a volume, and whether there is time for it."""
        beyond = _BEYOND if volume and volume["is_beyond_capacity"] else ""
        for member in members:
            reached = _NOTHING_PLANNED if self.is_empty else self._volume(volume, member)
            name = member if member == "sales" else f"{self.counted}{beyond}"
            yield from row(f"{told}, {name}", reached, self.columns)

    def _volume(self, volume: Mapping[str, Any] | None, member: str) -> str:
        if volume is None:
            return _NONE_REACHES
        return volume["sales"]["amount"] if member == "sales" else self.units.reached(volume)

    def _tables(self) -> Iterator[tuple[str, Sequence[Sequence[str]], int]]:
        yield "What is sold", list(self._sold()), 5
        yield "Fixed costs of the month", list(self._fixed()), 1
        if self.month["absorption"]:
            planned = "pieces" if self.units.are_pieces else "products"
            yield f"What the planned {planned} absorb of it", list(self._absorbed()), 3
        yield "From the products' profits to the month's", list(self._reconciled()), 1
        yield "Profit by volume of the mix", list(self._volumes()), 4
        if self.month["loads"]:
            yield "Time, in minutes", list(self._time()), 3
        yield from taken(self.month)

    def _sold(self) -> Iterator[tuple[str, ...]]:
        yield "product", self.counted, "price", "contributes", "together", "break-even alone"
        for line in self.month["lines"]:
            price = line["price"]
            shown = price["amount"] + ("" if price["currency"] == self.month["currency"] else f" {price['currency']}")
            unit, together = line["unit"], line["month_contribution"]["amount"]
            shown = self.units.priced(shown, line["base_quantity"], unit)
            contributes = self.units.priced(self._shown(line["contribution"]), 1, unit)
            pieces = self.units.of_product(line["pieces"], unit)
            yield isolated(line["name"]), pieces, shown, contributes, together, self._alone(line)

    def _alone(self, line: Mapping[str, Any]) -> str:
        volume = line["alone_break_even"]
        if volume is None:
            return _NONE_REACHES
        beyond = (" (too many)" if line["unit"] == "piece" else " (too much)") if volume["is_beyond_capacity"] else ""
        return self.units.of_product(volume["whole_pieces"], line["unit"]) + beyond

    def _fixed(self) -> Iterator[tuple[str, str]]:
        yield "fixed cost", "amount"
        for each in self.month["fixed_costs"]:
            yield isolated(each["name"]), each["amount"]["amount"]

    def _absorbed(self) -> Iterator[tuple[str, ...]]:
        yield "fixed cost", "amount", "absorbed", "not absorbed"
        for each in self.month["absorption"]:
            figures = (each[name]["amount"] for name in ("incurred", "absorbed", "under_absorbed"))
            yield isolated(each["name"]) + (" (left out)" if each["is_left_out"] else ""), *figures

    def _reconciled(self) -> Iterator[tuple[str, str]]:
        """The profits of the products, each step that is not 0, and the profit of the month."""
        yield "step", "amount"
        for member, told in _STEPS.items():
            amount = self.month["reconciliation"][member]["amount"]
            if Decimal(amount) or member == "profit_of_products":
                yield told, f"-{amount}" if told.startswith("less") else amount
        yield "profit", self.month["reconciliation"]["profit"]["amount"]

    def _volumes(self) -> Iterator[tuple[str, ...]]:
        yield "volume", self.counted, "sales", "bottleneck", "profit"
        for each in self.month["profit_by_volume"]:
            figures = each["sales"]["amount"], share(each["bottleneck_share"]), each["profit"]["amount"]
            told = self.units.last_within if each["milestone"] == "full_capacity" else self.units.first_from
            yield self._named(each["milestone"]), told(each), *figures

    def _named(self, milestone: str) -> str:
        """A volume by its name, with a mark if there is too little time for it."""
        volume = self.month.get(milestone) if milestone in ("break_even", "target") else None
        is_beyond = self.cannot_be_made if milestone == "plan" else volume and volume["is_beyond_capacity"]
        return _VOLUMES[milestone] + (_BEYOND if is_beyond else "")

    def _time(self) -> Iterator[tuple[str, ...]]:
        yield "machine or labour grade", "needed", "available", "load"
        for load in self.month["loads"]:
            mark = " (too much)" if load["is_over_full"] else " (bottleneck)" if load["is_bottleneck"] else ""
            yield isolated(load["name"]) + mark, *_whole_minutes(load), share(load["load_share"])

    def _shown(self, found: Mapping[str, str]) -> str:
        return amount(found["amount"], found["currency"])

    def _best_mix(self) -> Iterator[str]:
        mix = self.month["best_mix"]
        if mix is None:
            return
        yield ""
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
        rows: list[tuple[str, ...]] = [("product", "planned", "best mix", "earns a bottleneck hour")]
        for line, best in zip(self.month["lines"], mix["lines"], strict=True):
            hour = line["contribution_per_hour"]
            pieces = (self.units.of_product(each["pieces"], line["unit"]) for each in (line, best))
            rows.append((isolated(line["name"]), *pieces, self._shown(hour) if hour else NOTHING))
        yield from table(rows, self.columns, 3)
        than = "" if mix["is_proven"] else f" than {mix['profit_at_most']['amount']}"
        yield from paragraph(f"No mix that you can make and sell earns more{than}.", self.columns)
        for each in mix["time_values"]:
            value = self._shown(each["value_of_another_hour"])
            yield from paragraph(f"One more hour of {isolated(each['name'])} earns about {value}.", self.columns)


def _whole_minutes(load: Mapping[str, Any]) -> tuple[str, str]:
    """Minutes needed and available; where they are too few, rounded apart, so that the two never look alike."""
    needed, available = load["minutes_needed"], load["minutes_available"]
    if load["is_over_full"]:
        return whole_up(needed), whole_down(available)
    return whole(needed), "not known" if available is None else whole(available)
