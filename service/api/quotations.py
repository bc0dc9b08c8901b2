"""Quotations: price a request, keep it with its basis, show it as JSON or as text."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.answers import JSON, TEXT, answer
from service.api.auth import database, workshop
from service.api.blueprints import Blueprint, documented
from service.api.examples import QUOTATION
from service.api.ids import AddressId
from service.api.paging import PageQuery, page, position
from service.api.registered import LINK, LOCATION, listed
from service.api.schemas import schema_of
from service.domain.money import Money
from service.domain.quotation_request import QuotationRequest
from service.encoding import encoded
from service.store.quotations import Quotation
from service.workflows import quoting

blueprint = Blueprint("quotations", __name__, url_prefix="/v1/quotations", description="What customers are asked for.")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationSummary:
    """A quotation in a list.

    Attributes:
        id: its id.
        status: draft.
        quoted_on: the day of its rates.
        valid_until: the last day its prices hold.
        customer: who asked.
        tax_inclusive: the total with tax.
    """

    id: UUID
    status: str
    quoted_on: date
    valid_until: date
    customer: str
    tax_inclusive: Money


def _summary(quotation: Quotation) -> Any:
    return encoded(
        QuotationSummary(
            id=quotation.id,
            status=quotation.status,
            quoted_on=quotation.quoted_on,
            valid_until=quotation.valid_until,
            customer=quotation.request.customer.name,
            tax_inclusive=quotation.figures.totals.tax_inclusive,
        )
    )


ID = AddressId(noun="quotation")


@blueprint.route("")
class Quotations(MethodView):
    """All quotations."""

    @documented("listQuotations", 406, 422)
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(QuotationSummary), "Quotations", {}), headers=LINK)
    def get(self, query: PageQuery) -> flask.Response:
        """Every quotation, oldest first."""
        after = position(query)
        return page(
            query,
            lambda limit: quoting.list_quotations(
                database(), workshop(), after=UUID(after[0]) if after else None, limit=limit
            ),
            lambda quotation: [str(quotation.id)],
            _summary,
        )

    @documented("createQuotation", 400, 406, 409, 413, 415, 422)
    @blueprint.arguments(schema_of(QuotationRequest)(), example=QUOTATION)
    @blueprint.response(201, schema_of(Quotation), headers=LOCATION)
    def post(self, request: QuotationRequest) -> flask.Response:
        """Quote batches for a customer; the draft is kept with everything it was computed from."""
        quotation = quoting.quote(database(), workshop(), request)
        return answer(quotation, 201, headers={"Location": f"/v1/quotations/{quotation.id}"})


@blueprint.route("/<quotation_id>", parameters=[ID.parameter])
class OneQuotation(MethodView):
    """A quotation."""

    @documented("getQuotation", 404, 406, 422)
    @blueprint.response(200, schema_of(Quotation))
    @blueprint.alt_response(200, schema={"type": "string"}, content_type=TEXT, success=True)
    def get(self, quotation_id: str) -> flask.Response:
        """The quotation as it was given; as text/plain, what the customer reads."""
        quotation = quoting.find_quotation(database(), workshop(), ID.checked(quotation_id))
        if flask.g.media_type == JSON:
            return answer(quotation)
        return flask.Response(quoting.quotation_text(workshop(), quotation), content_type=f"{TEXT}; charset=utf-8")


@blueprint.route("/<quotation_id>/recomputation", parameters=[ID.parameter])
class Recomputation(MethodView):
    """A quotation computed again."""

    @documented("recomputeQuotation", 404, 406, 422)
    @blueprint.response(200, schema_of(quoting.Recomputation))
    def get(self, quotation_id: str) -> flask.Response:
        """Compute the quotation once more from what was stored with it, and compare."""
        return answer(quoting.recompute(database(), workshop(), ID.checked(quotation_id)))
