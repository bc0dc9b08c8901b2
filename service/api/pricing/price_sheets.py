"""Price sheets of products: what to ask for pieces, or units, of a batch, or what is kept at a price."""

from collections.abc import Iterator
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Annotated

import flask
from flask.views import MethodView

from service.api.contract.schemas import schema_of
from service.api.costing.products import blueprint
from service.api.http.answers import answer
from service.api.http.auth import workshop, workspace
from service.api.http.operations import operation
from service.domain.pricing.policy import PricingPolicy, Rounding, Target
from service.domain.selling.base_quantity import BaseQuantity, sold_together_problems
from service.domain.selling.channels import Display
from service.domain.selling.route import Route, shipping_problems
from service.domain.values.declared import (
    Bounds,
    Code,
    CurrencyCode,
    Length,
    NotNegative,
    Positive,
    ProperShare,
    declared,
    default_of,
)
from service.domain.values.errors import InvalidValueError
from service.domain.values.unit_costs import CostBasis
from service.domain.values.units import SoldQuantity
from service.workflows.pricing import pricing
from service.workflows.pricing.pricing import PriceSheet
from service.workflows.pricing.sale_way import PriceQuestion


@declared
class PriceQuery:
    """How to find a price, or which price to examine.

    Attributes:
        quantity: good pieces, or units of the product, in the batch.
        base_quantity: pieces, or units, that the price is for: 1, 12, 100 or 1000. Amounts of the policy are for so
            many together; a profit per piece is not.
        pieces_per_order: pieces, or units, that are ordered together; the base quantity if left out, of which pieces
            are a multiple. Fixed fees, and the shipping of all of them, are spread over them. For overhead by the order
            a batch that is sold directly is one order if it is left out.
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        tax: code of the tax; none if left out.
        channel: code of the sales channel; sold directly if left out.
        currency: currency of the price; the workshop's if left out.
        shipping_service: code of the shipping service; collected by the customer if left out.
        shipping_zone: zone of the service that the order is sent to.
        discount_share: also show the effect of this discount on the price, and the lowest price that allows it.
        kept_at: the inverse question: what is kept at this price; in place of target and value.
        target: kind of target.
        value: margin or markup as a share, or profit or price as an amount.
        cost_basis: the cost that the target refers to.
        never_below_cost: the price never falls below this cost.
        never_below_amount: the price never falls below this amount.
        price_step: prices are multiples of this; with endings, the endings repeat at this interval.
        price_endings: endings that a price may have; repeat the parameter for several.
        rounding: the next price up, or the nearest that is not below the floor.
        display: whether the price includes tax; if left out, as the channel shows prices, or without tax if there is
            no channel.
    """

    quantity: SoldQuantity
    base_quantity: BaseQuantity = 1
    pieces_per_order: SoldQuantity | None = None
    as_of: date | None = None
    tax: Code | None = None
    channel: Code | None = None
    currency: CurrencyCode | None = None
    shipping_service: Code | None = None
    shipping_zone: Code | None = None
    discount_share: ProperShare | None = None
    kept_at: NotNegative | None = None
    target: Target | None = None
    value: Decimal | None = None
    cost_basis: CostBasis = CostBasis.FULL
    never_below_cost: CostBasis | None = None
    never_below_amount: NotNegative | None = None
    price_step: Positive | None = None
    price_endings: Annotated[tuple[Annotated[Decimal, Bounds(at_least=0)], ...], Length(at_most=20)] = ()
    rounding: Rounding = Rounding.UP
    display: Display | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        """Needs either kept_at or a target."""
        yield from sold_together_problems(self.base_quantity, self.quantity, "quantity", self.pieces_per_order)
        yield from shipping_problems(self.shipping_service, self.shipping_zone)
        if self.kept_at is not None:
            for name in ("target", "value", "cost_basis", "price_step", "price_endings", "rounding"):
                if getattr(self, name) != default_of(PriceQuery, name):
                    yield InvalidValueError((name,), "cannot be combined with kept_at")
        elif self.target is None:
            yield InvalidValueError(("target",), "is required, unless kept_at is given")
        elif self.value is None:
            yield InvalidValueError(("value",), "is required with a target")

    def policy(self) -> PricingPolicy:
        """The policy; for the inverse question only its floor and display matter."""
        asked = {each.name: getattr(self, each.name) for each in fields(PricingPolicy)}
        value = (self.value if self.kept_at is None else self.kept_at) or Decimal(0)
        return PricingPolicy(**{**asked, "target": self.target or Target.FIXED_PRICE, "value": value})


@blueprint.route("/<code>/price-sheet")
class PriceSheetView(MethodView):
    """Price sheet of a product."""

    @operation("getPriceSheet", refuses=(409,))
    @blueprint.arguments(schema_of(PriceQuery)(), location="query")
    @blueprint.response(200, schema_of(PriceSheet))
    def get(self, query: PriceQuery, code: str) -> flask.Response:
        """What to ask for pieces, or units, of a batch, or what is kept at a price.

        For a price without a listing or a quotation: name a target, such as a margin, or a price with `kept_at`. Every
        term between cost and price is shown.
        """
        asked = {each.name: getattr(query, each.name) for each in fields(PriceQuestion) if hasattr(query, each.name)}
        asked |= {"product": code, "as_of": query.as_of or workshop().today()}
        asked |= {"policy": query.policy(), "route": Route.of(query)}
        return answer(pricing.price_product(workspace(), PriceQuestion(**asked)))
