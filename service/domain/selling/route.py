"""The way a piece is sold: what has to be named together."""

from collections.abc import Iterator

from service.domain.values.errors import InvalidValueError


def shipping_problems(service: str | None, zone: str | None) -> Iterator[InvalidValueError]:
    """A service and its zone come together."""
    if service is not None and zone is None:
        yield InvalidValueError(("shipping_zone",), "is required with a shipping service")
    if service is None and zone is not None:
        yield InvalidValueError(("shipping_zone",), "has no meaning without a shipping service")
