"""A price as it is shown: every term of the way, and what is kept."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.pricing.policy import PricingPolicy, Rounding, Target
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
    minor = minor_unit_decimals(currency)
    digits = minor + UNIT_COST_DECIMALS

    def money(amount: Decimal, decimals: int = digits) -> Money:
        return in_currency(half_up(amount, decimals), currency)

    def less(one: Money, other: Money) -> Money:
        return in_currency(one.amount - other.amount, currency)

    gross, net = money(priced.gross), money(priced.net)
    tax = less(gross, net)
    sale = priced.sale
    fees = tuple(stated_fees(sale, priced.gross, currency, digits))
    fee_total = money(sum((fee.amount.amount for fee in fees), ZERO))
    conversion = money(sale.conversion_cost(priced.gross))
    shipping, charge = money(sale.shipping_cost), money(sale.net_shipping_charge)
    taken = fee_total.amount + conversion.amount + shipping.amount
    proceeds = in_currency(net.amount + charge.amount - taken, currency)
    full, variable = money(priced.costs.full), money(priced.costs.shown_variable)
    profit, contribution = less(proceeds, full), less(proceeds, variable)
    return PriceStatement(
        price=money(priced.asked, minor),
        display=sale.display,
        tax_share=sale.tax_share,
        gross_price=gross,
        tax=tax,
        net_price=net,
        fees=fees,
        fee_total=fee_total,
        conversion_cost=conversion,
        shipping_cost=shipping,
        shipping_charge=money(sale.shipping_charge),
        net_shipping_charge=charge,
        proceeds=proceeds,
        variable_cost=variable,
        full_cost=full,
        profit=profit,
        contribution=contribution,
        margin_share=share_of(priced.profit, priced.net),
        markup_share=share_of(priced.profit, priced.costs.full),
        contribution_margin_share=share_of(priced.contribution, priced.net),
        target_price=money(priced.target),
        floor_price=None if priced.floor is None else money(priced.floor, minor),
        break_even_price=None if priced.break_even is None else money(priced.break_even, minor),
        is_below_floor=priced.is_below_floor,
        is_raised_to_floor=priced.raised_to is not None,
        terms=(
            PriceTerm(name="variable cost", formula="variable lines of the cost sheet ÷ pieces", amount=variable),
            PriceTerm(name="full cost", formula="all lines of the cost sheet ÷ pieces", amount=full),
            *(
                PriceTerm(name=name, formula=formula, amount=money(amount))
                for name, formula, amount in _way_to_the_price(priced, policy, digits)
            ),
            PriceTerm(name="net price", formula="price without tax", amount=net),
            PriceTerm(name="tax", formula=f"net price × {sale.tax_share:f}", amount=tax),
            *_way_to_the_proceeds(fees, conversion, shipping, charge, priced),
            *(() if sale.is_plain else (_proceeds_term(proceeds, charge),)),
            PriceTerm(name="profit", formula=f"{_left(priced)} − full cost", amount=profit),
            PriceTerm(name="contribution", formula=f"{_left(priced)} − variable cost", amount=contribution),
        ),
        batch_net_price=money(priced.net * quantity, minor),
        batch_profit=money(priced.profit * quantity, minor),
    )


def _left(priced: Price) -> str:
    return "net price" if priced.sale.is_plain else "proceeds"


def _proceeds_term(proceeds: Money, charge: Money) -> PriceTerm:
    charged = " + net shipping charge" if charge.amount else ""
    formula = f"net price{charged} − fees − conversion cost − shipping cost"
    return PriceTerm(name="proceeds", formula=formula, amount=proceeds)


def _way_to_the_proceeds(
    fees: tuple[StatedFee, ...], conversion: Money, shipping: Money, charge: Money, priced: Price
) -> Iterator[PriceTerm]:
    """What is taken and added between the net price and the proceeds, where there is any of it."""
    for fee in fees:
        yield PriceTerm(name=fee.name, formula=fee.formula, amount=fee.amount)
    sale = priced.sale
    if sale.conversion_share:
        formula = f"(gross price + shipping charge − fees) × {sale.conversion_share:f}"
        yield PriceTerm(name="conversion cost", formula=formula, amount=conversion)
    if shipping.amount:
        yield PriceTerm(name="shipping cost", formula="shipping a piece, as estimated", amount=shipping)
    if charge.amount:
        formula = "what the buyer is charged for shipping, without tax"
        yield PriceTerm(name="net shipping charge", formula=formula, amount=charge)


_WORDS = {Rounding.UP: "the next one up", Rounding.NEAREST: "the nearest not below the floor"}


_FORMULAS = {
    Target.MARGIN: "{cost} ÷ (1 − {value:f})",
    Target.MARKUP: "{cost} × (1 + {value:f})",
    Target.PROFIT_PER_PIECE: "{cost} + {value:f}",
    Target.FIXED_PRICE: "{value:f}, fixed",
}
_AIMS = {
    Target.MARGIN: "{value:f} × net price",
    Target.MARKUP: "{value:f} × {cost}",
    Target.PROFIT_PER_PIECE: "{value:f}",
}


def _way_to_the_price(priced: Price, policy: PricingPolicy | None, digits: int) -> Iterator[tuple[str, str, Decimal]]:
    if policy is None:
        yield "price", "as given", priced.asked
        return
    sale, cost = priced.sale, policy.cost_basis.value.replace("_", " ")
    if policy.target is Target.FIXED_PRICE:
        yield "target price", _FORMULAS[policy.target].format(value=policy.value), priced.target
    elif sale.is_plain:
        yield "target net price", _FORMULAS[policy.target].format(cost=cost, value=policy.value), _target_net(priced)
        is_taxed = sale.display is Display.TAX_INCLUSIVE
        formula = f"target net price × (1 + {sale.tax_share:f})" if is_taxed else "target net price"
        yield "target price", formula, priced.target
    else:
        aim = _AIMS[policy.target].format(cost=cost, value=policy.value)
        yield "target price", f"the least at which proceeds − {cost} = {aim}{_solution(priced, digits)}", priced.target
    if priced.raised_to is not None:
        yield "floor price", "the least from the target on that the policy allows, at the minor unit", priced.raised_to
    yield (
        "price",
        f"the {'target' if priced.raised_to is None else 'floor'} on the price grid, {_WORDS[policy.rounding]}",
        priced.asked,
    )


def _solution(priced: Price, digits: int) -> str:
    """The equation with its figures, so that it can be checked with a pocket calculator."""
    if priced.equation is None:
        return ", just past a step of the fees" if priced.target else ""
    sale, needed = priced.sale, plain(-priced.equation.constant, digits)
    to_displayed = "" if sale.gross_of_displayed == 1 else f" ÷ {sale.gross_of_displayed:f}"
    return (
        f": {needed} ÷ {plain(priced.equation.slope)}{to_displayed}, (1 + tax) × what has to come in "
        "whatever the price ÷ what is left of each unit of the gross price"
    )


def _target_net(priced: Price) -> Decimal:
    return priced.target / priced.sale.displayed
