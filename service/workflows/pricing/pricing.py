"""The price of a product, and what is kept at a price."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from service.domain.costing.cost_sheet import CostedBatch, CostSheet
from service.domain.costing.free_of_charge import zero_price
from service.domain.costing.orders_of_one import orders_of_one
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.products import Product
from service.domain.pricing.policy import PricingPolicy, minor_unit_problems
from service.domain.pricing.price import Price
from service.domain.pricing.price_statement import DiscountStatement, PriceStatement, price_statement
from service.domain.safety.cautions import Caution
from service.domain.selling.base_quantity import unit_problems
from service.domain.selling.taxes import untaxed
from service.domain.shipping.errors import UnknownZoneError
from service.domain.shipping.shipping_statement import ShippingStatement
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.money import Money, cash_rounded, currency_problem
from service.domain.values.references import references_in
from service.domain.values.shown import Quantity, shown
from service.domain.values.units import Unit
from service.store.registering.rates import rates_on
from service.workflows.costing.cost_sheets import condition_warnings, costed, sheet_warnings
from service.workflows.costing.costing import Costing, pools_of, prepare, subject
from service.workflows.costing.rate_checks import share_of
from service.workflows.pricing.sale_way import PriceQuestion, SaleWay, Settlement
from service.workflows.workspace import Workspace

_VALUE = ("value",)
"""The value of a target, which the inverse question does not use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceSheet(CostedBatch):
    """The price of a product, and what is kept of it.

    Attributes:
        product: its code.
        quantity: pieces, or units, in the batch whose cost is used.
        as_of: the date of the rates.
        currency: of the price, and of every amount that does not say otherwise.
        tax: code of the tax, if any.
        channel: code of the sales channel, if any.
        base_quantity: pieces, or units, that every price is for, with its fees, shipping and costs.
        pieces_per_order: pieces, or units, that are ordered together; what falls on an order once is spread over them.
        policy: how the price was found; null for the inverse question.
        price_per_piece: the price of the base quantity with every step of its calculation.
        cash_price: the price in cash, tax included; null if cash is not rounded in this currency.
        shipping: how an order is sent and what that costs, if a shipping service is named.
        discount: the effect of the discount that was asked about.
        settlement: the payout and profit, if the sale goes through a channel or is in another currency.
        rates_valid_from: the first day of the terms of tax, channel and shipping, by resource.
        exchange_rates: the exchange rates used.
        warnings: what looks implausible about the product.
        cautions: where the work or the product can hurt someone; a price never implies fitness for a use.
    """

    tax: str | None
    channel: str | None
    base_quantity: int
    pieces_per_order: Quantity
    policy: PricingPolicy | None
    price_per_piece: PriceStatement
    cash_price: Money | None
    shipping: ShippingStatement | None
    discount: DiscountStatement | None
    settlement: Settlement | None
    rates_valid_from: Mapping[str, date]
    exchange_rates: tuple[UsedRates, ...]
    warnings: tuple[PlausibilityWarning, ...]
    cautions: tuple[Caution, ...]


def price_product(workspace: Workspace, question: PriceQuestion) -> PriceSheet:
    """The price of pieces of a batch, or what is kept at a given price.

    Raises:
        NotRegisteredError: the product is not registered.
        InvalidValuesError: something else named is not registered; a price, a step or an ending is finer than the
            currency's minor unit; or the product's unit does not allow a quantity.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: an amount cannot be converted on the date.
        UnreachableTargetError: no price meets the target.
    """
    named = [subject("products", question.product), *references_in(question.route)]
    costing = prepare(workspace, named, question.as_of)
    unit, together = costing.surroundings.catalogue.products[question.product].unit, question.route.pieces_per_order
    if problems := list(unit_problems(unit, question.base_quantity, question.quantity, "quantity", together)):
        raise InvalidValuesError(problems)
    try:
        return priced(workspace, costing, question)
    except UnknownZoneError as error:
        error.path = ("shipping_zone",)
        raise


def check_grid(question: PriceQuestion, currency: str) -> None:
    """Raises InvalidValuesError if the currency has ended, or an amount is finer than its minor unit."""
    if (problem := currency_problem(currency, question.as_of)) is not None:
        raise InvalidValuesError([InvalidValueError(("currency",), problem)])
    found = (*question.policy.grid_problems(currency), *minor_unit_problems(("kept_at",), [question.kept_at], currency))
    if problems := [each for each in found if question.kept_at is None or each.path != _VALUE]:
        raise InvalidValuesError(problems)


@exactly
def priced(workspace: Workspace, costing: Costing, question: PriceQuestion) -> PriceSheet:
    """The price sheet, from loaded data; raises as `price_product` does."""
    check_grid(question, question.route.currency or workspace.workshop.currency)
    resources = question.route.resources()
    ((bill, sheet),) = costed(workspace, costing, [question.batch], also=resources)
    way = SaleWay(costing, question, workspace.workshop.currency)
    found = way.price(sheet)
    policy = None if question.kept_at is not None else question.policy
    is_unsaid = question.route.channel is not None and question.route.pieces_per_order is None
    return shown(
        PriceSheet,
        way.currency,
        way,
        question,
        sheet,
        tax=question.route.tax,
        channel=question.route.channel,
        policy=policy,
        price_per_piece=price_statement(
            found, policy, quantity=question.quantity, currency=way.currency, unit=sheet.unit
        ),
        cash_price=cash_rounded(found.gross_price, way.currency),
        shipping=way.shipping,
        discount=way.discount(found),
        settlement=way.settlement(found),
        rates_valid_from={resource: costing.card.rates[resource].valid_from for resource in resources},
        exchange_rates=costing.exchange.used.stated(),
        warnings=(
            *sheet_warnings(workspace, costing, bill, sheet),
            *(orders_of_one(sheet, pools_of(costing.surroundings), question.pieces_per_order) if is_unsaid else ()),
            *zero_price(sheet.product, found.gross_price, sheet.unit),
            *condition_warnings(workspace, costing, resources, sheet.product),
            *_route_warnings(workspace, way),
        ),
        cautions=(*costing.cautions(bill), *(way.estimate.cautions if way.estimate else ())),
    )


def _route_warnings(workspace: Workspace, way: SaleWay) -> Iterator[PlausibilityWarning]:
    """What a price through a channel probably lacks, because the question does not name it: tax, shipping."""
    route, code = way.route, way.question.product
    if way.channel is None:
        return
    if route.tax is None:
        with workspace.reading() as connection:
            taxes = rates_on(connection, workspace.workshop_id, way.question.as_of, ("taxes",))
        yield from untaxed(map(share_of, taxes.values()), code)
    if route.shipping is None and _is_a_thing(way.costing.surroundings.catalogue.products[code]):
        yield from way.channel_terms.unpaid_shipping(way.channel, code)


def _is_a_thing(product: Product) -> bool:
    """Whether it can be sent: it has a mass, or is made of something, and is no work by the hour."""
    return product.unit is not Unit.HOUR and (product.mass_kg is not None or bool(product.bill_of_materials))


def price_on_the_way(costing: Costing, question: PriceQuestion, sheet: CostSheet, home: str) -> tuple[SaleWay, Price]:
    """How a product is sold and its price, from the cost sheet of its batch; raises as `price_product` does.

    Args:
        costing: has a rate for everything that the question names.
        question: how the piece is sold.
        sheet: what the batch costs.
        home: the workshop's currency.
    """
    check_grid(question, question.route.currency or home)
    way = SaleWay(costing, question, home)
    return way, way.price(sheet)
