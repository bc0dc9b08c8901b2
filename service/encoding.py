"""Immutable values to plain JSON data and back, by their declared types; knows no value in particular."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

import orjson
from cattrs import Converter

T = TypeVar("T")
Hook = Callable[[Any, Any], Any]
_ONE_OR_NONE = 2

_converter = Converter(detailed_validation=False)
_converter.register_unstructure_hook(Decimal, lambda figure: format(figure, "f"))
_converter.register_structure_hook(Decimal, lambda text, _: Decimal(text))
_converter.register_unstructure_hook(date, date.isoformat)
_converter.register_unstructure_hook(datetime, lambda moment: moment.astimezone(UTC).isoformat().replace("+00:00", "Z"))
_converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))


def _is_optional(hint: Any) -> bool:
    return get_origin(hint) in (Union, UnionType) and NoneType in get_args(hint) and len(get_args(hint)) == _ONE_OR_NONE


def _optional_hook(hint: Any, converter: Converter) -> Hook:
    """cattrs would look the inner hook up again for every value."""
    (bare,) = (each for each in get_args(hint) if each is not NoneType)
    hook = converter.get_structure_hook(bare)
    return lambda data, _: None if data is None else hook(data, bare)


def _tuple_hook(hint: Any, converter: Converter) -> Hook:
    bare = get_args(hint)[0]
    hook = converter.get_structure_hook(bare)
    return lambda data, _: tuple([hook(each, bare) for each in data])


def _list_hook(hint: Any, converter: Converter) -> Callable[[Any], Any]:
    hook = converter.get_unstructure_hook(get_args(hint)[0])
    return lambda value: [hook(each) for each in value]


def _is_tuple(hint: Any) -> bool:
    origin: Any = get_origin(hint)
    return origin is tuple


_register_factory: Any = _converter.register_structure_hook_factory
_register_factory(_is_optional, _optional_hook)
_register_factory(_is_tuple, _tuple_hook)
_register_list_factory: Any = _converter.register_unstructure_hook_factory
_register_list_factory(_is_tuple, _list_hook)


def encoded(value: Any, as_type: Any = None) -> Any:
    """The value as JSON data: decimals in plain notation and dates and moments in ISO 8601, all as strings."""
    return _converter.unstructure(value, unstructure_as=as_type)


def decoded(data: Any, to: type[T]) -> T:
    """The value that the data encodes."""
    return _converter.structure(data, to)


def to_bytes(data: Any) -> bytes:
    """Plain data as JSON in UTF-8."""
    return orjson.dumps(data)


def to_text(value: Any) -> str:
    """The value as JSON text."""
    return to_bytes(encoded(value)).decode()


def from_text(text: str, to: type[T]) -> T:
    """The value that the JSON text encodes."""
    return decoded(orjson.loads(text), to)


def decode_with(to: type[T], hook: Callable[[Any], T]) -> None:
    """Decode this type with a function of its own, for what its annotations cannot tell."""
    _converter.register_structure_hook(to, lambda data, _: hook(data))
