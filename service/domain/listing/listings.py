"""Products offered for online sale."""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated

from service.domain.listing.unit_price import Measure, measures_of
from service.domain.making.products import Product
from service.domain.pricing.policy import PricingPolicy
from service.domain.selling.base_quantity import BaseQuantity, sold_together_problems, unit_problems
from service.domain.selling.route import shipping_problems
from service.domain.values.declared import Code, CurrencyCode, Length, Line, Paragraph, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.forms import LocaleCode, WebAddress
from service.domain.values.money import IN_USE
from service.domain.values.references import Names
from service.domain.values.units import SoldQuantity, Unit


class Availability(StrEnum):
    """Whether and when buyers can have it.

    Source: Schema.org vocabulary, ItemAvailability, in words with underscores.
    """

    IN_STOCK = "in_stock"
    LIMITED_AVAILABILITY = "limited_availability"
    MADE_TO_ORDER = "made_to_order"
    BACK_ORDER = "back_order"
    PRE_ORDER = "pre_order"
    OUT_OF_STOCK = "out_of_stock"
    SOLD_OUT = "sold_out"
    DISCONTINUED = "discontinued"


@declared
class Listing:
    """A product on a sales channel, in one currency and for one language.

    Attributes:
        name: what buyers read; the product's name if empty.
        description: what buyers read besides.
        product: code of the product.
        channel: code of the sales channel.
        currency: the currency of sale.
        locale: the CLDR locale in which its prices are written, for instance "de_AT".
        policy: how it is priced, amounts in the currency of sale; whether prices contain the tax is the
            channel's to say, so leave display out.
        base_quantity: pieces, or units of the product, that its price is for: 1, 12, 100 or 1000. Amounts of the policy
            are for so many together; a profit per piece is not.
        pieces_per_order: pieces, or units, that are usually ordered together; the base quantity if left out, of which
            pieces are a multiple. What falls on an order once is spread over them: fixed fees, the limits of fees and
            of their bands, and the shipping of all of them, packed together. A smaller order keeps less.
        standard_batch: good pieces, or units, in the batch that its cost is taken from; at least those of an order.
        tax: code of the tax; none if left out.
        shipping_service: code of the service that an order is sent with; collected by the buyer if left out.
        shipping_zone: the service's zone that buyers are in.
        unit_price_per: the unit of quantity that a unit price is shown for; none is shown if left out. Of pieces kg, m,
            m2 or m3; of anything else its own unit or kg, of litres and cubic metres either of both; of hours none.
        url: address of the page on which buyers find it.
        image: address of a picture of it.
        availability: whether and when buyers can have it; not told if left out.
        tags: what the workshop groups its listings by, for instance ["garden"]; not shown to buyers.
        note: anything worth knowing; not shown to buyers.
    """

    name: Line = ""
    description: Paragraph = ""
    product: Annotated[Code, Names("products")]
    channel: Annotated[Code, Names("channels")]
    currency: CurrencyCode
    locale: LocaleCode
    policy: PricingPolicy
    base_quantity: BaseQuantity = 1
    pieces_per_order: SoldQuantity | None = None
    standard_batch: SoldQuantity
    tax: Annotated[Code, Names("taxes")] | None = None
    shipping_service: Annotated[Code, Names("shipping-services")] | None = None
    shipping_zone: Code | None = None
    unit_price_per: Measure | None = None
    url: WebAddress = ""
    image: WebAddress = ""
    availability: Availability | None = None
    tags: Annotated[tuple[Code, ...], Length(at_most=20)] = ()
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if ended := IN_USE.problems(self.currency, ("currency",)):
            yield from ended
        else:
            for problem in self.policy.grid_problems(self.currency):
                yield InvalidValueError(("policy", *problem.path), problem.reason)
        if self.policy.display is not None:
            yield InvalidValueError(("policy", "display"), "is decided by the channel; leave it out")
        yield from sold_together_problems(
            self.base_quantity, self.standard_batch, "standard_batch", self.pieces_per_order
        )
        yield from shipping_problems(self.shipping_service, self.shipping_zone)


def misfits(listing: Listing, product: Product) -> Iterator[InvalidValueError]:
    """Where a listing does not match its product: quantities and the unit, its unit price, and how it is sent."""
    yield from unit_problems(
        product.unit, listing.base_quantity, listing.standard_batch, "standard_batch", listing.pieces_per_order
    )
    if (measure := listing.unit_price_per) is not None and measure not in (known := measures_of(product.unit)):
        told = " or ".join(known)
        reason = f"a product by the {product.unit.value} has no price per {measure}; name {told}, or leave it out"
        if not known:
            reason = "hours have no unit price; leave it out"
        yield InvalidValueError(("unit_price_per",), reason)
    if product.unit is Unit.HOUR and listing.shipping_service is not None:
        yield InvalidValueError(("shipping_service",), "hours are not shipped; leave service and zone out")
