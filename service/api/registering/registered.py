"""What a workshop registers under its own codes: one blueprint for each collection, all alike."""

from datetime import date
from typing import Any

import flask
import marshmallow as ma
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import FACTS, TERMS
from service.api.contract.fields import TextField
from service.api.contract.schemas import field_of, schema_of
from service.api.contract.shared_parts import CREATE_ONLY, ETAG, IF_MATCH, LINK, LOCATION
from service.api.http.answers import answer, may_be_put, nothing
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.api.http.paging import PageQuery, page, position
from service.domain.audit import Action
from service.domain.costing.rate_card import DatedRate
from service.domain.register import Collection
from service.domain.values.declared import Code
from service.domain.values.references import Thing
from service.encoding import encoded
from service.store.registering.registrations import Registration
from service.workflows import plausibility
from service.workflows.registering import registering
from service.workflows.registering.changing import Registering

_ABOUT = {
    "tariffs": "What electricity costs, by bands of the day. Machines name the tariff that they run on.",
    "labour-grades": "Who works here: wages, what is paid on top of them, and the hours there are.",
    "machines": "What the work is done on: power, price, life and hours, from which follows what an hour costs.",
    "materials": "What goes in: flakes, pigments, screws, packaging; the price of a unit, and what scrap is worth.",
    "tools": "Moulds and dies that wear out: what they cost, and for how many shots they last.",
    "overheads": "What is due every month, such as rent, and what it is spread over.",
    "closures": "Days on which nobody works; they move the day when an order can be ready.",
    "taxes": "Value added tax and the like, by category and rate.",
    "products": "What is made: its bill of materials, its operations and its measures. No money in it.",
    "channels": "Where single pieces are sold: a marketplace, a shop, a stall, each with its fees from a day on.",
    "shipping-services": "Carriers, their boxes and pallets, their prices by zone and weight, and what a parcel costs.",
    "listings": "Offers: a product on a channel, in a currency, for a locale, under a policy of pricing.",
}
"""What a collection is, by its name."""


def saved(done: Registering) -> flask.Response:
    """The present state, and what looks implausible about it; 201 if it is new."""
    told = {"warnings": encoded(done.warnings)} if done.warnings else {}
    state = {**encoded(done.state), **told}
    if done.action is Action.REGISTERED:
        return answer(state, 201, revision=done.revision, headers={"Location": flask.request.path})
    return answer(state, revision=done.revision)


def listed(schema: type[ma.Schema], name: str, extra: dict[str, ma.fields.Field[Any]]) -> type[ma.Schema]:
    """The schema of a page: items with their keys, and the address of the next page."""
    item = schema
    if extra:
        meta = type("Meta", (schema.Meta,), {"exclude": ("warnings",) if "warnings" in schema._declared_fields else ()})
        item = type(f"Listed{schema.__name__}", (schema,), {**extra, "Meta": meta, "__doc__": schema.__doc__})
    return type(
        f"{name}PageSchema",
        (ma.Schema,),
        {
            "__doc__": "A page of a list.",
            "items": ma.fields.List(
                ma.fields.Nested(item), required=True, metadata={"description": "The entries of this page."}
            ),
            "next": TextField(
                required=True,
                allow_none=True,
                metadata={"description": "Address of the next page; null on the last one."},
            ),
        },
    )


def _code_field() -> ma.fields.Field[Any]:
    return field_of(Code, required=True, description="The workshop's own code for it.")


def _day_field() -> ma.fields.Field[Any]:
    return field_of(date, required=True, description="The first day of these terms.")


def collection_blueprint(collection: Collection) -> Blueprint:
    """The operations of a collection: list, read, register, retire, and the same for its dated rates."""
    blueprint = Blueprint(
        collection.name, __name__, url_prefix=f"/v1/{collection.name}", description=_ABOUT[collection.name]
    )
    _add_one(blueprint, collection)
    _add_list(blueprint, collection)
    if collection.terms is not None:
        _add_rate(blueprint, collection, collection.terms)
        _add_rates(blueprint, collection, collection.terms)
    return blueprint


def _one(noun: str) -> str:
    """The noun with its article."""
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _named(collection: Collection) -> tuple[str, str]:
    """Plural and singular in camel case, for operation ids."""
    singular = "".join(word.capitalize() for word in collection.noun.split())
    plural = "".join(word.capitalize() for word in collection.name.split("-"))
    return plural, singular


def _add_list(blueprint: Blueprint, collection: Collection) -> None:
    plural, _ = _named(collection)
    page_schema = listed(schema_of(collection.facts), plural, {"code": _code_field()})

    @blueprint.route("")
    class Listing(MethodView):
        @operation(f"list{plural}")
        @blueprint.doc(summary=f"List every {collection.noun}, by code.", description="What there is, page by page.")
        @blueprint.arguments(schema_of(PageQuery)(), location="query")
        @blueprint.response(200, page_schema, headers=LINK)
        def get(self, query: PageQuery) -> flask.Response:
            def item(found: Registration) -> Any:
                return {"code": found.code, **encoded(found.facts)}

            after = position(query, str) or ""
            return page(
                query,
                lambda limit: registering.list_registered(workspace(), collection.name, after=after, limit=limit),
                lambda found: [found.code],
                item,
            )


def _add_one(blueprint: Blueprint, collection: Collection) -> None:
    facts_schema = schema_of(collection.facts)
    _, singular = _named(collection)
    name, one = collection.name, _one(collection.noun)

    @blueprint.route("/<code>")
    class One(MethodView):
        @operation(f"get{singular}")
        @blueprint.doc(
            summary=f"Read {one}.", description="As it was registered, with the defaults of what was left out."
        )
        @blueprint.response(200, facts_schema, headers=ETAG)
        def get(self, code: str) -> flask.Response:
            found = registering.find_one(workspace(), Thing(name, code))
            return answer(found.facts, revision=found.revision)

        @operation(f"put{singular}", headers=(IF_MATCH, CREATE_ONLY), added={"code": "{code}"})
        @blueprint.doc(
            summary=f"Register or replace {one}.",
            description="Repeating it changes nothing. Members left out take their defaults. An entry of the "
            "list can be sent back as it is.",
        )
        @blueprint.arguments(facts_schema(), examples=FACTS[name])
        @blueprint.response(200, facts_schema, headers=ETAG, description="Replaced, or unchanged.")
        @blueprint.alt_response(201, schema=facts_schema, headers={**ETAG, **LOCATION}, description="Registered.")
        def put(self, facts: Any, code: str) -> flask.Response:
            return saved(plausibility.register(workspace(), Thing(name, code), facts, may_be_put))

        @operation(f"retire{singular}", refuses=(409,), headers=(IF_MATCH,))
        @blueprint.doc(
            summary=f"Retire {one}.",
            description="Refused while anything refers to it. Its rates and every quotation stay. The example is what "
            "the last example of PUT registers.",
        )
        @blueprint.response(204)
        def delete(self, code: str) -> flask.Response:
            registering.retire(workspace(), Thing(name, code), may_be_put)
            return nothing()


def _add_rates(blueprint: Blueprint, collection: Collection, terms_class: Any) -> None:
    _, singular = _named(collection)
    page_schema = listed(schema_of(terms_class), f"{singular}Rates", {"valid_from": _day_field()})

    @blueprint.route("/<code>/rates")
    class Rates(MethodView):
        @operation(f"list{singular}Rates")
        @blueprint.doc(
            summary=f"List every rate of {_one(collection.noun)}, by first day.",
            description="Each holds until the next begins.",
        )
        @blueprint.arguments(schema_of(PageQuery)(), location="query")
        @blueprint.response(200, page_schema, headers=LINK)
        def get(self, query: PageQuery, code: str) -> flask.Response:
            def item(rate: DatedRate) -> Any:
                return {"valid_from": rate.valid_from.isoformat(), **encoded(rate.terms)}

            after = position(query, date.fromisoformat)
            return page(
                query,
                lambda limit: registering.list_rates(
                    workspace(), Thing(collection.name, code), after=after, limit=limit
                ),
                lambda rate: [rate.valid_from.isoformat()],
                item,
            )


def _add_rate(blueprint: Blueprint, collection: Collection, terms_class: Any) -> None:
    terms_schema = schema_of(terms_class)
    _, singular = _named(collection)
    name, one = collection.name, _one(collection.noun)

    @blueprint.route("/<code>/rates/<day>")
    class Rate(MethodView):
        @operation(f"get{singular}Rate")
        @blueprint.doc(
            summary=f"Read the rate of {one} that begins on a day.",
            description="For what is in force on any day, see the rate card.",
        )
        @blueprint.response(200, terms_schema, headers=ETAG)
        def get(self, code: str, day: date) -> flask.Response:
            found = registering.find_dated_rate(workspace(), Thing(name, code), day)
            return answer(found.rate.terms, revision=found.revision)

        @operation(f"put{singular}Rate", headers=(IF_MATCH, CREATE_ONLY), added={"valid_from": "{day}"})
        @blueprint.doc(
            summary=f"Register or replace the rate of {one} from a day on.",
            description="Repeating it changes nothing; a correction leaves every quotation as it was given.",
        )
        @blueprint.arguments(terms_schema(), examples=TERMS[name])
        @blueprint.response(200, terms_schema, headers=ETAG, description="Replaced, or unchanged.")
        @blueprint.alt_response(201, schema=terms_schema, headers={**ETAG, **LOCATION}, description="Registered.")
        def put(self, terms: Any, code: str, day: date) -> flask.Response:
            rate = DatedRate(resource=f"{name}/{code}", valid_from=day, terms=terms)
            return saved(plausibility.put_rate(workspace(), rate, may_be_put))

        @operation(f"withdraw{singular}Rate", headers=(IF_MATCH,))
        @blueprint.doc(
            summary=f"Withdraw a rate of {one} entered by mistake.",
            description="The one before it is then in force. The example is what the last example of PUT registers.",
        )
        @blueprint.response(204)
        def delete(self, code: str, day: date) -> flask.Response:
            registering.withdraw_rate(workspace(), Thing(name, code), day, may_be_put)
            return nothing()
