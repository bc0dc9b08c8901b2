"""What a quotation is computed from besides its request, stored with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.domain.costing.rate_card import RateCard
from service.domain.currency.exchange_rates import ExchangeRates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.resources import Overhead
from service.domain.selling.taxes import Tax
from service.domain.shipping.estimate import ShippingEstimate
from service.domain.shipping.shipping_statement import Shipment


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedShipment:
    """How what is quoted would be shipped, before it is priced.

    Attributes:
        shipment: what the estimate is for.
        estimate: the parcels.
    """

    shipment: Shipment
    estimate: ShippingEstimate


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationBasis:
    """Everything outside the request that a quotation was computed from, stored with it.

    Attributes:
        as_of: the date of the rates.
        currency: the quotation's.
        card: the rates in force of all that the bills name; its currency is the workshop's, in which costs are found.
        exchange: the exchange rates used.
        pools: the overhead pools, by resource.
        taxes: the taxes named, by code.
        bills: what each batch consumes, one for every product, quantity and way to charge its tools.
        breaks: for every line the quantity breaks that are priced, those that were found included; as the request
            says where there are none.
        shipment: how it would be shipped, if it is.
    """

    as_of: date
    currency: str
    card: RateCard
    exchange: ExchangeRates
    pools: Mapping[str, Overhead]
    taxes: Mapping[str, Tax]
    bills: tuple[BillOfResources, ...]
    breaks: tuple[tuple[int, ...], ...] = ()
    shipment: QuotedShipment | None = None
