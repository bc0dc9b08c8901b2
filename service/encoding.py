"""Immutable values to plain JSON data and back, by their declared types; knows no value in particular."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from cattrs import Converter

T = TypeVar("T")

_converter = Converter(unstruct_collection_overrides={tuple: list}, detailed_validation=False)
_converter.register_unstructure_hook(Decimal, lambda figure: format(figure, "f"))
_converter.register_structure_hook(Decimal, lambda text, _: Decimal(text))
_converter.register_unstructure_hook(date, date.isoformat)
_converter.register_unstructure_hook(datetime, lambda moment: moment.astimezone(UTC).isoformat().replace("+00:00", "Z"))
_converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))


def encoded(value: Any, as_type: Any = None) -> Any:
    """The value as JSON data: decimals in plain notation and dates and moments in ISO 8601, all as strings."""
    return _converter.unstructure(value, unstructure_as=as_type)


def decoded(data: Any, to: type[T]) -> T:
    """The value that the data encodes."""
    return _converter.structure(data, to)


def decode_with(to: type[T], hook: Callable[[Any], T]) -> None:
    """Decode this type with a function of its own, for what its annotations cannot tell."""
    _converter.register_structure_hook(to, lambda data, _: hook(data))
