"""A discount as it is shown."""

from dataclasses import dataclass
from decimal import Decimal

from service.domain.pricing.price import Discount
from service.domain.values.exact import exactly, half_up, share_of
from service.domain.values.money import UNIT_COST_DECIMALS, Money, in_currency, minor_unit_decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscountStatement:
    """What a discount does to a price.

    Attributes:
        discount_share: what is taken off the price.
        discounted_price: the price less the discount, at the minor unit.
        profit: what is kept of the discounted price.
        margin_share: of the discounted price; none at a net price of 0.
        is_below_floor: the discounted price does not keep to the floor.
        least_price: the least price from which this discount can be given and the floor is kept; none if there
            is none.
        least_price_discounted: that price less the discount.
    """

    discount_share: Decimal
    discounted_price: Money
    profit: Money
    margin_share: Decimal | None
    is_below_floor: bool
    least_price: Money | None
    least_price_discounted: Money | None


@exactly
def discount_statement(found: Discount, currency: str) -> DiscountStatement:
    """A discount as it is shown."""
    minor, judged = minor_unit_decimals(currency), found.discounted

    def money(amount: Decimal, decimals: int = minor) -> Money:
        return in_currency(half_up(amount, decimals), currency)

    return DiscountStatement(
        discount_share=found.share,
        discounted_price=money(judged.asked),
        profit=money(judged.profit, minor + UNIT_COST_DECIMALS),
        margin_share=share_of(judged.profit, judged.net),
        is_below_floor=judged.is_below_floor,
        least_price=None if found.least is None else money(found.least),
        least_price_discounted=None if found.discounted_least is None else money(found.discounted_least),
    )
