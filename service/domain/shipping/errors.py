"""Errors of shipments."""

from collections.abc import Sequence

from service.domain.values.errors import PugmillError
from service.nearest import did_you_mean


class UnknownZoneError(PugmillError, LookupError):
    """A shipping service has no such zone; the path of the member is set by the caller that knows it."""

    def __init__(self, zone: str, zones: Sequence[str]) -> None:
        meant = did_you_mean(zone, zones) or f"; there are {', '.join(zones)}"
        super().__init__(f"there is no zone '{zone}'{meant}")
        self.zone = zone
        self.zones = tuple(zones)
        self.path: tuple[str | int, ...] = ()


class DoesNotFitError(PugmillError, ValueError):
    """No parcel that the service accepts can hold the product.

    Attributes:
        reasons: why not, for every box and pallet and for the piece without packaging.
        path: the member that names the product; set by the caller that knows it.
    """

    def __init__(self, product: str, reasons: Sequence[str]) -> None:
        super().__init__(f"the service does not take the product '{product}': {'; '.join(reasons)}")
        self.product = product
        self.reasons = tuple(reasons)
        self.path: tuple[str | int, ...] = ()
