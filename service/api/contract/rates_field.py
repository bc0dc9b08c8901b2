"""What-if rates and facts in a body: by resource, each read by the schema of its collection."""

from collections.abc import Callable, Iterable
from typing import Any

import marshmallow as ma

from service.api.contract.fields import MappingField
from service.api.contract.schemas import schema_of
from service.domain.register import COLLECTIONS, Collection, did_you_mean
from service.domain.values.declared import Code, rules_and_type
from service.domain.values.references import Thing

MAX_RATES = 1000


class _SupposedField(MappingField):
    """Values by resource; their class depends on the resource's collection."""

    def __init__(self, class_of: Callable[[Collection], Any], otherwise: str, instance: str, **options: Any) -> None:
        super().__init__(**options)
        self._class_of, self._otherwise, self._instance = class_of, otherwise, instance
        self._collections = [each.name for each in COLLECTIONS.values() if class_of(each) is not None]

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise ma.ValidationError("must be an object")
        if len(value) > MAX_RATES:
            raise ma.ValidationError(f"must have at most {MAX_RATES} entries")
        loaded: dict[str, Any] = {}
        messages: dict[str, Any] = {}
        for resource, each in value.items():
            name, code = Thing.of(resource)
            declared_class = self._class_of(COLLECTIONS[name]) if name in COLLECTIONS else None
            is_code = all(rule(code) is None for rule in rules_and_type(Code)[0])
            if declared_class is None or not is_code:
                meant = did_you_mean(Thing(name, code), self._collections) if name not in self._collections else ""
                messages[resource] = [self._otherwise + (meant or f"; write for instance '{self._instance}'")]
                continue
            try:
                loaded[resource] = schema_of(declared_class)().load(each)
            except ma.ValidationError as error:
                messages[resource] = error.messages
        if messages:
            raise ma.ValidationError(messages)
        return loaded


def rates_field() -> ma.fields.Field[Any]:
    """The field for what-if rates."""
    return _SupposedField(
        lambda collection: collection.terms,
        "is not a resource with rates",
        "tariffs/grid",
        metadata=_described(
            'Terms by resource, for instance "tariffs/grid"; used for this answer only.',
            (each.terms for each in COLLECTIONS.values() if each.terms is not None),
        ),
    )


def facts_field() -> ma.fields.Field[Any]:
    """The field for what-if facts."""
    return _SupposedField(
        lambda collection: collection.facts,
        "is nothing that can be registered",
        "machines/press",
        metadata=_described(
            'Facts by registered thing, for instance "machines/press"; used for this answer only.',
            (each.facts for each in COLLECTIONS.values()),
        ),
    )


def _described(description: str, classes: Iterable[Any]) -> dict[str, Any]:
    references = [{"$ref": f"#/components/schemas/{each.__name__}"} for each in classes]
    return {"description": description, "additionalProperties": {"anyOf": references}}
