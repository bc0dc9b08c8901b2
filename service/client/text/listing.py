"""A listing's price sheet and the price list as text."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from service.client.text.figures import (
    NOTHING,
    PIECE,
    amount,
    counted,
    money,
    per_pieces,
    quantity,
    share,
    stated_share,
    steps,
)
from service.client.text.remarks import remarks_text
from service.client.text.terminal import heading, isolated, padded, paragraph, row, table, wrapped


def price_sheet_text(sheet: dict[str, Any], columns: int, *, full: bool = False) -> str:
    """A listing's price and where the money goes; if full, with every formula, the shipping, the rates and cautions."""
    text = _Sheet(sheet, columns)
    lines = text.lines() if full else text.in_short()
    remarks = remarks_text(sheet["warnings"], sheet["cautions"], columns, full=full, more="how the price is found")
    return "\n".join((*lines, *remarks))


def price_list_text(entries: Sequence[dict[str, str]], columns: int) -> str:
    """The CSV records of a price list as a table, followed by the reasons for missing prices."""
    columns_of = ("listing", "channel", "price", "unit price", "margin")
    rows = [
        (
            each["listing"],
            each["channel"],
            per_pieces(each["formatted_price"], int(each["base_quantity"]), each["unit"])
            if each["formatted_price"]
            else "none",
            each["formatted_unit_price"] or NOTHING,
            share(each["margin_share"] or None),
        )
        for each in entries
    ]
    lines = [*table([columns_of, *rows], columns, figures=3)]
    for each in entries:
        if each["problem"]:
            lines += ["", *paragraph(f"{each['listing']}: {each['problem']}", columns, indent="  ")]
    return "\n".join(lines)


def _words(name: str) -> str:
    return name.replace("_", " ")


class _Sheet:
    """The lines of a price sheet; amounts without a currency are in the currency of sale."""

    def __init__(self, sheet: dict[str, Any], columns: int) -> None:
        self.sheet, self.columns = sheet, columns
        self.price: dict[str, Any] = sheet["price_per_piece"]

    def lines(self) -> Iterator[str]:
        yield from self._head()
        yield from self._as_shown()
        yield from self._way_to_the_price()
        yield from self._what_is_kept()
        yield from self._settlement()
        yield from self._discount()
        yield from self._shipping()
        yield from self._exchange_rates()
        yield from self._terms_in_force()

    def in_short(self) -> Iterator[str]:
        """The price, and what is left of it after each deduction."""
        sheet, price = self.sheet, self.price
        yield from self._title()
        yield from self._together()
        yield ""
        yield from self._asked()
        *deductions, (_, _, profit) = self._amounts()
        for name, _, figure in deductions:
            if name.startswith(("less ", "plus ")):
                yield from self._row(name, figure)
        margin = "" if price["margin_share"] is None else f", a margin of {share(price['margin_share'])}"
        yield from self._row(f"PROFIT{margin}", profit)
        if sheet["settlement"] is not None and sheet["settlement"]["proceeds"]["currency"] != sheet["currency"]:
            yield from self._row("the same at home", self._home()[-1][1])
        yield from self._floor()
        yield from self._discount()

    def _row(self, text: str, figure: str) -> Iterator[str]:
        yield from row(text, figure, self.columns)

    def _text(self, text: str, first: str = "  ") -> Iterator[str]:
        yield from paragraph(text, self.columns, first, " " * len(first))

    def _title(self) -> Iterator[str]:
        sheet = self.sheet
        yield from heading(f"LISTING {sheet['listing']}", sheet["as_of"], self.columns)
        yield from self._text(isolated(sheet["name"]), "")

    def _head(self) -> Iterator[str]:
        sheet = self.sheet
        yield from self._title()
        for line in sheet["description"].splitlines():
            yield from self._text(isolated(line), "")
        batch = counted(sheet["quantity"], sheet["unit"])
        tax = f"tax {sheet['tax']}" if sheet["tax"] else "no tax"
        told = f"{sheet['product']} on {sheet['channel']}, for {sheet['locale']}; {tax}; cost of a batch of {batch}"
        yield from self._text(told, "")
        yield from self._together()
        yield from self._text(f"Aim: {self._aim()}", "")

    def _together(self) -> Iterator[str]:
        """How much the price is for, and an order has, where that is not one piece."""
        base, ordered, unit = self.sheet["base_quantity"], Decimal(self.sheet["pieces_per_order"]), self.sheet["unit"]
        if base > 1 or unit != PIECE:
            together = ", sold together" if ordered == base > 1 else ""
            yield from self._text(f"Every amount is for {counted(base, unit)}{together}.", "")
        if ordered != base:
            told = f"Fixed fees and shipping are those of an order of {counted(ordered, unit)}, spread."
            yield from self._text(told, "")

    def _aim(self) -> str:
        policy = self.sheet["policy"]
        if policy is None:
            return "none, the price is given"
        parts = [f"a {_words(policy['target'])} of {policy['value']} on {_words(policy['cost_basis'])}"]
        parts += [
            f"never below {_words(limit)}"
            for limit in (policy["never_below_cost"], policy["never_below_amount"])
            if limit is not None
        ]
        if policy["price_step"]:
            parts.append(f"in steps of {policy['price_step']}")
        if policy["price_endings"]:
            parts.append(f"ending in {' or '.join(policy['price_endings'])}")
        return ", ".join([*parts, f"rounded {'up' if policy['rounding'] == 'up' else 'to the nearest'}"])

    def _as_shown(self) -> Iterator[str]:
        sheet = self.sheet
        yield ""
        yield from self._asked()
        if sheet["unit_price"]:
            per = f"unit price per {sheet['unit_price']['measure']}: {sheet['unit_price']['formula']}"
            yield from self._row(per, sheet["formatted_unit_price"])
        if sheet["cash_price"]:
            yield from self._row("cash price, with tax", money(sheet["cash_price"]))

    def _asked(self) -> Iterator[str]:
        tax = "with tax" if self.price["display"] == "tax_inclusive" else "without tax"
        price = per_pieces(self.sheet["formatted_price"], self.sheet["base_quantity"], self.sheet["unit"])
        yield from self._row(f"PRICE as buyers see it, {tax}", price)

    def _way_to_the_price(self) -> Iterator[str]:
        yield from self._heading("How the price is found")
        for term in self.price["terms"]:
            if term["name"] == "net price":
                return
            yield from self._row(f"{term['name']}: {term['formula']}", self._shown(term["amount"]["amount"]))

    def _what_is_kept(self) -> Iterator[str]:
        price = self.price
        yield from self._heading("What is kept of it")
        for name, formula, figure in self._amounts():
            yield from self._row(f"{name}: {formula}" if formula else name, figure)
        yield ""
        yield from self._row("margin: profit ÷ net price", share(price["margin_share"]))
        yield from self._row("markup: profit ÷ full cost", share(price["markup_share"]))
        yield from self._row("contribution: proceeds less variable cost", self._shown(price["contribution"]["amount"]))
        yield from self._floor()
        least = price["break_even_price"]
        yield from self._row("break-even price", self._shown(least["amount"]) if least else "any price")

    def _floor(self) -> Iterator[str]:
        price, floor = self.price, self.price["floor_price"]
        yield from self._row(
            "floor, the least to ask", self._shown(floor["amount"]) if floor else "no price keeps to it"
        )
        if price["is_raised_to_floor"]:
            yield from self._text("The target did not keep to the floor; the price was raised to it.")
        if price["is_below_floor"]:
            yield from self._text("BELOW THE FLOOR: this price does not keep to it.")

    def _amounts(self) -> Iterator[tuple[str, str, str]]:
        """Each line from the gross price to the profit: its name, its formula if it has one, and its amount.

        The amounts are rounded so that the column adds up; deductions have a minus.
        """
        gross, lines = self.price["gross_price"]["amount"], [*self._steps()]
        shown = steps(gross, [step for *_, step in lines if step], self.sheet["currency"])
        left = self._shown(gross)
        yield "gross price", "", left
        for name, formula, step in lines:
            figure = shown.pop(0) if step else left
            left = f"{Decimal(left) + Decimal(figure)}" if step else left
            yield name, formula, figure

    def _steps(self) -> Iterator[tuple[str, str, str]]:
        """What is added or deducted after the gross price, with its sign; nothing where what is left has a name."""
        price, formulas = self.price, {term["name"]: term["formula"] for term in self.price["terms"]}
        yield "less tax", f"net price × {price['tax_share']}", f"-{price['tax']['amount']}"
        yield "net price", "", ""
        if Decimal(price["shipping_charge"]["amount"]):
            charge = self._shown(price["shipping_charge"]["amount"])
            charged = f"plus shipping charge without tax (the buyer pays {charge})"
            yield charged, "", price["net_shipping_charge"]["amount"]
        for fee in price["fees"]:
            yield f"less {isolated(fee['name'])}", fee["formula"], f"-{fee['amount']['amount']}"
        for member in ("conversion_cost", "shipping_cost"):
            if Decimal(price[member]["amount"]):
                yield f"less {_words(member)}", formulas[_words(member)], f"-{price[member]['amount']}"
        yield "proceeds", "", ""
        yield "less full cost", "", f"-{price['full_cost']['amount']}"
        yield "profit", "", ""

    def _shown(self, figure: str) -> str:
        return amount(figure, self.sheet["currency"])

    def _settlement(self) -> Iterator[str]:
        settlement = self.sheet["settlement"]
        if settlement is None:
            return
        yield from self._heading("What comes home", "")
        yield from self._row("paid out, tax included, after fees and conversion", money(settlement["payout"]))
        for name, figure in self._home():
            yield from self._row(name, figure)

    def _home(self) -> list[tuple[str, str]]:
        """Proceeds, full cost and profit in the workshop's currency, such that they add up."""
        settlement = self.sheet["settlement"]
        proceeds, cost = (Decimal(settlement[name]["amount"]) for name in ("proceeds", "full_cost"))
        currency = settlement["proceeds"]["currency"]
        kept, less = map(Decimal, steps(f"{proceeds * 0}", [f"{proceeds}", f"{-cost}"], currency))
        figures = (("proceeds", kept), ("full cost", -less), ("profit", kept + less))
        return [(name, f"{figure} {currency}") for name, figure in figures]

    def _discount(self) -> Iterator[str]:
        discount = self.sheet["discount"]
        if discount is None:
            return
        yield from self._heading(f"With a discount of {stated_share(discount['discount_share'])}")
        yield from self._row("discounted price", self._shown(discount["discounted_price"]["amount"]))
        yield from self._row("profit", self._shown(discount["profit"]["amount"]))
        yield from self._row("margin", share(discount["margin_share"]))
        least, after = discount["least_price"], discount["least_price_discounted"]
        yield from self._row("the least price that bears it", self._shown(least["amount"]) if least else "none does")
        if after:
            yield from self._row("that price less the discount", self._shown(after["amount"]))
        if discount["is_below_floor"]:
            yield from self._text("BELOW THE FLOOR: the discounted price does not keep to it.")

    def _shipping(self) -> Iterator[str]:
        shipping = self.sheet["shipping"]
        if shipping is None:
            return
        yield from self._heading(
            f"Sent by {isolated(shipping['name'])} ({shipping['service']}, {shipping['zone']})", ""
        )
        for parcel in shipping["parcels"]:
            yield from self._text(self._parcel(parcel))
            yield from self._text(parcel["reason"])
            if parcel["container"]:
                yield from self._text(parcel["packing"])
        yield from self._row("carriage", money(shipping["carriage"]))
        yield from self._row("fuel surcharge", money(shipping["fuel_surcharge"]))
        yield from self._row("price of shipping", money(shipping["price"]))
        if shipping["workshop_price"] != shipping["price"]:
            yield from self._row("the same, converted", money(shipping["workshop_price"]))

    def _parcel(self, parcel: dict[str, Any]) -> str:
        container = f"in {parcel['container']}" if parcel["container"] else "as it is"
        sides = " × ".join(quantity(parcel[f"{side}_mm"]) for side in ("length", "width", "height"))
        volumetric = f", volumetric weight {quantity(parcel['volumetric_kg'])} kg" if parcel["volumetric_kg"] else ""
        held = str(parcel["pieces"]) if parcel["quantity"] is None else counted(parcel["quantity"], parcel["unit"])
        what = f"{parcel['count']} times {held}" if parcel["count"] > 1 else "A piece" if held == "1" else held
        return f"{what} {container}: {sides} mm, {quantity(parcel['mass_kg'])} kg{volumetric}."

    def _exchange_rates(self) -> Iterator[str]:
        days = self.sheet["exchange_rates"]
        if days:
            yield from self._heading("Exchange rates", "")
        for day in days:
            told = {0: "of the day itself", 1: "1 day old"}.get(day["age_days"], f"{day['age_days']} days old")
            rates = ", ".join(f"{rate} {currency}" for currency, rate in day["rates"].items())
            yield from self._text(f"{day['published_on']}, {told}, source {isolated(day['source'])}:")
            yield from self._text(f"1 {day['base']} = {rates}", "    ")

    def _terms_in_force(self) -> Iterator[str]:
        used = ", ".join(f"{resource} {day}" for resource, day in self.sheet["rates_valid_from"].items())
        if used:
            yield from self._heading("Terms in force, each with its first day", "")
            yield from self._text(used)

    def _heading(self, text: str, unit: str | None = None) -> Iterator[str]:
        yield ""
        lines = wrapped(text, self.columns - 4)
        yield from lines[:-1]
        yield padded(lines[-1], self.columns - 3) + self.sheet["currency"] if unit is None else lines[-1]
        yield "-" * self.columns
