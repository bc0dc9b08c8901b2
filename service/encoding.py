"""Converts immutable values to plain JSON data and back, by their declared types."""

from collections.abc import Callable
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


def _is_choice(hint: Any) -> bool:
    return isinstance(hint, type) and issubclass(hint, StrEnum)


def _choice_hook(hint: Any) -> Hook:
    """Looks a member up in a table, which is several times as fast as the enumeration itself."""
    members = {each.value: each for each in hint}
    return lambda data, _: members[data]


def _is_plain(hint: Any) -> bool:
    return hint in (str, int, bool)


def _unchecked_hook(value_class: Any, converter: Converter) -> Hook:
    """Makes a value without its checks: it was checked when it was first made."""
    hints = get_type_hints(value_class, include_extras=True)
    plan = [
        (
            each,
            each.name,
            hints[each.name],
            None if _is_plain(hints[each.name]) else converter.get_structure_hook(hints[each.name]),
        )
        for each in fields(value_class)
    ]
    new, put = object.__new__, object.__setattr__

    def make(data: Any, _: Any) -> Any:
        value = new(value_class)
        for field, name, hint, hook in plan:
            if name not in data:
                put(value, name, _default(field))
            else:
                put(value, name, data[name] if hook is None else hook(data[name], hint))
        return value

    return make


def _default(field: Field[Any]) -> Any:
    """The default of a field that did not exist when the value was stored."""
    return field.default_factory() if field.default_factory is not MISSING else field.default


def _converter(*, is_checking: bool) -> Converter:
    converter = Converter(detailed_validation=False)
    converter.register_unstructure_hook(Decimal, "{:f}".format)
    converter.register_structure_hook(Decimal, lambda text, _: Decimal(text))
    converter.register_unstructure_hook(date, date.isoformat)
    converter.register_unstructure_hook(datetime, lambda at: at.astimezone(UTC).isoformat().replace("+00:00", "Z"))
    converter.register_unstructure_hook(UUID, str)
    converter.register_structure_hook(UUID, lambda text, _: UUID(text))
    converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    factories: Any = converter
    if not is_checking:
        factories.register_structure_hook_factory(_is_plain, lambda _: lambda data, _: data)
        factories.register_structure_hook_factory(is_dataclass, _unchecked_hook)
        factories.register_structure_hook_factory(_is_choice, _choice_hook)
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
