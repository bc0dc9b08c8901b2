"""marshmallow schemas derived from the domain's declarations, the one place that defines a field."""

from collections.abc import Callable, Mapping
from dataclasses import is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import Any, cast, get_args, get_origin
from uuid import UUID

import marshmallow as ma

from service.api.contract.fields import (
    ChoiceField,
    DataField,
    DateField,
    DecimalField,
    FlagField,
    InstantField,
    IntegerField,
    ListField,
    MappingField,
    TextField,
    range_in_words,
    ruled,
)
from service.api.contract.shapes import expected, form_of
from service.api.http.reading import UNKNOWN_MEMBER, Number, unknown
from service.domain.currency.exchange_rates import EnteredRates
from service.domain.making.products import Product
from service.domain.register import COLLECTIONS
from service.domain.selling.taxes import Tax
from service.domain.values.declared import (
    default_of,
    field_types,
    first_of,
    is_required,
    meanings,
    optional_of,
    rules_and_type,
)
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.message import Message, PlausibilityWarning
from service.encoding import encoded
from service.nearest import nearest

_SCALARS: dict[Any, type[ma.fields.Field[Any]]] = {
    Decimal: DecimalField,
    int: IntegerField,
    str: TextField,
    bool: FlagField,
    date: DateField,
    datetime: InstantField,
    UUID: TextField,
    Message: TextField,
    Any: DataField,
}
_PUBLISHED = {PlausibilityWarning: "Implausibility"}
"""The names of schemas that clients know by another name than the class has."""
_JUDGED = frozenset({Product, Tax, EnteredRates, *(each.terms for each in COLLECTIONS.values() if each.terms)})
"""What the answer to a PUT may have warnings about."""
_MISSING, _NULL, _NO_OBJECT, _NO_LIST = "is required", "must not be null", "must be an object", "must be a list"
_WITHOUT_FORM = frozenset({_MISSING, _NULL, _NO_OBJECT, _NO_LIST})
"""Reasons that do not say what is expected instead."""
_FLAGS = {"true": True, "false": False}
_FROM_TEXT: dict[Any, Callable[[str], Any]] = {int: Number, bool: lambda text: _FLAGS.get(text, text)}
"""Converts a text of a query string to what JSON would have, for types other than text."""


def nested_messages(problems: tuple[InvalidValueError, ...]) -> dict[str, Any]:
    """The domain's problems, nested as marshmallow nests its messages."""
    messages: dict[Any, Any] = {}
    for problem in problems:
        place = messages
        for step in problem.path[:-1]:
            place = place.setdefault(step, {})
        place.setdefault(problem.path[-1], []).append(problem.reason)
    return messages


def _without_form(told: Any, *, is_given: bool) -> str | None:
    """What is wrong with a field, if that does not say what is expected: it is not given, or of another type."""
    if isinstance(told, dict):
        return _NO_OBJECT if _NO_OBJECT in str(told.get(ma.exceptions.SCHEMA)) else None
    return str(told[0]) if told[0] in _WITHOUT_FORM or not (is_given or ":" in told[0]) else None


class DeclaredSchema(ma.Schema):
    """Loads an object of its class; reports every problem that the class's own checks find, with its place."""

    declared_class: type

    class Meta:
        """Unknown members are refused."""

        unknown = ma.RAISE

    error_messages = {"unknown": UNKNOWN_MEMBER, "type": _NO_OBJECT}

    def handle_error(self, error: ma.ValidationError, data: Any, **_: Any) -> None:
        """Tell what is expected where something is unknown, missing or of another type."""
        messages: Any = error.messages
        for name, told in messages.items():
            if told == [UNKNOWN_MEMBER]:
                messages[name] = [self._unknown(str(name))]
            elif name == ma.exceptions.SCHEMA and told == [_NO_OBJECT]:
                messages[name] = [f"{_NO_OBJECT}, such as {form_of(self.declared_class)}"]
            elif name in self.load_fields and (reason := _without_form(told, is_given=bool(data.get(name)))):
                messages[name] = [f"{reason}: {expected(self.declared_class, name)}"]

    def _unknown(self, name: str) -> str:
        meant = nearest(name, self.load_fields)
        if meant is None:
            return unknown(UNKNOWN_MEMBER, name, self.load_fields)
        return f"{UNKNOWN_MEMBER}; did you mean '{meant}' ({expected(self.declared_class, meant)})?"

    @ma.post_load
    def make(self, data: Mapping[str, Any], **_: Any) -> Any:
        """Make the object."""
        try:
            return self.declared_class(**data)
        except InvalidValuesError as error:
            raise ma.ValidationError(nested_messages(error.problems)) from None


def field_of(hint: Any, *, required: bool = False, description: str = "", default: Any = None) -> ma.fields.Field[Any]:
    """The field for an annotated type."""
    bare_hint = optional_of(hint)
    rules, bare = rules_and_type(hint if bare_hint is None else bare_hint)
    metadata: dict[str, Any] = {"rules": rules, "from_text": _FROM_TEXT.get(bare, str)}
    if description:
        metadata["description"] = description + (range_in_words(rules) if bare is Decimal else "")
    if default not in (None, []):
        metadata["default"] = default
    options: dict[str, Any] = {
        "required": required,
        "allow_none": bare_hint is not None,
        "validate": [ruled(first_of(rules))] if rules else [],
        "metadata": metadata,
        "error_messages": {
            "required": _MISSING,
            "null": _NULL,
            "invalid": _NO_OBJECT if get_origin(bare) is Mapping else _NO_LIST,
        },
    }
    if get_origin(bare) is tuple:
        return ListField(field_of(get_args(bare)[0]), **options)
    if get_origin(bare) is Mapping:
        key, value = get_args(bare)
        return MappingField(keys=field_of(key), values=field_of(value), **options)
    if is_dataclass(bare):
        return ma.fields.Nested(schema_of(cast(type, bare)), **options)
    if isinstance(bare, type) and issubclass(bare, StrEnum):
        return ChoiceField(bare, **options)
    return _SCALARS[bare](**options)


def _plain(default: Any) -> Any:
    if isinstance(default, tuple):
        return [_plain(each) for each in default]
    return default.value if isinstance(default, StrEnum) else encoded(default)


def schema_of(declared_class: Any) -> type[DeclaredSchema]:
    """The schema of a domain class, with its names, types, bounds and meanings; made once."""
    return _schema_of(declared_class)


@cache
def _schema_of(declared_class: Any) -> type[DeclaredSchema]:
    told = meanings(declared_class)
    found = {
        name: field_of(
            hint,
            required=is_required(declared_class, name),
            description=told[name],
            default=_plain(default_of(declared_class, name)),
        )
        for name, hint in field_types(declared_class).items()
    }
    if declared_class in _JUDGED:
        found["warnings"] = ma.fields.List(ma.fields.Nested(schema_of(PlausibilityWarning)), dump_only=True)
    summary = (declared_class.__doc__ or "").partition("\n")[0]
    members = {**found, "declared_class": declared_class, "__doc__": summary}
    return type(f"{_PUBLISHED.get(declared_class, declared_class.__name__)}Schema", (DeclaredSchema,), members)
