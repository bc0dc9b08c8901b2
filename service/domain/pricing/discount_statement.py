"""A discount as it is shown."""

from dataclasses import dataclass
from decimal import Decimal

from service.domain.pricing.price import Discount
from service.domain.values.money import Money
from service.domain.values.shown import ShownShare, UnitAmount, shown


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
    profit: UnitAmount
    margin_share: ShownShare | None
    is_below_floor: bool
    least_price: Money | None
    least_price_discounted: Money | None


def discount_statement(found: Discount, currency: str) -> DiscountStatement:
    """A discount as it is shown."""
    return shown(DiscountStatement, currency, found, found.discounted, discounted_price=found.discounted.asked)
