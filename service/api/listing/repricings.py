"""Repricings: new prices when costs change, previewed, applied, rolled back and recorded."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import field
from itertools import islice
from typing import Any
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import REPRICING
from service.api.contract.fields import FlagField
from service.api.contract.rates_field import rates_field
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, IF_MATCH, IF_PREVIEWED, LINK, LOCATION, MAY_BE_REPEATED
from service.api.http.answers import data_answer, is_expected, tagged
from service.api.http.auth import WRITE, require, workspace
from service.api.http.forms import CSV, JSON, NDJSON
from service.api.http.operations import current, operation
from service.api.http.paging import PageQuery, linked, page, paged, position
from service.api.http.retries import once, once_if_keyed, sent_key
from service.api.http.spooling import spool, spooled
from service.api.listing.repricing_statements import RepricingAnswer, RepricingStatement, statement_of, stored_statement
from service.api.registering.registered import listed
from service.documents.listing.price_changes import price_changes_csv
from service.domain.listing.price_change import PriceChange
from service.domain.listing.repricing import RepricingRequest
from service.domain.values.declared import declared
from service.domain.values.errors import InvalidValueError
from service.encoding import plain_data
from service.spool import write
from service.store.listing.repricings import Repricing
from service.store.workshop.retries import StoredAnswer
from service.workflows.costing.supposing import WhatIf
from service.workflows.entity_tags import tag
from service.workflows.listing import repricing, repricing_records
from service.workflows.workspace import Workspace

blueprint = Blueprint(
    "repricings",
    __name__,
    url_prefix="/v1",
    description="New prices when costs change: seen first, put in force together, taken back if need be.",
)

_PATH = "/v1/repricings"
_ROWS = 500


@declared
class RepricingOrder(RepricingRequest):
    """Which listings to reprice, and whether to apply it.

    Attributes:
        apply: true puts the prices in force, false previews them.
        rates: what-if terms in place of those in force, by resource; for a preview only.
    """

    apply: bool = False
    rates: Mapping[str, Any] = field(default_factory=dict)

    def problems(self) -> Iterator[InvalidValueError]:
        yield from RepricingRequest.problems(self)
        if self.apply and self.rates:
            yield InvalidValueError(("rates",), "are for a preview only; register them with PUT before you apply")

    def request(self) -> RepricingRequest:
        """The request without the fields of the order."""
        return RepricingRequest(**{name: getattr(self, name) for name in RepricingRequest.__dataclass_fields__})


class OrderSchema(schema_of(RepricingRequest)):  # type: ignore[misc]
    """Which listings to reprice, and whether to apply it."""

    declared_class = RepricingOrder
    apply = FlagField(metadata={"description": "true puts the prices in force, false previews them.", "default": False})
    rates = rates_field()


_CONTENT_TYPES = {CSV: f"{CSV}; charset=utf-8; header=present", NDJSON: NDJSON}


Changes = Iterable[tuple[str, str]]
"""Listings, each with its `PriceChange` as JSON text."""


def _lines(changes: Changes) -> Iterator[bytes]:
    return (f"{change}\n".encode() for _, change in changes)


def _csv(changes: Changes) -> Iterator[bytes]:
    return price_changes_csv(plain_data(change) for _, change in changes)


_WRITERS = {CSV: _csv, NDJSON: _lines}


@blueprint.route("/repricings")
class Repricings(MethodView):
    """All repricings."""

    @operation("listRepricings")
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(RepricingStatement), "Repricings", {}), headers=LINK)
    def get(self, query: PageQuery) -> flask.Response:
        """Every repricing that was applied, newest first.

        To find one that is to be looked at or taken back.
        """
        before = position(query, UUID)
        return page(
            query,
            lambda limit: repricing_records.list_repricings(workspace(), before=before, limit=limit),
            lambda each: [str(each.id)],
            stored_statement,
        )

    @operation(  # the view itself requires the scope to write if it applies
        "reprice", documents=(CSV, NDJSON), stores=False, is_long=True, headers=(IF_PREVIEWED, MAY_BE_REPEATED)
    )
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.arguments(OrderSchema(), examples=REPRICING)
    @blueprint.response(200, schema_of(RepricingAnswer), headers=ETAG, description="A preview, or nothing to change.")
    @blueprint.alt_response(201, schema=schema_of(RepricingAnswer), headers=LOCATION, description="Applied.")
    def post(self, query: PageQuery, order: RepricingOrder) -> flask.Response:
        """Compute what listings cost, their new prices and why; preview them or put them in force.

        The prices are in force from the day of the rates on, or from today if that is later. They replace what is in
        force on that day; what is set for a later day stays.

        A preview in JSON is paged, with the totals on the first page; CSV and JSON lines have every change,
        whatever `limit` and `cursor`. A preview stores nothing.
        """
        request, after = order.request(), position(query, str) or ""
        if order.apply:
            require(WRITE)
            return once(lambda joint: _applied(joint, query, request), again=_applied_again)
        sent_key()  # not needed here, but refuses a malformed key before the client applies with it
        if current().media_type == JSON:
            return _preview(query, after, request, order.rates)
        return _whole_preview(request, order.rates)


def _applied(joint: Workspace, query: PageQuery, request: RepricingRequest) -> flask.Response:
    done = repricing.apply(joint, request, is_expected)
    current().repriced = done.figures.summary
    media_type = current().media_type
    if done.repricing is None:
        if media_type != JSON:
            return _streamed((), media_type)
        statement = statement_of(done.request, done.valid_from, done.figures, "nothing_to_change")
        return data_answer({**statement, "changes": {"items": [], "next": None}})
    path = f"{_PATH}/{done.repricing.id}"
    if media_type != JSON:
        response = _streamed(_changes(joint, done.repricing.id), media_type)
        response.status_code, response.headers["Location"] = 201, path
        return response
    changes = _changes_page(joint, query, done.repricing.id, "", f"{path}/changes")
    return data_answer({**stored_statement(done.repricing), "changes": changes}, 201, {"Location": path})


def _applied_again(answer: StoredAnswer) -> flask.Response:
    """All changes that a repricing recorded, which never change; empty if there was nothing to change."""
    applied = answer.headers.get("Location", "").rpartition("/")[2]
    return _streamed(_changes(workspace(), UUID(applied)) if applied else (), current().media_type)


def _preview(query: PageQuery, after: str, request: RepricingRequest, what_if: WhatIf) -> flask.Response:
    """A page of a preview; the first has the totals and therefore reads all listings."""
    with (
        repricing.preview(workspace(), request, what_if) as seen,
        closing(seen.changes(after)) as changes,  # closed before its connection
    ):
        items = list(islice(changes, query.limit + 1))
        for _ in () if after else changes:
            pass
        statement = statement_of(seen.request, seen.valid_from, None if after else seen.figures(), "preview")
    response = data_answer({**statement, "changes": _paged(query, items)})
    response.set_etag(seen.tag)
    return response


def _whole_preview(request: RepricingRequest, what_if: WhatIf) -> flask.Response:
    """A preview with every change, in one consistent state, completed before it is sent."""
    media_type = current().media_type
    with spool() as written, repricing.preview(workspace(), request, what_if) as seen:
        write(written, _WRITERS[media_type](seen.changes()))
        response = spooled(written, _CONTENT_TYPES[media_type])
    response.set_etag(seen.tag)
    return response


def _changes(whose: Workspace, repricing_id: UUID) -> Iterator[tuple[str, str]]:
    """Every change of a repricing, read some hundred at a time; records never change.

    The first are read before the answer begins, so that a refusal can still be answered as one.
    """
    first = repricing_records.list_changes(whose, repricing_id, after="", limit=_ROWS)

    def changes() -> Iterator[tuple[str, str]]:
        found = first
        while found:
            yield from found
            found = repricing_records.list_changes(whose, repricing_id, after=found[-1][0], limit=_ROWS)

    return changes()


def _streamed(changes: Changes, media_type: str) -> flask.Response:
    return flask.Response(_WRITERS[media_type](changes), content_type=_CONTENT_TYPES[media_type])


def _changes_page(whose: Workspace, query: PageQuery, repricing_id: UUID, after: str, path: str) -> dict[str, Any]:
    found = repricing_records.list_changes(whose, repricing_id, after=after, limit=query.limit + 1)
    return _paged(query, found, path)


def _paged(query: PageQuery, found: list[tuple[str, str]], *path: str) -> dict[str, Any]:
    return paged(query, found, lambda change: [change[0]], lambda change: plain_data(change[1]), *path)


def _told(repricing: Repricing) -> flask.Response:
    return tagged(repricing_records.tag_of(repricing), lambda: data_answer(stored_statement(repricing)))


@blueprint.route("/repricings/<repricing_id>")
class OneRepricing(MethodView):
    """A repricing."""

    @operation("getRepricing")
    @blueprint.response(200, schema_of(RepricingStatement))
    def get(self, repricing_id: UUID) -> flask.Response:
        """A repricing as it was applied; its changes are at /changes.

        To see on which day and by which rules prices were set, and how many changed.
        """
        return _told(repricing_records.find_repricing(workspace(), repricing_id))


@blueprint.route("/repricings/<repricing_id>/changes")
class RepricingChanges(MethodView):
    """The changes of a repricing."""

    @operation("listPriceChanges", documents=(CSV, NDJSON), is_long=True)
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(PriceChange), "PriceChanges", {}), headers=LINK)
    def get(self, query: PageQuery, repricing_id: UUID) -> flask.Response:
        """The decision on each listing, and why.

        Paged as JSON; CSV and JSON lines have every change, whatever `limit` and `cursor`.
        """
        after = position(query, str) or ""
        media_type = current().media_type
        if media_type != JSON:  # records never change
            changes, form = _changes(workspace(), repricing_id), media_type.rpartition("/")[2]
            return tagged(tag(repricing_id, form), lambda: _streamed(changes, media_type))
        return linked(_changes_page(workspace(), query, repricing_id, after, flask.request.path))


@declared
class RollbackQuery:
    """How to roll back.

    Attributes:
        dry_run: true stores nothing, and refuses what the rollback would refuse.
    """

    dry_run: bool = False


@blueprint.route("/repricings/<repricing_id>/rollback")
class RepricingRollback(MethodView):
    """Rolling a repricing back."""

    @operation("rollBackRepricing", is_long=True, headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(RollbackQuery)(), location="query")
    @blueprint.response(200, schema_of(RepricingStatement), headers=ETAG)
    def post(self, query: RollbackQuery, repricing_id: UUID) -> flask.Response:
        """Take a repricing's prices back, all of them or none: the prices set before it count again.

        Refused if a later repricing has changed one of its prices: roll that one back first.
        """
        return once_if_keyed(
            lambda joint: _told(repricing_records.roll_back(joint, repricing_id, is_expected, is_dry_run=query.dry_run))
        )
