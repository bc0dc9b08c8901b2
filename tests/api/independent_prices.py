"""Price sheets in fractions, from the definition of each fee alone.

Nothing is solved here: the search goes up from 0 over the prices of the grid. (Proceeds rise no faster than the
price, so if a price falls short by an amount, all prices up to that amount above it can be skipped.)
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import ceil, floor
from typing import Any

from tests.api.independent import (
    MORE_DECIMALS,
    SHARE_DECIMALS,
    Costed,
    Exchange,
    Facts,
    apportioned,
    both,
    digits,
    half_up,
    number,
    published,
    shown,
    shown_quantity,
    snapped,
    unit_cost,
    unit_of,
)

MINOR_DECIMALS = {"EUR": 2, "USD": 2, "GBP": 2, "CZK": 2, "JPY": 0, "KWD": 3}
"""ISO 4217, list one, minor units."""
CASH_STEPS = {"CZK": Fraction(1)}
"""Cash rounding that differs from the minor unit. Source: Unicode CLDR, supplemental data, currency fractions."""

NOWHERE = 3000
"""Greatest number of prices tried if even a very high price (FAR) falls short."""
FAR = Fraction(10**18)
FINEST = Fraction(1, 10**20)

Shortfall = Callable[[Fraction], Fraction]
"""What a displayed price falls short by; negative if it is more than needed."""


@dataclass
class Sale:
    """The terms between a displayed price and its proceeds; everything in the currency of sale.

    Attributes:
        tax: tax as a share of the net price, as entered.
        is_inclusive: whether the displayed price includes tax.
        fees: fees of the channel, as entered.
        rate: converts an amount of the channel's terms to the currency of sale.
        conversion_share: the spread, if another currency is paid out.
        shipping_cost: cost of shipping the pieces of an order.
        shipping_charge: what the buyer pays for shipping, including tax.
        prices: how often an order has the price; shipping and its charge are for one of them.
    """

    tax: str
    is_inclusive: bool
    fees: Sequence[Mapping[str, Any]] = ()
    rate: Callable[[Any], Fraction] = number
    conversion_share: Fraction = Fraction(0)
    shipping_cost: Fraction = Fraction(0)
    shipping_charge: Fraction = Fraction(0)
    prices: Fraction = Fraction(1)

    @property
    def tax_share(self) -> Fraction:
        return number(self.tax)

    @property
    def is_plain(self) -> bool:
        return not (self.fees or self.conversion_share or self.shipping_cost or self.shipping_charge)

    def gross(self, displayed: Fraction) -> Fraction:
        return displayed if self.is_inclusive else displayed * (1 + self.tax_share)

    def net(self, displayed: Fraction) -> Fraction:
        return displayed / (1 + self.tax_share) if self.is_inclusive else displayed

    def base(self, fee: Mapping[str, Any], displayed: Fraction) -> Fraction:
        kind = fee.get("base", "gross_price")
        if kind == "net_price":
            return self.net(displayed)
        return self.gross(displayed) + (self.shipping_charge if kind == "gross_with_shipping" else 0)

    def fee(self, fee: Mapping[str, Any], displayed: Fraction) -> Fraction:
        """A price's part of the fee on an order, including tax on the fee."""
        amount = self._untaxed(fee, self.base(fee, displayed) * self.prices)
        if "minimum" in fee:
            amount = max(amount, self.rate(fee["minimum"]))
        if "maximum" in fee:
            amount = min(amount, self.rate(fee["maximum"]))
        return amount * (1 + number(fee.get("tax_share", 0))) / self.prices

    def _untaxed(self, fee: Mapping[str, Any], base: Fraction) -> Fraction:
        bands = fee.get("bands") or [{name: fee[name] for name in ("share", "fixed") if name in fee}]
        amount = Fraction(0)
        for band in bands:
            low, high = self.rate(band.get("above", 0)), self.rate(band["up_to"]) if "up_to" in band else None
            share = number(band.get("share", 0))
            if fee.get("banding", "whole") == "portion":
                amount += share * max(Fraction(0), (base if high is None else min(base, high)) - low)
            elif high is None or base <= high:
                return share * base + self.rate(band.get("fixed", 0))
        return amount

    def fee_total(self, displayed: Fraction) -> Fraction:
        return sum((self.fee(fee, displayed) for fee in self.fees), Fraction(0))

    def paid_out(self, displayed: Fraction) -> Fraction:
        """The amount paid out, before the conversion spread."""
        return self.gross(displayed) + self.shipping_charge - self.fee_total(displayed)

    def conversion_cost(self, displayed: Fraction) -> Fraction:
        if not self.conversion_share:  # nearly always, and the search asks for it very often
            return Fraction(0)
        return max(Fraction(0), self.paid_out(displayed)) * self.conversion_share

    def net_shipping_charge(self) -> Fraction:
        return self.shipping_charge / (1 + self.tax_share)

    def proceeds(self, displayed: Fraction) -> Fraction:
        taken = self.fee_total(displayed) + self.conversion_cost(displayed) + self.shipping_cost
        return self.net(displayed) + self.net_shipping_charge() - taken

    def steps(self) -> list[Fraction]:
        """The displayed prices at the upper ends of bands; just above each, a fee may jump."""
        found = []
        for fee in self.fees:
            for end in (self.rate(band["up_to"]) / self.prices for band in fee.get("bands", ()) if "up_to" in band):
                base_of_1, base_of_0 = self.base(fee, Fraction(1)), self.base(fee, Fraction(0))
                found.append((end - base_of_0) / (base_of_1 - base_of_0))
        return sorted(step for step in found if step >= 0)


@dataclass
class Grid:
    """Prices: whole numbers of steps plus an ending."""

    step: Fraction
    endings: Sequence[Fraction] = (Fraction(0),)

    def at_or_above(self, price: Fraction) -> Fraction:
        return min(max(0, ceil((price - ending) / self.step)) * self.step + ending for ending in self.endings)

    def above(self, price: Fraction) -> Fraction:
        return min(max(0, floor((price - ending) / self.step) + 1) * self.step + ending for ending in self.endings)

    def below(self, price: Fraction) -> Fraction | None:
        """The next lower price, if any."""
        places = ((ceil((price - ending) / self.step) - 1, ending) for ending in self.endings)
        return max((place * self.step + ending for place, ending in places if place >= 0), default=None)


@dataclass
class Search:
    """Searches prices upwards."""

    sale: Sale
    steps: Sequence[Fraction]

    def least(self, grid: Grid, shortfalls: Sequence[Shortfall], at_least: Fraction = Fraction(0)) -> Fraction | None:
        """The least price of the grid without a shortfall; None if there is none."""
        price = grid.at_or_above(at_least)
        is_nowhere = any(snapped_short(each, FAR) > 0 for each in shortfalls)
        for _ in range(NOWHERE if is_nowhere else 10**6):
            short = max(snapped_short(each, price) for each in shortfalls)
            if short <= 0:
                return price
            step = next((step for step in self.steps if step >= price), None)
            leap = price + short
            price = max(grid.above(price), grid.at_or_above(leap) if step is None or leap <= step else grid.above(step))
        return None

    def least_of_all(self, shortfalls: Sequence[Shortfall], minor: Grid) -> Fraction | None:
        """The least price, to 20 decimals; in whole minor units if it lies just above a step of the fees."""
        price = self.least(Grid(FINEST), shortfalls)
        while price is not None and any(price - FINEST <= step < price for step in self.steps):
            at_minor = minor.at_or_above(price)
            if all(snapped_short(each, at_minor) <= 0 for each in shortfalls):
                return at_minor
            price = self.least(Grid(FINEST), shortfalls, at_minor)
        return price


def snapped_short(shortfall: Shortfall, price: Fraction) -> Fraction:
    """The shortfall, or 0 if it is within the rounding of a division."""
    short = shortfall(price)
    return Fraction(0) if abs(short) <= (price + 1) / 10**26 else short


@dataclass
class Question:
    """A request for a price sheet, with everything in the currency of sale.

    Attributes:
        query: the query parameters.
        sale: conditions of sale.
        costs: "full_cost" and "variable_cost" of the pieces that the price is for.
        decimals: decimals of the currency of sale.
    """

    query: Mapping[str, Any]
    sale: Sale
    costs: Mapping[str, Fraction]
    decimals: int

    def __post_init__(self) -> None:
        self.search = Search(self.sale, self.sale.steps())
        self.minor = Grid(Fraction(1, 10**self.decimals))
        endings = [number(ending) for ending in self.query.get("price_endings", ())]
        step = number(self.query.get("price_step", 1 if endings else self.minor.step))
        self.grid = Grid(step, endings or (Fraction(0),))

    def short_of_cost(self, basis: str) -> Shortfall:
        return lambda price: self.costs[basis] - self.sale.proceeds(price)

    def short_of_target(self, price: Fraction) -> Fraction:
        """The shortfall from the target, as a price: for a margin, only 1 − margin of a net price counts."""
        target, value = self.query["target"], number(self.query["value"])
        if target == "fixed_price":
            return value - price
        cost = self.costs[self.query.get("cost_basis", "full_cost")]
        profit = self.sale.proceeds(price) - cost
        if target == "margin":
            return (value * self.sale.net(price) - profit) / (1 - value)
        return (value * cost if target == "markup" else value * base_quantity(self.query)) - profit

    def floors(self) -> list[Shortfall]:
        found: list[Shortfall] = []
        if "never_below_cost" in self.query:
            found.append(self.short_of_cost(self.query["never_below_cost"]))
        if "never_below_amount" in self.query:
            found.append(lambda price: number(self.query["never_below_amount"]) - price)
        return found

    def shown_floors(self) -> list[Shortfall]:
        return self.floors() or [self.short_of_cost("variable_cost")]

    def keeps(self, floors: Sequence[Shortfall], price: Fraction) -> bool:
        return all(snapped_short(each, price) <= 0 for each in floors)

    def found(self) -> tuple[Fraction, Fraction] | None:
        """The least price that meets the target, and the price after rounding and floors; None if there is none."""
        if "kept_at" in self.query:
            return number(self.query["kept_at"]), number(self.query["kept_at"])
        floors, target = self.floors(), self.search.least_of_all([self.short_of_target], self.minor)
        both = [self.short_of_target, *floors]
        if self.query.get("rounding", "up") == "up":
            asked = self.search.least(self.grid, both)
        else:
            wanted = self.search.least_of_all(both, self.minor)
            asked = None if wanted is None else self.nearest(snapped(wanted), floors)
        return None if target is None or asked is None else (target, asked)

    def nearest(self, wanted: Fraction, floors: Sequence[Shortfall]) -> Fraction | None:
        """The nearest price of the grid that is not below the floor; of two equally near, the higher."""
        always: list[Shortfall] = [lambda _: Fraction(0)]
        above = self.search.least(self.grid, floors or always, wanted)
        below = self.grid.below(wanted)
        while below is not None and not self.keeps(floors, below):
            below = self.grid.below(below) if above is None or wanted - below < above - wanted else None
        if above is None or below is None:
            return below if above is None else above
        return above if above - wanted <= wanted - below else below

    def raised_to(self, target: Fraction, asked: Fraction) -> Fraction | None:
        """The least price at the floor, if the target is below the floor."""
        if self.keeps(self.floors(), target) or not self.keeps(self.floors(), asked):
            return None
        return self.search.least(self.minor, self.floors(), target)

    def bearing(self, share: Fraction) -> tuple[Fraction, Fraction] | None:
        """The least price of the grid whose discounted price is not below the floor, and that discounted price."""
        unit = self.minor.step

        def discounted(price: Fraction) -> Fraction:
            return half_up(snapped(price * (1 - share) / unit)) * unit

        kept = self.search.least(self.minor, self.shown_floors())
        while kept is not None:
            price = self.grid.at_or_above((kept - unit / 2) / (1 - share))
            if self.keeps(self.shown_floors(), discounted(price)):
                return price, discounted(price)
            kept = self.search.least(self.minor, self.shown_floors(), discounted(price))
        return None


def sale_of(workshop: Facts, query: Mapping[str, Any], product: str, exchange: Exchange) -> Sale:
    """The conditions of sale named by a query."""
    currency = query.get("currency", workshop.currency)
    tax = workshop.terms_on(f"taxes/{query['tax']}", exchange.as_of)[1] if "tax" in query else {"rate_share": "0"}
    sale = Sale(tax["rate_share"], query.get("display") == "tax_inclusive")
    shipment = shipment_of(workshop, query, product, exchange.as_of)
    sale.prices = pieces_per_order(query) / base_quantity(query)
    if shipment is not None:
        sale.shipping_cost = exchange.in_currency(shipment.price, shipment.currency, currency) / sale.prices
    if "channel" not in query:
        return sale
    channel = workshop.facts[f"channels/{query['channel']}"]
    terms = workshop.terms_on(f"channels/{query['channel']}", exchange.as_of)[1]

    @cache
    def rate(amount: Any) -> Fraction:
        figure = number(amount)
        return exchange.in_currency(figure, terms.get("currency", currency), currency) if figure else figure

    sale.is_inclusive = channel.get("display", "tax_inclusive") == "tax_inclusive"
    sale.fees, sale.rate = terms.get("fees", ()), rate
    if channel.get("payout_currency", currency) != currency:
        sale.conversion_share = number(terms.get("conversion_spread_share", 0))
    if terms.get("shipping_paid_by") == "buyer" and shipment is not None:
        charge = rate(terms["shipping_charge"]) / sale.prices if "shipping_charge" in terms else None
        sale.shipping_charge = sale.gross(charge) if charge is not None else sale.shipping_cost * (1 + sale.tax_share)
    return sale


@dataclass
class Shipment:
    """Pieces or units of an order, each shipped by itself without a container; a part of a unit is one parcel more.

    Attributes:
        parcels: how many there are that are billed alike, and the billable kilograms of each: the greater of its mass
            and its volume ÷ divisor, rounded up to the step.
        price: of all: for each that of the first weight class that covers it, with the fuel surcharge; not rounded.
        currency: currency of the price.
    """

    parcels: list[tuple[int, Fraction]]
    price: Fraction
    currency: str


def shipment_of(workshop: Facts, query: Mapping[str, Any], code: str, as_of: str) -> Shipment | None:
    """The shipment of an order of the product; None if it is not shipped."""
    if "shipping_service" not in query:
        return None
    product = workshop.facts[f"products/{code}"]
    terms = workshop.terms_on(f"shipping-services/{query['shipping_service']}", as_of)[1]
    classes = terms["zones"][query["shipping_zone"]]
    whole, rest = divmod(pieces_per_order(query), 1)
    parcels = [
        (count, billable_kg(product, part, terms))
        for count, part in ((whole, Fraction(1)), (1, rest))
        if count and part
    ]
    prices = [
        count * number(next(each["price"]["amount"] for each in classes if billable <= number(each["up_to_kg"])))
        for count, billable in parcels
    ]
    surcharged = sum(prices, Fraction(0)) * (1 + number(terms.get("fuel_surcharge_share", 0)))
    return Shipment(parcels, surcharged, classes[0]["price"]["currency"])


def billable_kg(product: Mapping[str, Any], part: Fraction, terms: Mapping[str, Any]) -> Fraction:
    """Of a unit, or a part of one, which takes up as much room. A kilogram need not say what it weighs."""
    length, width, height = (number(product[f"{side}_mm"]) for side in ("length", "width", "height"))
    billable = part * number(product.get("mass_kg", 1))
    if "divisor_cm3_per_kg" in terms:
        billable = max(billable, length * width * height / 1000 / number(terms["divisor_cm3_per_kg"]))
    if "weight_step_kg" in terms:
        step = number(terms["weight_step_kg"])
        billable = ceil(billable / step) * step
    return billable


def shipped(workshop: Facts, query: Mapping[str, Any], product: str, exchange: Exchange) -> dict[str, Any] | None:
    """The shipment as the answer shows it."""
    shipment, home = shipment_of(workshop, query, product, exchange.as_of), workshop.currency
    if shipment is None:
        return None
    at_home = exchange.in_currency(shipment.price, shipment.currency, home)
    prices = {"price": (shipment.price, shipment.currency), "workshop_price": (at_home, home)}
    return {
        "parcels": [(count, shown_quantity(billable)) for count, billable in shipment.parcels],
        **{
            name: {"amount": shown(amount, MINOR_DECIMALS[currency]), "currency": currency}
            for name, (amount, currency) in prices.items()
        },
    }


def base_quantity(query: Mapping[str, Any]) -> int:
    """The pieces that the price is for."""
    return int(query.get("base_quantity", 1))


def pieces_per_order(query: Mapping[str, Any]) -> Fraction:
    """The pieces that an order has."""
    return number(query.get("pieces_per_order", base_quantity(query)))


def orders_in(pieces: Fraction, query: Mapping[str, Any]) -> Fraction:
    """The orders that a batch is sold in: one where it is sold directly, and nobody says what an order has."""
    is_one = "channel" not in query and "pieces_per_order" not in query
    return Fraction(1) if is_one else pieces / pieces_per_order(query)


def question_of(workshop: Facts, batch: Costed, query: Mapping[str, Any], exchange: Exchange) -> Question:
    currency = query.get("currency", workshop.currency)
    costs = {
        basis: exchange.in_currency(cost, workshop.currency, currency) * base_quantity(query)
        for basis, cost in unit_cost(workshop, batch).items()
    }
    return Question(query, sale_of(workshop, query, batch.product, exchange), costs, MINOR_DECIMALS[currency])


def price_sheet(
    workshop: Facts, batch: Costed, subtotals: Mapping[str, Any], query: Mapping[str, Any]
) -> dict[str, Any] | None:
    """The figures of the answer; None if no price meets the target.

    Args:
        workshop: registered facts and terms.
        batch: its quantities and rates, with the orders that the query means.
        subtotals: subtotals of its cost sheet; of one piece in the workshop's currency, the price sheet shows
            the same costs.
        query: the query parameters.
    """
    exchange = Exchange(workshop, batch.as_of)
    question = question_of(workshop, batch, query, exchange)
    found = question.found()
    if found is None:
        return None
    target, asked = found
    currency = query.get("currency", workshop.currency)
    shown_costs = {
        basis: number(subtotals[basis]["per_piece"]["amount"])
        if currency == workshop.currency and base_quantity(query) == 1
        else cost
        for basis, cost in question.costs.items()
    }
    sheet = Sheet(question, currency, shown_costs, target, asked, batch.pieces)
    named = [f"{name}/{query[member]}" for member, name in NAMED.items() if member in query]
    settlement = settled(workshop, query, sheet, exchange)
    return {
        "product": batch.product,
        "quantity": shown_quantity(batch.pieces),
        "unit": unit_of(workshop, batch.product),
        "as_of": batch.as_of,
        "currency": currency,
        "tax": query.get("tax"),
        "channel": query.get("channel"),
        "base_quantity": base_quantity(query),
        "pieces_per_order": shown_quantity(pieces_per_order(query)),
        "price_per_piece": sheet.statement(),
        "cash_price": sheet.cash_price(),
        "shipping": shipped(workshop, query, batch.product, exchange),
        "discount": sheet.discount(),
        "settlement": settlement,
        "rates_valid_from": {resource: workshop.terms_on(resource, batch.as_of)[0] for resource in named},
        "exchange_rates": published(workshop, both(batch.exchange_days, exchange.days), batch.as_of),
    }


NAMED = {"tax": "taxes", "channel": "channels", "shipping_service": "shipping-services"}


def settled(
    workshop: Facts, query: Mapping[str, Any], sheet: "Sheet", exchange: Exchange
) -> dict[str, dict[str, str]] | None:
    """The payout, and proceeds, cost and profit in the workshop's currency."""
    home, currency, sale = workshop.currency, sheet.currency, sheet.sale
    if "channel" not in query and currency == home:
        return None
    channel = workshop.facts[f"channels/{query['channel']}"] if "channel" in query else {}
    payout_currency = channel.get("payout_currency", currency)
    payout = sale.paid_out(sheet.asked) - sale.conversion_cost(sheet.asked)
    more = MINOR_DECIMALS[home] + MORE_DECIMALS

    def brought_home(amount: Fraction) -> Fraction:
        return number(shown(exchange.in_currency(amount, currency, home), more))

    proceeds, cost = brought_home(sale.proceeds(sheet.asked)), brought_home(sheet.question.costs["full_cost"])
    paid = shown(exchange.in_currency(payout, currency, payout_currency), MINOR_DECIMALS[payout_currency])
    return {
        "payout": {"amount": paid, "currency": payout_currency},
        "proceeds": {"amount": shown(proceeds, more), "currency": home},
        "full_cost": {"amount": shown(cost, more), "currency": home},
        "profit": {"amount": shown(proceeds - cost, more), "currency": home},
    }


@dataclass
class Sheet:
    """A price as the answer shows it.

    Attributes:
        question: the request.
        currency: currency of sale.
        shown_costs: costs of the base quantity to show, before rounding.
        target: the least price that meets the policy.
        asked: the price charged.
        pieces: pieces in the batch, or units.
    """

    question: Question
    currency: str
    shown_costs: Mapping[str, Fraction]
    target: Fraction
    asked: Fraction
    pieces: Fraction

    @property
    def sale(self) -> Sale:
        return self.question.sale

    @property
    def minor(self) -> int:
        return self.question.decimals

    @property
    def more(self) -> int:
        return self.minor + MORE_DECIMALS

    def money(self, figure: Fraction, decimals: int | None = None) -> dict[str, str]:
        return {"amount": shown(figure, self.more if decimals is None else decimals), "currency": self.currency}

    def at_minor(self, figure: Fraction | None) -> dict[str, str] | None:
        return None if figure is None else self.money(figure, self.minor)

    def rounded(self, figure: Fraction) -> Fraction:
        return number(shown(figure, self.more))

    def figures(self) -> dict[str, Fraction]:
        """The figures that must add up for the reader, each as shown."""
        sale, asked = self.sale, self.asked
        net, gross = self.rounded(sale.net(asked)), self.rounded(sale.gross(asked))
        fee_total = self.rounded(sale.fee_total(asked))
        conversion, shipping = self.rounded(sale.conversion_cost(asked)), self.rounded(sale.shipping_cost)
        charge = self.rounded(sale.net_shipping_charge())
        proceeds = net + charge - fee_total - conversion - shipping
        full, variable = (self.rounded(self.shown_costs[basis]) for basis in ("full_cost", "variable_cost"))
        return {
            "gross_price": gross,
            "tax": gross - net,
            "net_price": net,
            "fee_total": fee_total,
            "conversion_cost": conversion,
            "shipping_cost": shipping,
            "shipping_charge": sale.shipping_charge,
            "net_shipping_charge": charge,
            "proceeds": proceeds,
            "variable_cost": variable,
            "full_cost": full,
            "profit": proceeds - full,
            "contribution": proceeds - variable,
            "target_price": self.target,
        }

    def fees(self) -> list[dict[str, Any]]:
        units = apportioned([self.sale.fee(fee, self.asked) for fee in self.sale.fees], self.more)
        return [
            {
                "name": fee["name"],
                "base": fee.get("base", "gross_price"),
                "base_amount": self.money(self.sale.base(fee, self.asked)),
                "amount": {"amount": digits(amount, self.more), "currency": self.currency},
            }
            for fee, amount in zip(self.sale.fees, units, strict=True)
        ]

    def shares(self) -> dict[str, str | None]:
        net, proceeds = self.sale.net(self.asked), self.sale.proceeds(self.asked)
        full, variable = self.question.costs["full_cost"], self.question.costs["variable_cost"]

        def share(part: Fraction, whole: Fraction) -> str | None:
            return shown(part / whole, SHARE_DECIMALS) if whole else None

        return {
            "margin_share": share(proceeds - full, net),
            "markup_share": share(proceeds - full, max(Fraction(0), full)),  # none on a cost below 0
            "contribution_margin_share": share(proceeds - variable, net),
        }

    def terms(self) -> Iterator[tuple[str, Mapping[str, str]]]:
        """The steps from cost to price, proceeds and profit."""
        figures, query = self.figures(), self.question.query
        raised_to = self.question.raised_to(self.target, self.asked)
        yield "variable cost", self.money(figures["variable_cost"])
        yield "full cost", self.money(figures["full_cost"])
        if "kept_at" not in query:
            if self.sale.is_plain and query["target"] != "fixed_price":
                yield "target net price", self.money(self.sale.net(self.target))
            yield "target price", self.money(self.target)
            if raised_to is not None:
                yield "floor price", self.money(raised_to)
        yield "price", self.money(self.asked)
        yield from ((name.replace("_", " "), self.money(figures[name])) for name in ("net_price", "tax"))
        yield from ((fee["name"], fee["amount"]) for fee in self.fees())
        if self.sale.conversion_share:
            yield "conversion cost", self.money(figures["conversion_cost"])
        for name in ("shipping_cost", "net_shipping_charge"):
            if figures[name]:
                yield name.replace("_", " "), self.money(figures[name])
        if not self.sale.is_plain:
            yield "proceeds", self.money(figures["proceeds"])
        yield from ((name, self.money(figures[name])) for name in ("profit", "contribution"))

    def statement(self) -> dict[str, Any]:
        question, search = self.question, self.question.search
        exact_profit = self.sale.proceeds(self.asked) - question.costs["full_cost"]
        prices = self.pieces / base_quantity(question.query)
        return {
            "price": self.at_minor(self.asked),
            "display": "tax_inclusive" if self.sale.is_inclusive else "tax_exclusive",
            "tax_share": self.sale.tax,
            **{name: self.money(figure) for name, figure in self.figures().items()},
            **self.shares(),
            "fees": self.fees(),
            "floor_price": self.at_minor(search.least(question.minor, question.shown_floors())),
            "break_even_price": self.at_minor(search.least(question.minor, [question.short_of_cost("full_cost")])),
            "is_below_floor": not question.keeps(question.shown_floors(), self.asked),
            "is_raised_to_floor": question.raised_to(self.target, self.asked) is not None,
            "terms": dict(self.terms()),
            "batch_net_price": self.at_minor(self.sale.net(self.asked) * prices),
            "batch_profit": self.at_minor(exact_profit * prices),
        }

    def cash_price(self) -> dict[str, str] | None:
        """The price including tax, rounded to the minor unit and then to cash."""
        step = CASH_STEPS.get(self.currency)
        if step is None:
            return None
        return self.at_minor(half_up(number(shown(self.sale.gross(self.asked), self.minor)) / step) * step)

    def discount(self) -> dict[str, Any] | None:
        """The effect of the requested discount."""
        if "discount_share" not in self.question.query:
            return None
        share = number(self.question.query["discount_share"])
        left = number(shown(self.asked * (1 - share), self.minor))
        profit, net = self.sale.proceeds(left) - self.question.costs["full_cost"], self.sale.net(left)
        least, discounted = self.question.bearing(share) or (None, None)
        return {
            "discount_share": self.question.query["discount_share"],
            "discounted_price": self.at_minor(left),
            "profit": self.money(profit),
            "margin_share": shown(profit / net, SHARE_DECIMALS) if net else None,
            "is_below_floor": not self.question.keeps(self.question.shown_floors(), left),
            "least_price": self.at_minor(least),
            "least_price_discounted": self.at_minor(discounted),
        }
