"""A price as it is shown: every term of the way, and what is kept."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.pricing.policy import PricingPolicy, Rounding
from service.domain.pricing.price import Price
from service.domain.selling.channels import Display
from service.domain.selling.fee_statement import StatedFee, stated_fees
from service.domain.values.exact import ZERO, exactly, half_up, plain, share_of
from service.domain.values.money import UNIT_COST_DECIMALS, Money, in_currency, minor_unit_decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceTerm:
    """One step of the way from the cost to the price.

    Attributes:
        name: what it is.
        formula: how it follows from the figures above it.
        amount: for one piece, with four digits more than the minor unit.
    """

    name: str
    formula: str
    amount: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceStatement:
    """A price as it is shown.

    Gross price = net price + tax. Net price + net shipping charge = fees + conversion cost + shipping cost +
    proceeds. Proceeds = full cost + profit = variable cost + contribution.

    Attributes:
        price: what is asked for a piece.
        display: whether it contains the tax.
        tax_share: the tax as a share of the net price.
        gross_price: with tax.
        tax: contained in or added to the price.
        net_price: without tax.
        fees: what the sales channel takes, each with its own tax.
        fee_total: all fees.
        conversion_cost: what the channel keeps when it pays out in another currency.
        shipping_cost: what shipping a piece costs the workshop.
        shipping_charge: what the buyer is charged for shipping, tax included.
        net_shipping_charge: the same without tax.
        proceeds: what is left for cost and profit; the net price where nothing is taken.
        variable_cost: of a piece.
        full_cost: of a piece.
        profit: proceeds less full cost.
        contribution: proceeds less variable cost.
        margin_share: profit ÷ net price; none at a net price of 0.
        markup_share: profit ÷ full cost; none at a full cost of 0.
        contribution_margin_share: contribution ÷ net price; none at a net price of 0.
        target_price: the least that would meet the policy exactly, before floor and ending.
        floor_price: the least that may be asked; what brings in the variable cost if the policy names no floor;
            none if no price does.
        break_even_price: the least that loses nothing on full cost; none if every price does.
        is_below_floor: the price does not keep to the floor.
        is_raised_to_floor: the target did not keep to the policy's floor.
        terms: the way from the cost to the price.
        batch_net_price: net price × quantity.
        batch_profit: what the batch leaves after its full cost.
    """

    price: Money
    display: Display
    tax_share: Decimal
    gross_price: Money
    tax: Money
    net_price: Money
    fees: tuple[StatedFee, ...]
    fee_total: Money
    conversion_cost: Money
    shipping_cost: Money
    shipping_charge: Money
    net_shipping_charge: Money
    proceeds: Money
    variable_cost: Money
    full_cost: Money
    profit: Money
    contribution: Money
    margin_share: Decimal | None
    markup_share: Decimal | None
    contribution_margin_share: Decimal | None
    target_price: Money
    floor_price: Money | None
    break_even_price: Money | None
    is_below_floor: bool
    is_raised_to_floor: bool
    terms: tuple[PriceTerm, ...]
    batch_net_price: Money
    batch_profit: Money


@exactly
def price_statement(priced: Price, policy: PricingPolicy | None, *, quantity: int, currency: str) -> PriceStatement:
    """The price with every term of the way, rounded so that the terms add up.

    Args:
        priced: what was found.
        policy: what was aimed at; None for the inverse question.
        quantity: pieces in the batch.
        currency: of every amount.
    """
    sale, shown = priced.sale, _Shown(priced, currency)
    return PriceStatement(
        price=shown.at_minor_unit(priced.asked),
        display=sale.display,
        tax_share=sale.tax_share,
        gross_price=shown.gross,
        tax=shown.tax,
        net_price=shown.net,
        fees=shown.fees,
        fee_total=shown.fee_total,
        conversion_cost=shown.conversion,
        shipping_cost=shown.shipping,
        shipping_charge=shown.money(sale.shipping_charge),
        net_shipping_charge=shown.charge,
        proceeds=shown.proceeds,
        variable_cost=shown.variable,
        full_cost=shown.full,
        profit=shown.profit,
        contribution=shown.contribution,
        margin_share=share_of(priced.profit, priced.net),
        markup_share=share_of(priced.profit, priced.costs.full),
        contribution_margin_share=share_of(priced.contribution, priced.net),
        target_price=shown.money(priced.target),
        floor_price=None if priced.floor is None else shown.at_minor_unit(priced.floor),
        break_even_price=None if priced.break_even is None else shown.at_minor_unit(priced.break_even),
        is_below_floor=priced.is_below_floor,
        is_raised_to_floor=priced.raised_to is not None,
        terms=tuple(PriceTerm(name=name, formula=words, amount=each) for name, words, each in shown.terms(policy)),
        batch_net_price=shown.at_minor_unit(priced.net * quantity),
        batch_profit=shown.at_minor_unit(priced.profit * quantity),
    )


class _Shown:
    """The amounts of a price for one piece, rounded and still adding up."""

    def __init__(self, priced: Price, currency: str) -> None:
        self.priced, self.sale, self.currency = priced, priced.sale, currency
        self.minor = minor_unit_decimals(currency)
        self.digits = self.minor + UNIT_COST_DECIMALS
        self.gross, self.net = self.money(priced.gross), self.money(priced.net)
        self.tax = self._less(self.gross, self.net)
        self.fees = tuple(stated_fees(self.sale, priced.gross, currency, self.digits))
        self.fee_total = self.money(sum((fee.amount.amount for fee in self.fees), ZERO))
        self.conversion = self.money(self.sale.conversion_cost(priced.gross))
        self.shipping, self.charge = self.money(self.sale.shipping_cost), self.money(self.sale.net_shipping_charge)
        taken = self.fee_total.amount + self.conversion.amount + self.shipping.amount
        self.proceeds = in_currency(self.net.amount + self.charge.amount - taken, currency)
        self.full, self.variable = self.money(priced.costs.full), self.money(priced.costs.shown_variable)
        self.profit, self.contribution = self._less(self.proceeds, self.full), self._less(self.proceeds, self.variable)

    def money(self, amount: Decimal) -> Money:
        """An amount with four digits more than the minor unit."""
        return in_currency(half_up(amount, self.digits), self.currency)

    def at_minor_unit(self, amount: Decimal) -> Money:
        """An amount that is paid."""
        return in_currency(half_up(amount, self.minor), self.currency)

    def _less(self, one: Money, other: Money) -> Money:
        return in_currency(one.amount - other.amount, self.currency)

    def terms(self, policy: PricingPolicy | None) -> Iterator[tuple[str, str, Money]]:
        """The way from the cost to the price and to what is kept: name, formula, amount."""
        yield "variable cost", "variable lines of the cost sheet ÷ pieces", self.variable
        yield "full cost", "all lines of the cost sheet ÷ pieces", self.full
        for name, formula, amount in _way_to_the_price(self.priced, policy, self):
            yield name, formula, self.money(amount)
        yield "net price", "price without tax", self.net
        yield "tax", f"net price × {self.sale.tax_share:f}", self.tax
        yield from self._way_to_the_proceeds()
        left = "net price" if self.sale.is_plain else "proceeds"
        yield "profit", f"{left} − full cost", self.profit
        yield "contribution", f"{left} − variable cost", self.contribution

    def _way_to_the_proceeds(self) -> Iterator[tuple[str, str, Money]]:
        """What is taken and added between the net price and the proceeds, where there is any of it."""
        for fee in self.fees:
            yield fee.name, fee.formula, fee.amount
        if share := self.sale.conversion_share:
            yield "conversion cost", f"(gross price + shipping charge − fees) × {share:f}", self.conversion
        if self.shipping.amount:
            yield "shipping cost", "shipping a piece, as estimated", self.shipping
        if self.charge.amount:
            yield "net shipping charge", "what the buyer is charged for shipping, without tax", self.charge
        if not self.sale.is_plain:
            charged = " + net shipping charge" if self.charge.amount else ""
            yield "proceeds", f"net price{charged} − fees − conversion cost − shipping cost", self.proceeds


_ROUNDED = {
    Rounding.UP: "rounded up to your price steps",
    Rounding.NEAREST: "rounded to the nearest of your price steps that is not below the floor",
}


def _way_to_the_price(priced: Price, policy: PricingPolicy | None, shown: _Shown) -> Iterator[tuple[str, str, Decimal]]:
    if policy is None:
        yield "price", "as given", priced.asked
        return
    sale, cost, aimed = priced.sale, policy.cost_basis.value.replace("_", " "), policy.target.traits
    formula, aim = (words.format(cost=cost, value=policy.value) for words in (aimed.formula, aimed.aim))
    if aimed.is_price:
        yield "target price", formula, priced.target
    elif sale.is_plain:
        yield "target net price", formula, _target_net(priced)
        is_taxed = sale.display is Display.TAX_INCLUSIVE
        formula = f"target net price × (1 + {sale.tax_share:f})" if is_taxed else "target net price"
        yield "target price", formula, priced.target
    else:
        formula = f"the lowest at which proceeds − {cost} = {aim}{_solution(priced, policy, shown)}"
        yield "target price", formula, priced.target
    if priced.raised_to is not None:
        yield "floor price", "the lowest, from the target price up, that your policy allows", priced.raised_to
    yield "price", _ROUNDED[policy.rounding], priced.asked


def _solution(priced: Price, policy: PricingPolicy, shown: _Shown) -> str:
    """The equation with its figures, so that it can be checked with a pocket calculator."""
    if priced.equation is None:
        return ", just above a step in the fees" if priced.target else ""
    sale, needed = priced.sale, plain(-priced.equation.constant, shown.digits)
    to_displayed = "" if sale.gross_of_displayed == 1 else f" ÷ {sale.gross_of_displayed:f}"
    with_tax, of_net = (" with tax", " of the net price") if sale.tax_share else ("", "")
    each = "euro" if shown.currency == "EUR" else shown.currency
    taken = "fees and margin" if policy.target.traits.of_net else "fees"
    return (
        f": {needed} ÷ {plain(priced.equation.slope)}{to_displayed}, fixed amounts{with_tax} ÷ share you keep of each "
        f"{each}{of_net} after {taken}{' ÷ (1 + tax)' if to_displayed else ''}"
    )


def _target_net(priced: Price) -> Decimal:
    return priced.target / priced.sale.displayed
