"""What it costs to ship pieces of products by one of the workshop's shipping services."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.making.errors import MissingMeasuresError
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.shipping.estimate import ShippingEstimate, shipping_estimate
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.shipping.shipping_statement import Shipment, ShippingStatement, shipping_statement
from service.domain.values.declared import Code, Distinct, Length, declared
from service.domain.values.errors import InvalidValueError, InvalidValuesError, Path, TooComplexError
from service.domain.values.references import Names, references_in
from service.domain.values.units import SoldQuantity
from service.workflows.costing.cost_sheets import costed
from service.workflows.costing.costing import Costing, prepare
from service.workflows.workspace import Workspace

MAX_LINES = 20


@declared
class ShippingLine:
    """Pieces, or units, of one product, packed by themselves.

    Attributes:
        product: code of the product; its mass and its sides must be registered: those of one unit, if it is not sold by
            the piece. A kilogram weighs 1 kg, and hours are not shipped.
        quantity: how much is shipped. Units are packed whole: a part of one takes the room of one, and weighs what it
            weighs.
    """

    product: Annotated[Code, Names("products")]
    quantity: SoldQuantity


_PRODUCTS_ONCE = Distinct(by="product", at_entry=True, reason="stands in two lines; add the pieces up")


@declared
class ShippingQuestion:
    """What to ship, by which service and where to. A parcel holds only one product.

    Attributes:
        service: code of the shipping service.
        zone: one of its zones.
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        lines: what is shipped, each product once.
    """

    service: Annotated[Code, Names("shipping-services")]
    zone: Code
    as_of: date | None = None
    lines: Annotated[tuple[ShippingLine, ...], Length(at_least=1, at_most=MAX_LINES), _PRODUCTS_ONCE]


def estimate_shipping(workspace: Workspace, question: ShippingQuestion) -> ShippingStatement:
    """The cheapest parcels and what they cost; nothing is stored.

    Raises:
        InvalidValuesError: the service or a product is not registered, or its unit does not allow the quantity.
        MissingRatesError: the service has no rate on the date.
        UnknownZoneError: the service has no such zone.
        MissingMeasuresError: a product has no mass or lacks a dimension.
        DoesNotFitError: no parcel that the service accepts can hold a product.
        TooComplexError: more pieces or products than one estimate may have.
        MissingExchangeRateError: the price cannot be converted into the workshop's currency.
    """
    as_of = question.as_of or workspace.workshop.today()
    costing = prepare(workspace, references_in(question), as_of)
    costed(workspace, costing, [], also=[f"shipping-services/{question.service}"])
    _check_units(costing, question.lines)
    pieces = {line.product: line.quantity for line in question.lines}
    places: dict[str, Path] = {line.product: ("lines", index, "product") for index, line in enumerate(question.lines)}
    estimate, shipment = shipped(costing, question.service, question.zone, pieces, ShippedFrom(places=places))
    statement = shipping_statement(estimate, shipment, currency=workspace.workshop.currency, convert=costing.exchange)
    return replace(statement, exchange_rates=costing.exchange.used.stated())


def _check_units(costing: Costing, lines: tuple[ShippingLine, ...]) -> None:
    """Raises InvalidValuesError if a quantity is none of its product's unit."""
    products = costing.surroundings.catalogue.products
    found = [(place, products[line.product].unit.problem(line.quantity)) for place, line in enumerate(lines)]
    if problems := [InvalidValueError(("lines", place, "quantity"), reason) for place, reason in found if reason]:
        raise InvalidValuesError(problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippedFrom:
    """The members of a request that say what is shipped, for error messages.

    Attributes:
        places: the member of each product.
        whole: the member of all products together.
        zone: the member of the destination.
    """

    places: Mapping[str, Path]
    whole: Path = ("lines",)
    zone: Path = ("zone",)


def shipped(
    costing: Costing, service: str, zone: str, pieces: Mapping[str, Decimal], asked_by: ShippedFrom
) -> tuple[ShippingEstimate, Shipment]:
    """The cheapest parcels for pieces of some products, by a service that has a rate.

    Raises as `estimate_shipping` does, naming the member of the request.
    """
    rate = costing.card.rates[f"shipping-services/{service}"]
    assert isinstance(rate.terms, ShippingRate)  # a shipping service has no other terms
    registered, products = costing.surroundings.facts["shipping-services"][service], costing.surroundings.catalogue
    wanted = [(code, products.products[code], quantity) for code, quantity in pieces.items()]
    shipment = Shipment(
        service=service, name=registered.name, zone=zone, as_of=costing.card.as_of, valid_from=rate.valid_from
    )
    try:
        return shipping_estimate(wanted, registered, rate.terms, zone), shipment
    except (MissingMeasuresError, DoesNotFitError) as error:
        error.path = asked_by.places[error.product]
        raise
    except TooComplexError as error:
        error.path = tuple(asked_by.whole)
        raise
    except UnknownZoneError as error:
        error.path = tuple(asked_by.zone)
        raise
