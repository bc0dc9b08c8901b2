"""Strict marshmallow fields: decimals in plain notation, true integers, ISO dates, text."""

import re
from collections.abc import Callable, Iterable
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any

import marshmallow as ma

from service.api.http.reading import Number
from service.domain.safety.machines import MachineKind
from service.domain.safety.polymers import Polymer
from service.domain.values.declared import (
    MAX_DIGITS,
    Bounds,
    Code,
    CurrencyCode,
    Length,
    Line,
    Name,
    Text,
    rules_and_type,
)
from service.domain.values.forms import DECIMAL_PATTERN, day_of, decimal_of
from service.nearest import did_you_mean

DECIMAL_FORMAT = "decimal"
_INTEGER = re.compile(r"-?(?:0|[1-9][0-9]{0,17})")


def ruled(rule: Callable[[Any], str | None]) -> Callable[[Any], None]:
    """A rule of the domain as a marshmallow validator."""

    def validate(value: Any) -> None:
        if (problem := rule(value)) is not None:
            raise ma.ValidationError(problem)

    return validate


def literal(value: Any) -> str | None:
    """The characters of a JSON number or string; None for anything else."""
    if isinstance(value, Number):
        return value.literal
    return value if isinstance(value, str) else None


class DecimalField(ma.fields.Field[Decimal]):
    """A decimal in plain notation, as a string or a JSON number; never rounded on the way in."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Decimal:
        try:
            return decimal_of(literal(value))
        except ValueError as error:
            raise ma.ValidationError(str(error)) from None


class IntegerField(ma.fields.Field[int]):
    """A whole number."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        if not isinstance(value, Number) or not _INTEGER.fullmatch(value.literal):
            raise ma.ValidationError("must be a whole number" + (", without quotes" if isinstance(value, str) else ""))
        return int(value.literal)


class TextField(ma.fields.Field[str]):
    """A text, unchanged."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ma.ValidationError("must be a text")
        return value


class FlagField(ma.fields.Field[bool]):
    """true or false, and nothing else."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise ma.ValidationError("must be true or false")
        return value


class DateField(ma.fields.Field[date]):
    """A calendar day, YYYY-MM-DD."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> date:
        try:
            return day_of(value)
        except ValueError as error:
            raise ma.ValidationError(str(error)) from None


class ChoiceField(ma.fields.Field[StrEnum]):
    """One of a fixed set of words."""

    def __init__(self, choices: type[StrEnum], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = choices

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> StrEnum:
        try:
            return self.choices(value)
        except ValueError:
            meant = did_you_mean(value, self.choices) if isinstance(value, str) else ""
            raise ma.ValidationError(f"must be one of {', '.join(self.choices)}{meant}") from None


class InstantField(ma.fields.Field[Any]):
    """An instant in UTC (RFC 3339), in answers only."""


class DataField(ma.fields.Field[Any]):
    """Data of varying form, in answers only."""


def _check_length(field: ma.fields.Field[Any], value: Any) -> None:
    """Refuse a list or object that is too long before any of its entries is read."""
    for rule in field.metadata.get("rules", ()):
        if isinstance(rule, Length) and isinstance(value, list | dict) and (problem := rule(value)) is not None:
            raise ma.ValidationError(problem)


class ListField(ma.fields.List[Any]):
    """A list, read as a tuple; its length is checked first."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        _check_length(self, value)
        return tuple(super()._deserialize(value, attr, data, **kwargs))


class MappingField(ma.fields.Dict):
    """An object whose names the client chooses; its length is checked first."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        _check_length(self, value)
        try:
            return super()._deserialize(value, attr, data, **kwargs)  # type: ignore[no-untyped-call]
        except ma.ValidationError as error:
            raise ma.ValidationError(_without_key_and_value(error.messages)) from None


def _without_key_and_value(messages: Any) -> Any:
    """Messages by name: marshmallow nests them under 'key' and 'value', which no JSON pointer has."""
    if not isinstance(messages, dict):
        return messages
    return {name: _joined(halves.get("key", []), halves.get("value", [])) for name, halves in messages.items()}


def _joined(of_key: list[Any], of_value: Any) -> Any:
    """The messages about a name, with those about what it names."""
    if isinstance(of_value, list):
        return [*of_key, *of_value]
    return {ma.exceptions.SCHEMA: of_key, **of_value} if of_key else of_value


TYPES: dict[type[ma.fields.Field[Any]], tuple[str | None, str | None]] = {
    DecimalField: ("string", DECIMAL_FORMAT),
    IntegerField: ("integer", None),
    TextField: ("string", None),
    FlagField: ("boolean", None),
    DateField: ("string", "date"),
    InstantField: ("string", "date-time"),
    ChoiceField: ("string", None),
    DataField: (None, None),
}
"""The JSON type and format of each field, for the contract."""

_KEYWORDS = {"at_least": "minimum", "above": "exclusiveMinimum", "at_most": "maximum", "below": "exclusiveMaximum"}


def properties(_converter: Any, field: ma.fields.Field[Any], **_: Any) -> dict[str, Any]:
    """What the contract says of one of these fields in addition to its type."""
    told: dict[str, Any] = {}
    rules = field.metadata.get("rules", ())
    if isinstance(field, DecimalField):
        unsigned = any(isinstance(rule, Bounds) and rule.is_unsigned for rule in rules)
        told |= {"pattern": DECIMAL_PATTERN.replace("-?", "" if unsigned else "-?"), "maxLength": 2 * MAX_DIGITS}
    if isinstance(field, MappingField) and field.key_field is not None:
        names = properties(_converter, field.key_field)
        told |= {"propertyNames": names} if names else {}
    if isinstance(field, ChoiceField):
        told["enum"] = [choice.value for choice in field.choices] + ([None] if field.allow_none else [])
    for rule in rules:
        told |= _told(rule, field)
    return told


def _told(rule: Any, field: ma.fields.Field[Any]) -> dict[str, Any]:
    if isinstance(rule, Text):
        length = {"minLength": rule.min_length, "maxLength": rule.max_length}
        return {**length, "pattern": f"^{rule.pattern}$"} if rule.pattern else length
    if isinstance(rule, Length):
        what = "Properties" if isinstance(field, MappingField) else "Items"
        return {f"min{what}": rule.at_least, f"max{what}": rule.at_most}
    if isinstance(rule, Bounds) and isinstance(field, IntegerField):
        limits = {keyword: getattr(rule, name) for name, keyword in _KEYWORDS.items()}
        return {keyword: int(limit) for keyword, limit in limits.items() if limit is not None}
    return {}


def range_in_words(rules: Iterable[Any]) -> str:
    """A decimal's range, for its description, because its JSON type is a string and cannot have one."""
    words = {"at_least": "at least", "above": "more than", "at_most": "at most", "below": "less than"}
    told = [
        f"{word} {limit}"
        for rule in rules
        if isinstance(rule, Bounds)
        for name, word in words.items()
        if (limit := getattr(rule, name)) is not None
    ]
    return f" ({', '.join(told)})" if told else ""


def _shared_forms() -> dict[str, dict[str, Any]]:
    decimal = {"format": DECIMAL_FORMAT, "maxLength": 2 * MAX_DIGITS}
    texts = {"Code": Code, "Name": Name, "Line": Line, "CurrencyCode": CurrencyCode}
    forms = {
        "Decimal": {**decimal, "pattern": DECIMAL_PATTERN.replace("-?", "")},
        "SignedDecimal": {**decimal, "pattern": DECIMAL_PATTERN},
        **{name: _told(rules_and_type(hint)[0][0], TextField()) for name, hint in texts.items()},
        "Date": {"format": "date"},
    }
    optional = {**forms, "Text": {}, "DateTime": {"format": "date-time"}}
    choices = {f"{kind.__name__}OrNull": [*(choice.value for choice in kind), None] for kind in (MachineKind, Polymer)}
    money = {"MoneyOrNull": {"anyOf": [{"$ref": "#/components/schemas/Money"}, {"type": "null"}]}}
    return {
        **{name: {"type": "string", **form} for name, form in forms.items()},
        **{f"{name}OrNull": {"type": ["string", "null"], **form} for name, form in optional.items()},
        **{name: {"type": ["string", "null"], "enum": values} for name, values in choices.items()},
        **money,
    }


SHARED_FORMS = _shared_forms()
"""Forms of text that several fields have, by their names among the contract's shared parts."""
