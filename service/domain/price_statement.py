"""A price as it is shown: every term of the way, and what is kept."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.exact import exactly, half_up
from service.domain.money import UNIT_COST_DECIMALS, Money, in_currency, minor_unit_decimals
from service.domain.pricing import Display, Price, PricingPolicy, Rounding, Target, target_net_price


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
    """A price as it is shown; price = tax + net price, net price = full cost + profit.

    Attributes:
        price: what is asked for a piece.
        display: whether it contains the tax.
        tax_share: the tax as a share of the net price.
        gross_price: with tax.
        tax: contained in or added to the price.
        net_price: without tax.
        variable_cost: of a piece.
        full_cost: of a piece.
        profit: net price less full cost.
        contribution: net price less variable cost.
        margin_share: profit ÷ net price; none at a net price of 0.
        markup_share: profit ÷ full cost; none at a full cost of 0.
        contribution_margin_share: contribution ÷ net price; none at a net price of 0.
        target_price: what would meet the policy exactly, before floor and ending.
        floor_price: the least that may be asked; the variable cost if the policy names no floor.
        break_even_price: the least that loses nothing on full cost.
        is_below_floor: the price lies below the floor.
        is_raised_to_floor: the target lay below the policy's floor.
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
    variable_cost: Money
    full_cost: Money
    profit: Money
    contribution: Money
    margin_share: Decimal | None
    markup_share: Decimal | None
    contribution_margin_share: Decimal | None
    target_price: Money
    floor_price: Money
    break_even_price: Money
    is_below_floor: bool
    is_raised_to_floor: bool
    terms: tuple[PriceTerm, ...]
    batch_net_price: Money
    batch_profit: Money


_SHARE_DECIMALS = 6


def _share(part: Decimal, whole: Decimal) -> Decimal | None:
    return half_up(part / whole, _SHARE_DECIMALS) if whole else None


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
    full, variable = money(priced.costs.full), money(priced.costs.shown_variable)
    profit, contribution = less(net, full), less(net, variable)
    return PriceStatement(
        price=money(priced.asked, minor),
        display=priced.display,
        tax_share=priced.tax_share,
        gross_price=gross,
        tax=tax,
        net_price=net,
        variable_cost=variable,
        full_cost=full,
        profit=profit,
        contribution=contribution,
        margin_share=_share(priced.profit, priced.net),
        markup_share=_share(priced.profit, priced.costs.full),
        contribution_margin_share=_share(priced.contribution, priced.net),
        target_price=money(priced.target),
        floor_price=money(priced.floor, minor),
        break_even_price=money(priced.break_even, minor),
        is_below_floor=priced.asked < priced.floor,
        is_raised_to_floor=priced.is_raised_to_floor,
        terms=(
            PriceTerm(name="variable cost", formula="variable lines of the cost sheet ÷ pieces", amount=variable),
            PriceTerm(name="full cost", formula="all lines of the cost sheet ÷ pieces", amount=full),
            *(
                PriceTerm(name=name, formula=formula, amount=money(amount))
                for name, formula, amount in _way_to_the_price(priced, policy)
            ),
            PriceTerm(name="net price", formula="price without tax", amount=net),
            PriceTerm(name="tax", formula=f"net price × {priced.tax_share:f}", amount=tax),
            PriceTerm(name="profit", formula="net price − full cost", amount=profit),
            PriceTerm(name="contribution", formula="net price − variable cost", amount=contribution),
        ),
        batch_net_price=money(priced.net * quantity, minor),
        batch_profit=money(priced.profit * quantity, minor),
    )


_WORDS = {Rounding.UP: "the next one up", Rounding.NEAREST: "the nearest not below the floor"}


_FORMULAS = {
    Target.MARGIN: "{cost} ÷ (1 − {value:f})",
    Target.MARKUP: "{cost} × (1 + {value:f})",
    Target.PROFIT_PER_PIECE: "{cost} + {value:f}",
    Target.FIXED_PRICE: "{value:f}, fixed",
}


def _way_to_the_price(priced: Price, policy: PricingPolicy | None) -> Iterator[tuple[str, str, Decimal]]:
    if policy is None:
        yield "price", "as given", priced.asked
        return
    formula = _FORMULAS[policy.target].format(cost=policy.cost_basis.value.replace("_", " "), value=policy.value)
    if policy.target is not Target.FIXED_PRICE:
        net = target_net_price(policy, priced.costs.on(policy.cost_basis), priced.tax_share)
        yield "target net price", formula, net
        taxed = policy.display is Display.TAX_INCLUSIVE
        formula = f"target net price × (1 + {priced.tax_share:f})" if taxed else "target net price"
    yield "target price", formula, priced.target
    if priced.is_raised_to_floor:
        yield "floor price", "the least the policy allows, at the minor unit", priced.floor
    yield (
        "price",
        f"the {'floor' if priced.is_raised_to_floor else 'target'} on the price grid, {_WORDS[policy.rounding]}",
        priced.asked,
    )
