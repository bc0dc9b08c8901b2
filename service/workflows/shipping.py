"""What it costs to ship pieces of products by a service of the workshop's."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Annotated

from service.domain.declared import Code, Length, Pieces, declared
from service.domain.errors import (
    DoesNotFitError,
    InvalidValueError,
    MissingMeasuresError,
    TooComplexError,
    UnknownZoneError,
)
from service.domain.products import Product
from service.domain.resources import Reference
from service.domain.shipping import ShippingRate, ShippingService
from service.domain.shipping_estimate import ShippingEstimate, shipping_estimate
from service.domain.shipping_statement import Shipment, ShippingStatement, shipping_statement
from service.store.database import Database
from service.store.workshops import Workshop
from service.workflows.costing import costed, prepare

MAX_LINES = 20


@declared
class ShippingLine:
    """Pieces of one product, packed by themselves.

    Attributes:
        product: code of the product; its mass and its sides must be registered.
        quantity: how many pieces are shipped.
    """

    product: Code
    quantity: Pieces


@declared
class ShippingQuestion:
    """What is to be shipped, how and where to. No parcel holds two products.

    Attributes:
        service: code of the shipping service.
        zone: one of its zones.
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        lines: what is shipped, each product once.
    """

    service: Code
    zone: Code
    as_of: date | None = None
    lines: Annotated[tuple[ShippingLine, ...], Length(at_least=1, at_most=MAX_LINES)]

    def problems(self) -> Iterator[InvalidValueError]:
        seen: set[str] = set()
        for index, line in enumerate(self.lines):
            if line.product in seen:
                yield InvalidValueError(("lines", index, "product"), "stands in two lines; add the pieces up")
            seen.add(line.product)

    def references(self) -> Iterator[Reference]:
        """Everything it names, and where."""
        yield ("service",), "shipping-services", self.service
        for index, line in enumerate(self.lines):
            yield ("lines", index, "product"), "products", line.product


def estimate_shipping(database: Database, workshop: Workshop, question: ShippingQuestion) -> ShippingStatement:
    """The cheapest parcels and what they cost; nothing is stored.

    Raises:
        InvalidValuesError: the service or a product is not registered.
        MissingRatesError: the service has no rate on the date.
        UnknownZoneError: the service has no such zone.
        MissingMeasuresError: a product has no mass or lacks a side.
        DoesNotFitError: a product goes into no parcel that the service takes.
        TooComplexError: more pieces or products than one estimate may have.
        MissingExchangeRateError: the price cannot be converted into the workshop's currency.
    """
    as_of = question.as_of or workshop.today()
    costing = prepare(database, workshop, question.references(), as_of)
    resource = f"shipping-services/{question.service}"
    costed(database, workshop, costing, [], also=[resource])
    rate = costing.card.rates[resource]
    assert isinstance(rate.terms, ShippingRate)  # a shipping service has no other terms
    service = costing.surroundings.facts["shipping-services"][question.service]
    estimate = _estimate(question, costing.surroundings.catalogue.products, service, rate.terms)
    statement = shipping_statement(
        estimate,
        Shipment(
            service=question.service, name=service.name, zone=question.zone, as_of=as_of, valid_from=rate.valid_from
        ),
        currency=workshop.currency,
        convert=costing.exchange,
    )
    return replace(statement, exchange_rates=costing.exchange.used.stated())


def _estimate(
    question: ShippingQuestion, products: Mapping[str, Product], service: ShippingService, terms: ShippingRate
) -> ShippingEstimate:
    """The estimate; a refusal says which member of the question it is about."""
    codes = [line.product for line in question.lines]
    pieces = [(line.product, products[line.product], line.quantity) for line in question.lines]
    try:
        return shipping_estimate(pieces, service, terms, question.zone)
    except (MissingMeasuresError, DoesNotFitError) as error:
        error.path = ("lines", codes.index(error.product), "product")
        raise
    except TooComplexError as error:
        error.path = ("lines",)
        raise
    except UnknownZoneError as error:
        error.path = ("zone",)
        raise
