"""Converts immutable values to plain JSON data and back, by their declared types."""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints
from uuid import UUID

import orjson
from cattrs import Converter

T = TypeVar("T")
Hook = Callable[[Any, Any], Any]
Read = Callable[[Any], Any]
_ONE_OR_NONE = 2


def _is_optional(hint: Any) -> bool:
    return get_origin(hint) in (Union, UnionType) and NoneType in get_args(hint) and len(get_args(hint)) == _ONE_OR_NONE


def _optional_hook(hint: Any, converter: Converter) -> Hook:
    """Looks the inner hook up once; cattrs would for every value."""
    (bare,) = (each for each in get_args(hint) if each is not NoneType)
    hook = converter.get_structure_hook(bare)
    return lambda data, _: None if data is None else hook(data, bare)


def _is_tuple(hint: Any) -> bool:
    origin: Any = get_origin(hint)
    return origin is tuple


def _tuple_hook(hint: Any, converter: Converter) -> Hook:
    bare = get_args(hint)[0]
    hook = converter.get_structure_hook(bare)
    return lambda data, _: tuple([hook(each, bare) for each in data])


def _list_hook(hint: Any, converter: Converter) -> Callable[[Any], Any]:
    hook = converter.get_unstructure_hook(get_args(hint)[0])
    return lambda value: [hook(each) for each in value]


_READ: Mapping[Any, Read | None] = {str: None, bool: None, int: int, Decimal: Decimal, date: date.fromisoformat}


def _unchecked(hint: Any, converter: Converter) -> Read | None:
    """Reads a value of a type without its checks; None where JSON has the value itself."""
    if hint in _READ:
        return _READ[hint]
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return {each.value: each for each in hint}.__getitem__  # several times as fast as the enumeration
    origin, parts = get_origin(hint), get_args(hint)
    if _is_optional(hint):
        some = _unchecked(next(each for each in parts if each is not NoneType), converter)
        return None if some is None else lambda data: None if data is None else some(data)
    if _is_tuple(hint):
        each = _unchecked(parts[0], converter)
        return tuple if each is None else lambda data: tuple(map(each, data))
    if origin is Mapping and parts[0] is str:
        of_name = _unchecked(parts[1], converter)
        return of_name and (lambda data: {name: of_name(value) for name, value in data.items()})
    hook = converter.get_structure_hook(hint)
    return lambda data: hook(data, hint)


def _unchecked_hook(value_class: Any, converter: Converter) -> Hook:
    """Makes a value without its checks: it was checked when it was first made."""
    hints = get_type_hints(value_class)
    plan = [(each, each.name, _unchecked(hints[each.name], converter)) for each in fields(value_class)]
    new, put = object.__new__, object.__setattr__

    def make(data: Any, _: Any) -> Any:
        value = new(value_class)
        for field, name, read in plan:
            if name not in data:
                put(value, name, _default(field))
            else:
                put(value, name, data[name] if read is None else read(data[name]))
        return value

    return make


def _default(field: Field[Any]) -> Any:
    """The default of a field that did not exist when the value was stored."""
    return field.default_factory() if field.default_factory is not MISSING else field.default


def _plain_notation(figure: Decimal) -> str:
    text = str(figure)  # more than twice as fast as to format it
    return f"{figure:f}" if "E" in text else text


def _converter(*, is_checking: bool) -> Converter:
    converter = Converter(detailed_validation=False)
    converter.register_unstructure_hook(Decimal, _plain_notation)
    converter.register_structure_hook(Decimal, lambda text, _: Decimal(text))
    converter.register_unstructure_hook(date, date.isoformat)
    converter.register_unstructure_hook(datetime, lambda at: at.astimezone(UTC).isoformat().replace("+00:00", "Z"))
    converter.register_unstructure_hook(UUID, str)
    converter.register_structure_hook(UUID, lambda text, _: UUID(text))
    converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    factories: Any = converter
    if not is_checking:
        factories.register_structure_hook_factory(is_dataclass, _unchecked_hook)
    factories.register_structure_hook_factory(_is_optional, _optional_hook)
    factories.register_structure_hook_factory(_is_tuple, _tuple_hook)
    factories.register_unstructure_hook_factory(_is_tuple, _list_hook)
    return converter


_checking, _trusting, _keeping = (
    _converter(is_checking=True),
    _converter(is_checking=False),
    _converter(is_checking=True),
)


def encoded(value: Any, as_type: Any = None) -> Any:
    """The value as JSON data: decimals in plain notation, dates and instants in ISO 8601, all as strings."""
    return _checking.unstructure(value, unstructure_as=as_type)


def decoded(data: Any, to: type[T]) -> T:
    """The value that the data encodes, with its checks."""
    return _checking.structure(data, to)


def to_bytes(data: Any) -> bytes:
    """Plain data as JSON in UTF-8."""
    return orjson.dumps(data)


def plain_data(text: str | bytes) -> Any:
    """JSON text as plain data."""
    return orjson.loads(text)


def to_text(value: Any) -> str:
    """The value as JSON text, as it is stored."""
    return to_bytes(_keeping.unstructure(value)).decode()


def trusted(data: Any, to: type[T]) -> T:
    """The value stored as this data, without its checks: a later, stricter rule must not make it unreadable."""
    return _trusting.structure(data, to)


def from_text(text: str, to: type[T]) -> T:
    """The value stored as this text, without its checks."""
    return trusted(plain_data(text), to)


def filled(stored: Any, data: Any) -> Any:
    """The stored data, with members that did not exist when it was stored taken from the other data."""
    if isinstance(stored, dict) and isinstance(data, dict):
        return {**data, **{name: filled(each, data.get(name)) for name, each in stored.items()}}
    if isinstance(stored, list) and isinstance(data, list) and len(stored) == len(data):
        return [filled(each, other) for each, other in zip(stored, data, strict=True)]
    return stored


Decode = Callable[[Any, type[Any]], Any]
_DECODERS: dict[type[Any], Callable[[Any, Decode], Any]] = {}


def decode_with(to: type[T], hook: Callable[[Any, Decode], T]) -> None:
    """Decode this type with its own function, which is given the data and a function to decode parts."""
    _DECODERS[to] = hook
    for converter in (_checking, _trusting):
        converter.register_structure_hook(to, _hook_with(hook, converter.structure))


def with_decoders(converter: Converter) -> Converter:
    """The converter, which now decodes with their own functions what `decode_with` has named."""
    for to, hook in _DECODERS.items():
        converter.register_structure_hook(to, _hook_with(hook, converter.structure))
    return converter


def keep_with(to: type[T], hook: Callable[[T], Any]) -> None:
    """Store this type as other data than it is shown as."""
    _keeping.register_unstructure_hook(to, hook)


def _hook_with(hook: Callable[[Any, Decode], Any], decode: Decode) -> Hook:
    return lambda data, _: hook(data, decode)
