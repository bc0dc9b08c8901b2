"""The register as one document: read whole, and taken in any part, all of it or nothing."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import flask
import marshmallow as ma
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import REGISTER
from service.api.contract.fields import DateField, MappingField, TextField
from service.api.contract.schemas import field_of, nested_messages, schema_of
from service.api.contract.shared_parts import ETAG, IF_MATCH, MAY_BE_REPEATED
from service.api.http.answers import data_answer, is_expected, tagged
from service.api.http.auth import workshop, workspace
from service.api.http.forms import JSON
from service.api.http.operations import operation
from service.api.http.reading import UNKNOWN_MEMBER, unknown
from service.api.http.retries import once_if_keyed, sent_key
from service.api.http.spooling import whole
from service.api.listing.repricing_statements import RepricingAnswer, prices_told
from service.domain.currency.exchange_rates import MANUAL, DayRates, EnteredRates
from service.domain.register import COLLECTIONS, Collection
from service.domain.values.declared import Code, declared
from service.domain.values.errors import InvalidValuesError
from service.domain.values.forms import day_of
from service.encoding import encoded
from service.workflows import register
from service.workflows.entity_tags import revision_tag
from service.workflows.register import EntryOutcome, Registered
from service.workflows.register_document import EXCHANGE_RATES
from service.workflows.registering.document import RegisterDocument, Written
from service.workflows.workspace import Workspace

blueprint = Blueprint(
    "register",
    __name__,
    url_prefix="/v1/register",
    description="Everything that is registered, in one document: to take it along, or to enter much at once.",
)

_TODAY = "today"
_AN_OBJECT: dict[str, Any] = {"error_messages": {"invalid": "must be an object", "null": "must not be null"}}


class _StrictSchema(ma.Schema):
    """Refuses unknown members, with the nearest name that there is."""

    class Meta:
        """Unknown members are refused."""

        unknown = ma.RAISE

    def handle_error(self, error: ma.ValidationError, data: Any, **_: Any) -> None:
        """Tell which name was meant."""
        messages: Any = error.messages
        for name, told in messages.items():
            if told == [UNKNOWN_MEMBER]:
                messages[name] = [unknown(UNKNOWN_MEMBER, str(name), self.load_fields)]


class _EntrySchema(_StrictSchema):
    """What a document says about a thing: its facts, its rates, or both."""

    error_messages = {"unknown": UNKNOWN_MEMBER, "type": "must be an object with facts, rates or both"}

    def handle_error(self, error: ma.ValidationError, data: Any, **options: Any) -> None:
        """Tell that a collection has no rates, rather than which other name is like theirs."""
        messages: Any = error.messages
        if messages.get("rates") == [UNKNOWN_MEMBER]:
            messages["rates"] = ["nothing in this collection has rates; leave them out"]
        super().handle_error(error, data, **options)

    @ma.post_load
    def make(self, data: Mapping[str, Any], **_: Any) -> Written:
        """Make the entry."""
        if not data:
            raise ma.ValidationError("must have facts, rates or both")
        return Written(**data)


def _entry_schema(collection: Collection) -> type[ma.Schema]:
    facts = ma.fields.Nested(
        schema_of(collection.facts),
        metadata={"description": "As at its own address; they stay if left out."},
        **_AN_OBJECT,
    )
    members: dict[str, Any] = {"facts": facts, "__doc__": _EntrySchema.__doc__}
    if collection.terms is not None:
        members["rates"] = MappingField(
            keys=DateField(),
            values=ma.fields.Nested(schema_of(collection.terms), **_AN_OBJECT),
            **_AN_OBJECT,
            metadata={"description": "Terms by first day; rates that begin on other days stay, unless it is pruned."},
        )
    return type(f"{collection.facts.__name__}EntrySchema", (_EntrySchema,), members)


class _ExchangeRatesField(MappingField):
    """Exchange rates by day, or under "today"."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, DayRates]:
        days: dict[str, EnteredRates] = super()._deserialize(value, attr, data, **kwargs)
        found: dict[str, DayRates] = {}
        messages: dict[str, Any] = {}
        for name, entered in days.items():
            try:
                day = workshop().today() if name == _TODAY else day_of(name)
                if day in (each.published_on for each in found.values()):
                    raise ValueError("this day has two entries")
                found[name] = DayRates(source=MANUAL, base=entered.base, published_on=day, rates=entered.rates)
            except InvalidValuesError as error:
                messages[name] = nested_messages(error.problems)
            except ValueError as error:
                messages[name] = [str(error)]
        if messages:
            raise ma.ValidationError(messages)
        return found


class RegisterSchema(_StrictSchema):
    """Any part of what a workshop registers: by collection and code, facts and dated rates."""

    class Meta(_StrictSchema.Meta):
        """A field for each collection, whose names have hyphens."""

        include = {
            **{
                each.name: MappingField(
                    keys=field_of(Code),
                    values=ma.fields.Nested(_entry_schema(each), **_AN_OBJECT),
                    **_AN_OBJECT,
                    metadata={"description": f"By code, every {each.noun} of the document."},
                )
                for each in COLLECTIONS.values()
            },
            EXCHANGE_RATES: _ExchangeRatesField(
                keys=TextField(),
                values=ma.fields.Nested(schema_of(EnteredRates), **_AN_OBJECT),
                **_AN_OBJECT,
                metadata={
                    "description": 'Exchange rates entered by hand, by day; "today" is today in the workshop\'s time '
                    "zone. Those of other days stay."
                },
            ),
        }

    error_messages = {"unknown": UNKNOWN_MEMBER, "type": "must be an object with collections, such as materials"}

    @ma.post_load
    def make(self, data: Mapping[str, Any], **_: Any) -> RegisterDocument:
        """Make the document."""
        collections = {name: entries for name, entries in data.items() if name != EXCHANGE_RATES}
        return RegisterDocument(collections=collections, exchange_rates=data.get(EXCHANGE_RATES, {}))


@declared
class RegisterQuery:
    """How to take a document.

    Attributes:
        dry_run: true stores nothing, and answers what would happen, also to prices.
        prune: true also retires what the document's collections have beyond it, and withdraws the rates that its things
            have beyond the rates that it has for them.
        as_of: in a dry run, the day of the rates for prices; today in the workshop's time zone if left out.
    """

    dry_run: bool = False
    prune: bool = False
    as_of: date | None = None


@declared
class RegisterCounts:
    """Number of entries by what has become of them, or would.

    Attributes:
        created: registered for the first time, or again after being retired.
        replaced: changed.
        unchanged: registered like this before.
        retired: taken out of use.
        withdrawn: rates taken away.
    """

    created: int
    replaced: int
    unchanged: int
    retired: int
    withdrawn: int


@declared
class RegisterAnswer:
    """What has become of a document, or would in a dry run.

    Attributes:
        dry_run: whether nothing was stored.
        counts: number of entries by outcome.
        entries: every entry, each facts and each rate, in the order of registration.
        prices: in a dry run that changes something: a preview of repricing the listings that depend on it, with the
            first 100 changes; null if it cannot be told, or nothing changes.
        prices_problem: why it cannot be told.
    """

    dry_run: bool
    counts: RegisterCounts
    entries: tuple[EntryOutcome, ...]
    prices: RepricingAnswer | None
    prices_problem: str | None


@blueprint.route("")
class Register(MethodView):
    """The register."""

    @operation("getRegister", is_long=True)
    @blueprint.response(200, RegisterSchema, headers=ETAG)
    def get(self) -> flask.Response:
        """Everything registered, with every dated rate, as a document that can be sent back or elsewhere.

        It has the exchange rates entered by hand, but neither what the papers say of the workshop (/v1/workshop), nor
        prices in force, nor quotations.
        """
        tag = revision_tag(workshop(), workshop().revision)
        return tagged(tag, lambda: whole(register.written_register(workspace()), JSON))

    @operation("register", is_heavy=True, headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(RegisterQuery)(), location="query")
    @blueprint.arguments(RegisterSchema(), example=REGISTER)
    @blueprint.response(200, schema_of(RegisterAnswer), headers=ETAG)
    def post(self, query: RegisterQuery, document: RegisterDocument) -> flask.Response:
        """Register everything in a document, or nothing: any part of a workshop, in any order.

        Its entries are checked as if each were sent by PUT to its own address, after all facts are in place; every
        problem is named with its place. Repeating it changes nothing. What the document does not name stays, unless it
        is pruned. A dry run has the entity tag of the register: with it in If-Match, just what was shown is done.
        """
        if query.dry_run:
            sent_key()  # not needed here, but refuses a malformed key before the client registers with it
            tried = register.try_document(
                workspace(), document, prune=query.prune, expected=is_expected, as_of=query.as_of
            )
            return _answer(tried, is_dry_run=True)

        def make(joint: Workspace) -> flask.Response:
            done = register.register_document(joint, document, prune=query.prune, expected=is_expected)
            return _answer(done, is_dry_run=False)

        return once_if_keyed(make)


def _answer(found: Registered, *, is_dry_run: bool) -> flask.Response:
    told = {"dry_run": is_dry_run, "counts": found.counts, "entries": encoded(found.entries)}
    prices = {"prices": prices_told(found.prices), "prices_problem": found.prices_problem}
    response = data_answer({**told, **prices})
    response.set_etag(found.tag)
    return response
