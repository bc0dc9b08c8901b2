"""How a piece, or unit, is sold: tax, channel, currency, shipping and the pieces of an order."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any

from service.domain.values.errors import InvalidValueError
from service.domain.values.references import Names, references_in


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """How a piece, or unit, is sold.

    Attributes:
        tax: code of the tax; none if left out.
        channel: code of the sales channel; sold directly if left out.
        currency: of the price; the workshop's if left out.
        shipping_service: code of the service that a piece is sent with; collected if left out.
        shipping_zone: where it is sent.
        pieces_per_order: pieces, or units, that an order has; those that the price is for if left out.
    """

    tax: Annotated[str, Names("taxes")] | None = None
    channel: Annotated[str, Names("channels")] | None = None
    currency: str | None = None
    shipping_service: Annotated[str, Names("shipping-services")] | None = None
    shipping_zone: str | None = None
    pieces_per_order: Decimal | None = None

    @classmethod
    def of(cls, asked: Any) -> "Route":
        """The route of an object that has these members, such as a listing."""
        return cls(**{name: getattr(asked, name) for name in cls.__dataclass_fields__})

    @property
    def shipping(self) -> tuple[str, str] | None:
        """Service and zone; None if it is collected."""
        if self.shipping_service is None or self.shipping_zone is None:
            return None
        return self.shipping_service, self.shipping_zone

    def resources(self) -> list[str]:
        """The resources with dated rates that it names."""
        return [str(thing) for _, thing in references_in(self)]


def shipping_problems(service: str | None, zone: str | None) -> Iterator[InvalidValueError]:
    """A problem unless service and zone are given together."""
    if service is not None and zone is None:
        yield InvalidValueError(("shipping_zone",), "is required with a shipping service")
    if service is None and zone is not None:
        yield InvalidValueError(("shipping_zone",), "has no meaning without a shipping service")
