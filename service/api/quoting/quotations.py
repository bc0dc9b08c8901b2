"""Quotations: create, read, list, discard and recompute."""

from dataclasses import dataclass
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import QUOTATION
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, IF_MATCH, LINK, LOCATION, NAMED, ONCE, PAPERS
from service.api.http.answers import answer, data_answer, is_expected, nothing, tagged
from service.api.http.auth import workspace
from service.api.http.forms import JSON, QUOTATION_FORMS
from service.api.http.operations import current, operation
from service.api.http.paging import PageQuery, page, position
from service.api.http.retries import once
from service.api.quoting.quotation_papers import PaperQuery, alternatives, paper_of
from service.api.registering.registered import listed
from service.domain.quoting.life import Status
from service.domain.quoting.request import QuotationRequest
from service.domain.values.declared import declared
from service.encoding import encoded
from service.store.quoting.life import QuotationEvent
from service.store.quoting.quotations import Quotation, QuotationSummary
from service.workflows.quoting import quotation_life, quotations
from service.workflows.quoting.quoting import quote

blueprint = Blueprint("quotations", __name__, url_prefix="/v1/quotations", description="Quotations for customers.")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationEvents:
    """The events of a quotation.

    Attributes:
        items: the events, in order.
    """

    items: tuple[QuotationEvent, ...]


@declared
class QuotationsQuery(PageQuery):
    """Which quotations.

    Attributes:
        status: only those that are in this state today.
    """

    status: Status | None = None


def told(quotation: Quotation, status: int = 200) -> flask.Response:
    """A quotation as JSON, with the tag of its state."""
    links = {"Link": alternatives(quotation)}
    return tagged(quotations.tag_of(quotation), lambda: data_answer(encoded(quotation), status, links))


def made(quotation: Quotation) -> flask.Response:
    """A new draft as 201, with its address."""
    response = told(quotation, 201)
    response.headers["Location"] = f"/v1/quotations/{quotation.id}"
    return response


@blueprint.route("")
class Quotations(MethodView):
    """All quotations."""

    @operation("listQuotations")
    @blueprint.arguments(schema_of(QuotationsQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(QuotationSummary), "Quotations", {}), headers=LINK)
    def get(self, query: QuotationsQuery) -> flask.Response:
        """Every quotation, or those in one state, oldest first.

        For instance `status=expired`, to ask customers again.
        """
        after = position(query, UUID)
        return page(
            query,
            lambda limit: quotations.list_quotations(workspace(), after=after, limit=limit, status=query.status),
            lambda quotation: [str(quotation.id)],
            encoded,
        )

    @operation("createQuotation", headers=(ONCE,))
    @blueprint.arguments(schema_of(QuotationRequest)(), example=QUOTATION)
    @blueprint.response(201, schema_of(Quotation), headers=LOCATION | ETAG | PAPERS)
    def post(self, request: QuotationRequest) -> flask.Response:
        """Quote batches for a customer; the draft is stored with everything it was computed from.

        What it was computed from stays with it, so that years later it comes out the same, to the cent. Issue it, and
        it has its number.
        """
        return once(lambda joint: made(quote(joint, request)))


@blueprint.route("/<quotation_id>")
class OneQuotation(MethodView):
    """A quotation."""

    @operation("getQuotation", forms=(JSON, *QUOTATION_FORMS))
    @blueprint.arguments(schema_of(PaperQuery)(), location="query")
    @blueprint.response(200, schema_of(Quotation), headers=ETAG | PAPERS | NAMED)
    def get(self, query: PaperQuery, quotation_id: UUID | int) -> flask.Response:
        """The quotation as it was given; in the other media types, as the customer reads it.

        With its state today. Its papers also have plain links, which a browser can open.
        """
        quotation = quotations.find_quotation(workspace(), quotation_id)
        if current().media_type != JSON:
            return paper_of(quotation, current().media_type, query.locale)
        return told(quotation)

    @operation("discardQuotation", refuses=(409,), headers=(IF_MATCH,))
    @blueprint.response(204)
    def delete(self, quotation_id: UUID | int) -> flask.Response:
        """Delete a draft. An issued quotation is kept for good.

        For a draft that nobody needs.
        """
        quotation_life.discard(workspace(), quotation_id, is_expected)
        return nothing()


@blueprint.route("/<quotation_id>/events")
class Events(MethodView):
    """The events of a quotation."""

    @operation("getQuotationEvents")
    @blueprint.response(200, schema_of(QuotationEvents))
    def get(self, quotation_id: UUID | int) -> flask.Response:
        """What happened to a quotation, when, and by whose key.

        When somebody asks who issued it, or when it was accepted.
        """
        found = quotations.list_events(workspace(), quotation_id)
        return answer(QuotationEvents(items=tuple(found)))


@blueprint.route("/<quotation_id>/recomputation")
class Recomputation(MethodView):
    """A quotation computed again."""

    @operation("recomputeQuotation")
    @blueprint.response(200, schema_of(quotations.Recomputation))
    def get(self, quotation_id: UUID | int) -> flask.Response:
        """Recompute the quotation from its stored basis, and compare.

        To make sure that an old quotation still comes out as it was given.
        """
        return answer(quotations.recompute(workspace(), quotation_id))
