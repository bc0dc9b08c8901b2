"""The plan of a month: products, pieces and further fixed costs."""

from collections.abc import Iterator
from datetime import date
from enum import StrEnum
from typing import Annotated

from service.domain.pricing.policy import PricingPolicy
from service.domain.selling.base_quantity import sold_together_problems
from service.domain.selling.route import Route, shipping_problems
from service.domain.values.declared import (
    Code,
    CurrencyCode,
    Length,
    Name,
    NotNegative,
    Positive,
    Share,
    Text,
    declared,
)
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO, plain
from service.domain.values.money import NotNegativeMoney
from service.domain.values.units import SoldQuantity, SoldQuantityOrNone, Unit

FixedResource = Annotated[
    str,
    Text(
        max_length=80,
        pattern=r"(machines|labour-grades|tariffs|overheads)/[A-Za-z0-9][A-Za-z0-9._-]*",
        form='a machine, a labour grade, a tariff or a pool of overhead, such as "machines/press"',
    ),
]
CalendarMonth = Annotated[
    str, Text(max_length=20, pattern=r"[1-9][0-9]{3}-(0[1-9]|1[0-2])", form='a month, such as "2026-12"')
]
MAX_LINES = 200
MOST_WEEKS = 5
_IN_UNITS = ("standard_batch", "pieces", "least_per_month", "most_per_month", "pieces_per_order")
_OF_A_PRODUCT = ("policy", *Route.__dataclass_fields__)


class OtherCostKind(StrEnum):
    """Whether a fixed cost is interest."""

    INTEREST = "interest"
    OTHER = "other"


@declared
class OtherFixedCost:
    """What the month costs besides what the rate card says, for instance the owner's own pay.

    Attributes:
        name: what it is.
        amount: for the month, in any currency.
        kind: interest, which is warned of if the rates of machines hold interest too, or other; if left out, interest
            where the name says interest or loan in the workshop's language or in English.
    """

    name: Name
    amount: NotNegativeMoney
    kind: OtherCostKind | None = None


@declared
class PlannedLine:
    """What is made and sold of one product, and how.

    A piece is one unit of a product that is not counted in pieces: a kilogram or an hour, with up to three decimals.

    Attributes:
        product: code of the product; either this or listing.
        listing: code of a listing, which says how it is sold.
        standard_batch: good pieces in a batch, from which cost and time of a piece are taken; the listing's own if
            left out, and required with a product.
        pieces: good pieces planned for the month.
        least_per_month: the fewest pieces in the best mix.
        most_per_month: the most pieces in the best mix; as many as can be made if left out.
        in_whole_batches: whether the best mix has whole batches of it, not single pieces or parts of a unit.
        policy: how the price of a product is found; either this or price.
        price: the price as displayed; of a listing it replaces the price that its policy asks, for its base quantity.
        tax: code of the tax; none if left out.
        channel: code of the sales channel; sold directly if left out.
        currency: of the price; the workshop's if left out.
        shipping_service: code of the service that a piece is sent with; collected if left out.
        shipping_zone: the service's zone that it is sent to.
        pieces_per_order: pieces that are usually ordered together, over which fixed fees and shipping are spread; one
            if left out.
    """

    product: Code | None = None
    listing: Code | None = None
    standard_batch: SoldQuantity | None = None
    pieces: SoldQuantityOrNone
    least_per_month: SoldQuantityOrNone = ZERO
    most_per_month: SoldQuantityOrNone | None = None
    in_whole_batches: bool = False
    policy: PricingPolicy | None = None
    price: NotNegative | None = None
    tax: Code | None = None
    channel: Code | None = None
    currency: CurrencyCode | None = None
    shipping_service: Code | None = None
    shipping_zone: Code | None = None
    pieces_per_order: SoldQuantity | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if (self.product is None) == (self.listing is None):
            yield InvalidValueError(("product",), "give either a product or a listing")
        elif self.listing is not None:
            for name in _OF_A_PRODUCT:
                if getattr(self, name) is not None:
                    yield InvalidValueError((name,), "is decided by the listing; leave it out")
        else:
            yield from self._problems_of_a_product()
        if self.most_per_month is not None and self.most_per_month < self.least_per_month:
            reason = f"must be least_per_month, {plain(self.least_per_month)}, or more"
            yield InvalidValueError(("most_per_month",), reason)

    def problems_in(self, unit: Unit) -> Iterator[InvalidValueError]:
        """Quantities that the unit of its product does not have, such as half a piece."""
        for name in _IN_UNITS:
            quantity = getattr(self, name)
            if quantity is not None and (problem := unit.problem(quantity)):
                yield InvalidValueError((name,), problem)

    def _problems_of_a_product(self) -> Iterator[InvalidValueError]:
        if self.standard_batch is None:
            yield InvalidValueError(("standard_batch",), "is required with a product")
        else:
            yield from sold_together_problems(1, self.standard_batch, "standard_batch", self.pieces_per_order)
        if (self.policy is None) == (self.price is None):
            yield InvalidValueError(("policy",), "say how to price it (policy), or give a price")
        yield from shipping_problems(self.shipping_service, self.shipping_zone)


@declared
class MonthPlan:
    """What is asked about a month.

    Attributes:
        as_of: the day whose rates are used; if left out today in the workshop's time zone, or the day of the named
            month that is nearest to it.
        month: the month of the calendar, such as "2026-12"; closures in it shorten its working time. An ordinary month
            if left out.
        lines: what is made and sold.
        other_fixed_costs: what the month costs besides what the rate card says.
        leave_out: machines, labour grades, tariffs and pools whose fixed cost the month does not bear, such as
            ["machines/press"].
        target_profit: the profit to reach, before income tax.
        income_tax_share: the share of a profit that income tax takes, for an illustration of what is left.
        weeks: working weeks in the month, at most 5; 52/12 if left out. The fixed costs are those of a whole month all
            the same.
        best_mix: whether to look for the most profitable mix.
    """

    as_of: date | None = None
    month: CalendarMonth | None = None
    lines: Annotated[tuple[PlannedLine, ...], Length(at_least=1, at_most=MAX_LINES)]
    other_fixed_costs: Annotated[tuple[OtherFixedCost, ...], Length(at_most=100)] = ()
    leave_out: Annotated[tuple[FixedResource, ...], Length(at_most=1000)] = ()
    target_profit: NotNegativeMoney | None = None
    income_tax_share: Share | None = None
    weeks: Positive | None = None
    best_mix: bool = True

    def problems(self) -> Iterator[InvalidValueError]:
        if self.weeks is not None and self.weeks > MOST_WEEKS:
            reason = f"must be {MOST_WEEKS} or less: a plan is for one month and bears the fixed costs of one; plan "
            yield InvalidValueError(("weeks",), f"{reason}several months one by one, and a year as twelve")
        if self.weeks is not None and self.month is not None:
            reason = "follow from the month and the closures in it; leave them out, or leave out the month"
            yield InvalidValueError(("weeks",), reason)
