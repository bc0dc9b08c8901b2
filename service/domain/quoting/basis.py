"""The data that a quotation is computed from besides its request."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.costing.rate_card import RateCard
from service.domain.currency.exchange_rates import ExchangeRates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.selling.taxes import Tax
from service.domain.shipping.estimate import ShippingEstimate
from service.domain.shipping.shipping_statement import Shipment

EDITION = 3
"""The rules by which a quotation is computed now: what each edition changed is in the room's README, 2026-11-30."""
_TOOLS_ONCE, _WASTE_STAYS, _ORDERS_ONCE = 2, 3, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedShipment:
    """The shipment of a quotation and its unrounded estimate."""

    shipment: Shipment
    estimate: ShippingEstimate


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationBasis:
    """Everything outside the request that a quotation was computed from, stored with it.

    Attributes:
        currency: the quotation's.
        card: the rates in force for the bills; its currency is the workshop's, in which costs are computed.
        pools: the overhead pools, by resource.
        taxes: by code.
        bills: one for every product, quantity and way to charge its tools, and of each line that is work, under a code
            that no product has.
        edition: of the rules; quotations stored without one are of the first, and are computed by it for good.
        breaks: for every line the quantity breaks that are priced, found ones included; those of the request if empty.
    """

    as_of: date
    currency: str
    card: RateCard
    exchange: ExchangeRates
    pools: Mapping[str, Overhead]
    taxes: Mapping[str, Tax]
    bills: tuple[BillOfResources, ...]
    breaks: tuple[tuple[Decimal, ...], ...] = ()
    shipment: QuotedShipment | None = None
    edition: int = 1

    @property
    def pays_tools_once(self) -> bool:
        """Whether a tool that several lines buy is paid for by the first of them alone."""
        return self.edition >= _TOOLS_ONCE

    @property
    def leaves_waste_of_supplied(self) -> bool:
        """Whether waste of what the customer supplies costs its disposal, and only its own regrind is not credited."""
        return self.edition >= _WASTE_STAYS

    @property
    def pools_of_orders(self) -> frozenset[str]:
        """The pools spread over orders, which the quotation bears once, as resources; none before it did."""
        if self.edition < _ORDERS_ONCE:
            return frozenset()
        return pools_of_orders(self.pools)


def pools_of_orders(pools: Mapping[str, Overhead]) -> frozenset[str]:
    """The pools that are spread over orders, of which a quotation is one, as resources."""
    return frozenset(resource for resource, pool in pools.items() if pool.base is OverheadBase.ORDER)
