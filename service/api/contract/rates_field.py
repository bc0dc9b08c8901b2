"""What-if rates in a body: terms by resource, each read by the schema of its collection."""

from typing import Any

import marshmallow as ma

from service.api.contract.fields import MappingField
from service.api.contract.schemas import schema_of
from service.domain.costing.rates import RateTerms
from service.domain.register import COLLECTIONS
from service.domain.values.declared import Code, rules_and_type
from service.domain.values.references import Thing

MAX_RATES = 1000


class _RatesField(MappingField):
    """Terms by resource; their class depends on the resource's collection."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, RateTerms]:
        if not isinstance(value, dict):
            raise ma.ValidationError("must be an object")
        if len(value) > MAX_RATES:
            raise ma.ValidationError(f"must have at most {MAX_RATES} entries")
        loaded: dict[str, RateTerms] = {}
        messages: dict[str, Any] = {}
        for resource, terms in value.items():
            name, code = Thing.of(resource)
            collection = COLLECTIONS.get(name)
            is_code = all(rule(code) is None for rule in rules_and_type(Code)[0])
            if collection is None or collection.terms is None or not is_code:
                messages[resource] = ['is not a resource with rates; write for instance "tariffs/grid"']
                continue
            try:
                loaded[resource] = schema_of(collection.terms)().load(terms)
            except ma.ValidationError as error:
                messages[resource] = error.messages
        if messages:
            raise ma.ValidationError(messages)
        return loaded


def rates_field(*, required: bool) -> ma.fields.Field[Any]:
    """The field for what-if rates."""
    described = {
        "description": 'Terms by resource, for instance "tariffs/grid"; used for this answer only.',
        "additionalProperties": {
            "anyOf": [
                {"$ref": f"#/components/schemas/{collection.terms.__name__}"}
                for collection in COLLECTIONS.values()
                if collection.terms is not None
            ]
        },
    }
    return _RatesField(required=required, metadata=described)
