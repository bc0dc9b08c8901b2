"""From cost to price: the conditions of a sale, and its proceeds."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from service.domain.costing.cost_sheet import CostSheet, unit_costs
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.pricing.aim import Aim
from service.domain.pricing.policy import PricingPolicy
from service.domain.pricing.price import BarePrice, Price, Pricing
from service.domain.pricing.price_statement import DiscountStatement, discount_statement
from service.domain.selling.channels import Channel, ChannelRate, Display
from service.domain.selling.route import Route
from service.domain.selling.sale import OrderOfPrices, OrderShare, Sale, sale_through
from service.domain.selling.taxes import TaxRate
from service.domain.shipping.estimate import ShippingEstimate, shipping_estimate
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.shipping.shipping_statement import Shipment, ShippingStatement, shipping_statement
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.money import Money, in_currency, rounded
from service.domain.values.shown import SumOf, UnitAmount, shown
from service.domain.values.unit_costs import UnitCosts
from service.workflows.costing.cost_sheets import Batch
from service.workflows.costing.costing import Costing


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceQuestion:
    """A question about a price.

    Attributes:
        product: its code.
        quantity: pieces, or units, in the batch whose cost is used.
        as_of: the date of the rates.
        policy: how the price is found; the inverse question uses only its floor and display.
        route: how it is sold.
        base_quantity: pieces, or units, that the price is for.
        kept_at: the inverse question: what is kept at this price.
        discount_share: what a discount of this share of the price would do.
    """

    product: str
    quantity: Decimal
    as_of: date
    policy: PricingPolicy
    route: Route
    base_quantity: int = 1
    kept_at: Decimal | None = None
    discount_share: Decimal | None = None

    @property
    def pieces_per_order(self) -> Decimal:
        """Pieces, or units, that an order has."""
        return self.route.pieces_per_order or Decimal(self.base_quantity)

    @property
    def batch(self) -> Batch:
        """The batch whose cost is used. Sold directly it is one order, unless the question says what an order has."""
        is_one = self.route.channel is None and self.route.pieces_per_order is None
        return Batch(self.product, self.quantity, pieces_per_order=None if is_one else self.pieces_per_order)

    @property
    def order(self) -> OrderOfPrices:
        """How often an order has the price."""
        return OrderOfPrices(self.pieces_per_order, self.base_quantity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settlement:
    """The payout of the sale of the base quantity, its part of an order's, and its profit.

    Attributes:
        payout: what the channel pays out, tax included, after its fees and conversion, in its payout currency.
        proceeds: the part of it left for cost and profit, in the workshop's currency.
        full_cost: of the pieces, in the workshop's currency.
        profit: proceeds less full cost, in the workshop's currency.
    """

    payout: Money
    proceeds: UnitAmount
    full_cost: UnitAmount
    profit: Annotated[Money, SumOf(("proceeds",), ("full_cost",))]


def check_rated(costing: Costing, route: Route) -> None:
    """Raises MissingRatesError if something that the route names has no rate."""
    missing = [MissingRate(resource=each) for each in route.resources() if each not in costing.card.rates]
    if missing:
        raise MissingRatesError(costing.card.as_of, missing)


_BYTES_OF_A_SEGMENT = 400
"""That a segment of the functions of a sale takes in memory (measured: 382)."""
_BYTES_OF_SHIPPING = 4_000
"""That an estimate of shipping takes, or its statement; estimated high."""


def size_of_sale(sale: Sale) -> int:
    """Bytes that a sale takes in memory."""
    return len(sale) * _BYTES_OF_A_SEGMENT


def estimate_of(costing: Costing, question: PriceQuestion) -> ShippingEstimate | None:
    """How an order is sent, the same for every channel and currency; None if the question names no service.

    Raises:
        UnknownZoneError: the service has no such zone.
        MissingMeasuresError: the product has no mass or lacks a side.
        DoesNotFitError: no parcel that the service accepts can hold it.
    """
    if question.route.shipping is None:
        return None
    product, pieces, (code, zone) = question.product, question.pieces_per_order, question.route.shipping
    terms = costing.card.rates[f"shipping-services/{code}"].terms
    assert isinstance(terms, ShippingRate)  # a shipping service has no other terms
    service, sent = costing.surroundings.facts["shipping-services"][code], costing.surroundings.catalogue.products
    return costing.remembered(
        ("parcels", product, code, zone, pieces),
        lambda: shipping_estimate([(product, sent[product], pieces)], service, terms, zone),
        lambda _: _BYTES_OF_SHIPPING,
    )


class SaleWay:
    """From a cost sheet to a price, under the conditions that the question names."""

    def __init__(self, costing: Costing, question: PriceQuestion, home: str) -> None:
        self.costing, self.question, self.route, self.home = costing, question, question.route, home
        self.currency = self.route.currency or home
        self.facts = costing.surroundings.facts
        self.channel: Channel | None = self.facts["channels"][self.route.channel] if self.route.channel else None
        self.estimate = estimate_of(costing, question)
        self.sale = self._sale()

    def price(self, sheet: CostSheet) -> Price:
        """The price of a product whose batch costs this."""
        self.pricing = self._pricing(unit_costs(sheet))
        kept_at = self.question.kept_at
        return self.pricing.asked() if kept_at is None else self.pricing.kept_at(kept_at)

    def bare_price(self, costs: UnitCosts) -> BarePrice:
        """The price of a product whose piece costs this in the workshop's currency, not judged."""
        pricing, kept_at = self._pricing(costs), self.question.kept_at
        return pricing.bare(pricing.to_ask() if kept_at is None else kept_at)

    def _pricing(self, costs: UnitCosts) -> Pricing:
        if self.currency != self.home:
            costs = costs.converted(lambda amount: self._converted(amount, self.home))
        aim = Aim(self.question.policy, self.sale, self.currency, self.question.base_quantity)
        return Pricing(aim, aim.costs(costs))

    def discount(self, found: Price) -> DiscountStatement | None:
        share = self.question.discount_share
        return None if share is None else discount_statement(self.pricing.discount(found.asked, share), self.currency)

    def settlement(self, found: Price) -> Settlement | None:
        """The payout and its proceeds; None if it goes through no channel in the home currency."""
        if self.channel is None and self.currency == self.home:
            return None
        paid_out = self.sale.paid_out(found.gross_price)
        left = in_currency(paid_out - self.sale.conversion_cost(paid_out), self.currency)
        payout = self.costing.exchange.converted(left, self.payout_currency)
        return shown(
            Settlement,
            self.home,
            payout=rounded(payout, self.payout_currency),
            proceeds=self.brought_home(found.proceeds),
            full_cost=self.brought_home(found.costs.full),
        )

    def check_settled(self) -> None:
        """Raises as `settlement` does if an exchange rate for it is missing."""
        for currency in (self.payout_currency, self.home):
            self.costing.exchange.conversion(self.currency, currency)

    @property
    def payout_currency(self) -> str:
        """The currency in which the channel pays out."""
        return (self.channel.payout_currency if self.channel else None) or self.currency

    def brought_home(self, amount: Decimal) -> Decimal:
        """An amount in the currency of sale, converted to the workshop's."""
        return self.costing.exchange.converted(in_currency(amount, self.currency), self.home)

    def _converted(self, amount: Decimal, currency: str) -> Decimal:
        return self.costing.exchange.converted(in_currency(amount, currency), self.currency)

    @property
    def channel_terms(self) -> ChannelRate:
        """The terms of the channel, which the question names."""
        terms = self._terms("channels", str(self.route.channel))
        assert isinstance(terms, ChannelRate)  # a channel has no other terms
        return terms

    def _terms(self, collection: str, code: str) -> Any:
        return self.costing.card.rates[f"{collection}/{code}"].terms

    def _sale(self) -> Sale:
        """The conditions of sale: the same for every batch and policy, and for products that cost the same to send."""
        order, display = self._order_share(), self.question.policy.display
        return self.costing.remembered(
            ("sale", self.route.tax, self.route.channel, self.currency, display, order),
            lambda: self._sale_of(order),
            size_of_sale,
        )

    @exactly
    def _order_share(self) -> OrderShare:
        """A price's part of an order, and of what it costs to send it."""
        order = self.question.order
        if self.estimate is None:
            return OrderShare(None, order)
        sent_for = self.estimate.price
        return OrderShare(order.part(self._converted(sent_for.amount, sent_for.currency)), order)

    def _sale_of(self, order: OrderShare) -> Sale:
        tax_share = ZERO
        if self.route.tax is not None:
            terms = self._terms("taxes", self.route.tax)
            assert isinstance(terms, TaxRate)  # a tax has no other terms
            tax_share = terms.rate_share
        asked = self.question.policy.display
        if self.channel is None:
            display = asked or Display.TAX_EXCLUSIVE
            return Sale(
                display=display,
                tax_share=tax_share,
                shipping_cost=order.shipping_cost or ZERO,
                spread_over=order.spread_over,
            )
        if asked not in (None, self.channel.display):
            reason = f"the channel shows its prices {self.channel.display.value}; leave it out"
            raise InvalidValuesError([InvalidValueError(("display",), reason)])
        terms = self.channel_terms
        # The sale is kept in memory: it may refer to the exchange rates, but not to the rest of the costing.
        exchange, currency, of_terms = self.costing.exchange, self.currency, terms.currency or self.currency
        return sale_through(
            terms,
            display=self.channel.display,
            tax_share=tax_share,
            convert=lambda amount: exchange.converted(in_currency(amount, of_terms), currency) if amount else ZERO,
            is_converted=self.payout_currency != self.currency,
            order=order,
        )

    @property
    def shipping(self) -> ShippingStatement | None:
        """How an order is sent, as it is shown; None if it is not."""
        if self.estimate is None or self.route.shipping is None:
            return None
        key = ("shipping", self.question.product, *self.route.shipping, self.question.pieces_per_order)
        estimate, shipment = self.estimate, self._shipment(*self.route.shipping)
        return self.costing.remembered(
            key,
            lambda: shipping_statement(estimate, shipment, currency=self.home, convert=self.costing.exchange),
            lambda _: _BYTES_OF_SHIPPING,
        )

    def _shipment(self, code: str, zone: str) -> Shipment:
        rate = self.costing.card.rates[f"shipping-services/{code}"]
        name, day = self.facts["shipping-services"][code].name, self.question.as_of
        return Shipment(service=code, name=name, zone=zone, as_of=day, valid_from=rate.valid_from)
