"""A price as shown: its calculation step by step, its profit and its discounts."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Annotated

from service.domain.pricing.policy import PricingPolicy, Rounding
from service.domain.pricing.price import BarePrice, Discount, Price
from service.domain.selling.channels import Display
from service.domain.selling.fee_statement import StatedFee, stated_fees
from service.domain.values.exact import ZERO, exactly, plain, share_of
from service.domain.values.money import Money, cash_rounded
from service.domain.values.shown import WITH_MORE_DIGITS, ShownShare, SumOf, UnitAmount, shown
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceTerm:
    """One step of the way from the cost to the price.

    Attributes:
        name: what it is.
        formula: how it follows from the figures above it.
        amount: for the base quantity, with four digits more than the minor unit.
    """

    name: str
    formula: str
    amount: UnitAmount


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceStatement:
    """A price as it is shown; like every amount beside it, for the base quantity: a piece, or unit, unless stated.

    Gross price = net price + tax. Net price + net shipping charge = fees + conversion cost + shipping cost +
    proceeds. Proceeds = full cost + profit = variable cost + contribution.

    Attributes:
        price: what is asked.
        display: whether it contains the tax.
        tax_share: the tax as a share of the net price.
        gross_price: with tax.
        tax: contained in or added to the price.
        net_price: without tax.
        fees: what the sales channel takes, each with its own tax.
        fee_total: all fees.
        conversion_cost: what the channel keeps when it pays out in another currency.
        shipping_cost: what shipping costs the workshop.
        shipping_charge: what the buyer is charged for shipping, tax included.
        net_shipping_charge: the same without tax.
        proceeds: what is left for cost and profit; the net price where nothing is taken.
        variable_cost: of the pieces.
        full_cost: of the pieces.
        profit: proceeds less full cost.
        contribution: proceeds less variable cost.
        margin_share: profit ÷ net price; none at a net price of 0.
        markup_share: profit ÷ full cost; none at a full cost of 0 or below.
        contribution_margin_share: contribution ÷ net price; none at a net price of 0.
        target_price: the least that would meet the policy exactly, before floor and ending.
        floor_price: the least that may be asked; what brings in the variable cost if the policy names no floor;
            none if no price does.
        break_even_price: the least that loses nothing on full cost; none if every price does.
        is_below_floor: the price does not keep to the floor.
        is_raised_to_floor: the target did not keep to the policy's floor.
        terms: the way from the cost to the price.
        batch_net_price: net price × quantity ÷ base quantity.
        batch_profit: what the batch leaves after its full cost.
    """

    price: Money
    display: Display
    tax_share: Decimal
    gross_price: UnitAmount
    tax: Annotated[Money, SumOf(("gross_price",), ("net_price",))]
    net_price: UnitAmount
    fees: tuple[StatedFee, ...]
    fee_total: UnitAmount
    conversion_cost: UnitAmount
    shipping_cost: UnitAmount
    shipping_charge: UnitAmount
    net_shipping_charge: UnitAmount
    proceeds: Annotated[
        Money, SumOf(("net_price", "net_shipping_charge"), ("fee_total", "conversion_cost", "shipping_cost"))
    ]
    variable_cost: UnitAmount
    full_cost: UnitAmount
    profit: Annotated[Money, SumOf(("proceeds",), ("full_cost",))]
    contribution: Annotated[Money, SumOf(("proceeds",), ("variable_cost",))]
    margin_share: ShownShare | None
    markup_share: ShownShare | None
    contribution_margin_share: ShownShare | None
    target_price: UnitAmount
    floor_price: Money | None
    break_even_price: Money | None
    is_below_floor: bool
    is_raised_to_floor: bool
    terms: tuple[PriceTerm, ...]
    batch_net_price: Money
    batch_profit: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedPrice:
    """What a price list shows of a price; members mean what they mean of `PriceStatement`.

    Attributes:
        cash_price: what is paid in cash, tax included; none if cash is not rounded in this currency.
    """

    price: Money
    display: Display
    tax_share: Decimal
    gross_price: UnitAmount
    net_price: UnitAmount
    margin_share: ShownShare | None
    cash_price: Money | None


def asked_price(priced: BarePrice, currency: str) -> AskedPrice:
    """The price as a price list shows it."""
    cash = cash_rounded(priced.gross_price, currency)
    return shown(AskedPrice, currency, priced, priced.sale, price=priced.asked, cash_price=cash)


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscountStatement:
    """What a discount does to a price.

    Attributes:
        discount_share: what is taken off the price.
        discounted_price: the price less the discount, at the minor unit.
        profit: what is kept of the discounted price.
        margin_share: of the discounted price; none at a net price of 0.
        is_below_floor: the discounted price does not keep to the floor.
        least_price: the least price from which this discount can be given and the floor is kept; none if there is none.
        least_price_discounted: that price less the discount.
    """

    discount_share: Decimal
    discounted_price: Money
    profit: UnitAmount
    margin_share: ShownShare | None
    is_below_floor: bool
    least_price: Money | None
    least_price_discounted: Money | None


@exactly
def price_statement(
    priced: Price, policy: PricingPolicy | None, *, quantity: Decimal, currency: str, unit: Unit = Unit.PIECE
) -> PriceStatement:
    """The price with every step of its calculation, rounded so that the steps add up; no policy if it was given.

    Args:
        quantity: good pieces, or units, in the batch.
        unit: that the product is sold by.
    """
    sale, gross = priced.sale, priced.gross_price
    fees = tuple(stated_fees(sale, gross, currency))
    statement = shown(
        PriceStatement,
        currency,
        priced,
        sale,
        price=priced.asked,
        fees=fees,
        fee_total=sum((fee.amount.amount for fee in fees), ZERO),
        conversion_cost=sale.conversion_cost(sale.paid_out(gross)),
        variable_cost=priced.costs.shown_variable,
        full_cost=priced.costs.full,
        markup_share=share_of(priced.profit, max(priced.costs.full, ZERO)),
        contribution_margin_share=share_of(priced.contribution, priced.net_price),
        is_raised_to_floor=priced.raised_to is not None,
        terms=(),
        batch_net_price=priced.net_price * quantity / priced.base_quantity,
        batch_profit=priced.profit * quantity / priced.base_quantity,
    )
    show = WITH_MORE_DIGITS.shows_money_in(currency)
    terms = (
        PriceTerm(name=name, formula=formula, amount=show(amount))
        for name, formula, amount in _terms(statement, priced, policy, currency, unit)
    )
    return replace(statement, terms=tuple(terms))


def _terms(
    of: PriceStatement, priced: Price, policy: PricingPolicy | None, currency: str, unit: Unit
) -> Iterator[tuple[str, str, Money | Decimal]]:
    """The steps from the cost to the price and to the profit: name, formula, amount."""
    times = _times(priced.base_quantity)
    yield "variable cost", f"variable lines of the cost sheet ÷ {unit.several}{times}", of.variable_cost
    yield "full cost", f"all lines of the cost sheet ÷ {unit.several}{times}", of.full_cost
    yield from _way_to_the_price(priced, policy, currency)
    yield "net price", "price without tax", of.net_price
    yield "tax", f"net price × {of.tax_share:f}", of.tax
    yield from _way_to_the_proceeds(of, priced, unit)
    left = "net price" if priced.sale.is_plain else "proceeds"
    yield "profit", f"{left} − full cost", of.profit
    yield "contribution", f"{left} − variable cost", of.contribution


def _times(base_quantity: int) -> str:
    """The last factor of a formula that goes from a piece to the base quantity."""
    return "" if base_quantity == 1 else f" × {base_quantity}"


def _way_to_the_proceeds(of: PriceStatement, priced: Price, unit: Unit) -> Iterator[tuple[str, str, Money]]:
    """The steps from the net price to the proceeds, those of 0 left out."""
    sale, order = priced.sale, priced.sale.spread_over
    part = f", {order.divided}" if order.divided else ""
    for fee in of.fees:
        yield fee.name, fee.formula, fee.amount
    if share := sale.conversion_share:
        yield "conversion cost", f"(gross price + shipping charge − fees) × {share:f}", of.conversion_cost
    if of.shipping_cost.amount:
        pieces = plain(order.whole(Decimal(priced.base_quantity)))
        shipped = "a piece" if unit is Unit.PIECE and pieces == 1 else f"{pieces} {unit.several}"
        yield "shipping cost", f"shipping {shipped}, as estimated{part}", of.shipping_cost
    if of.net_shipping_charge.amount:
        charged = f"what the buyer is charged for shipping, without tax{part}"
        yield "net shipping charge", charged, of.net_shipping_charge
    if not sale.is_plain:
        charged = " + net shipping charge" if of.net_shipping_charge.amount else ""
        yield "proceeds", f"net price{charged} − fees − conversion cost − shipping cost", of.proceeds


_ROUNDED = {
    Rounding.UP: "rounded up to your price steps",
    Rounding.NEAREST: "rounded to the nearest of your price steps that is not below the floor",
}


def _way_to_the_price(priced: Price, policy: PricingPolicy | None, currency: str) -> Iterator[tuple[str, str, Decimal]]:
    if policy is None:
        yield "price", "as given", priced.asked
        return
    sale, cost, aimed = priced.sale, policy.cost_basis.value.replace("_", " "), policy.target.traits
    times = _times(priced.base_quantity) if aimed.of_piece else ""
    formula, aim = (words.format(cost=cost, value=policy.value) + times for words in (aimed.formula, aimed.aim))
    is_least = not (priced.target_price or priced.equation)  # a price of 0 brings in more than the target
    if aimed.is_price:
        yield "target price", formula, priced.target_price
    elif sale.is_plain:
        yield "target net price", formula + ", but not below 0" * is_least, priced.target_price / sale.displayed
        is_taxed = sale.display is Display.TAX_INCLUSIVE
        formula = f"target net price × (1 + {sale.tax_share:f})" if is_taxed else "target net price"
        yield "target price", formula, priced.target_price
    else:
        meets = "from 0 up at which proceeds − {cost} ≥ {aim}" if is_least else "at which proceeds − {cost} = {aim}"
        formula = f"the lowest {meets.format(cost=cost, aim=aim)}{_solution(priced, policy, currency)}"
        yield "target price", formula, priced.target_price
    if priced.raised_to is not None:
        yield "floor price", "the lowest, from the target price up, that your policy allows", priced.raised_to
    yield "price", _ROUNDED[policy.rounding], priced.asked


def _solution(priced: Price, policy: PricingPolicy, currency: str) -> str:
    """The equation with its figures, to be checked with a pocket calculator."""
    if priced.equation is None:
        return ", just above a step in the fees" if priced.target_price else ""
    sale, needed = priced.sale, plain(-priced.equation.constant, WITH_MORE_DIGITS.decimals_in(currency))
    to_displayed = "" if sale.gross_of_displayed == 1 else f" ÷ {sale.gross_of_displayed:f}"
    with_tax, of_net = (" with tax", " of the net price") if sale.tax_share else ("", "")
    each = "euro" if currency == "EUR" else currency
    taken = "fees and margin" if policy.target.traits.of_net else "fees"
    return (
        f": {needed} ÷ {plain(priced.equation.slope)}{to_displayed}, fixed amounts{with_tax} ÷ share you keep of each "
        f"{each}{of_net} after {taken}{' ÷ (1 + tax)' if to_displayed else ''}"
    )


def discount_statement(found: Discount, currency: str) -> DiscountStatement:
    """A discount as shown."""
    return shown(DiscountStatement, currency, found, found.discounted, discounted_price=found.discounted.asked)
