"""What becomes of a quotation: issue, accept, decline, revise, complete."""

import flask
from flask.views import MethodView

from service.api.answers import is_expected
from service.api.auth import access, database, workshop
from service.api.blueprints import Blueprint, documented
from service.api.quotation_papers import ID
from service.api.quotations import made, stated
from service.api.registered import CONDITIONS, LOCATION
from service.api.retries import idempotency_key, once, once_if_keyed
from service.api.schemas import schema_of
from service.domain.declared import declared
from service.domain.quotation_life import AcceptanceRequest, DeclineRequest
from service.domain.quotation_request import QuotationRequest
from service.store.quotations import Quotation
from service.workflows import quotation_life

blueprint = Blueprint(
    "quotation-life", __name__, url_prefix="/v1/quotations", description="What becomes of quotations."
)
_CHANGE = [*CONDITIONS[:1], *idempotency_key(is_required=False)]
_CREATE = [*CONDITIONS[:1], *idempotency_key(is_required=True)]


@declared
class RevisionRequest:
    """What the next revision of a quotation asks for.

    Attributes:
        request: what is quoted now; the same as before at today's rates if left out.
    """

    request: QuotationRequest | None = None


@blueprint.route("/<quotation_id>/issue", parameters=[ID.parameter])
class Issue(MethodView):
    """A draft becomes a promise."""

    @documented("issueQuotation", 400, 404, 406, 409, 412, 422, conditions=_CHANGE)
    @blueprint.response(200, schema_of(Quotation))
    def post(self, quotation_id: str) -> flask.Response:
        """Give a draft its number: it never changes again, and supersedes what it revises."""
        address = ID.found(quotation_id)
        return once_if_keyed(
            lambda: stated(quotation_life.issue(database(), workshop(), address, access().key_name, is_expected))
        )


@blueprint.route("/<quotation_id>/accept", parameters=[ID.parameter])
class Accept(MethodView):
    """The customer takes it."""

    @documented("acceptQuotation", 400, 404, 406, 409, 412, 413, 415, 422, conditions=_CHANGE)
    @blueprint.arguments(schema_of(AcceptanceRequest)(), example={"quantities": [1000], "reference": "PO 4711"})
    @blueprint.response(200, schema_of(Quotation))
    def post(self, acceptance: AcceptanceRequest, quotation_id: str) -> flask.Response:
        """Keep that the customer takes it, and which of the batch sizes; it is promised until it is completed."""
        address, by = ID.found(quotation_id), access().key_name
        return once_if_keyed(
            lambda: stated(quotation_life.accept(database(), workshop(), address, acceptance, by, is_expected))
        )


@blueprint.route("/<quotation_id>/decline", parameters=[ID.parameter])
class Decline(MethodView):
    """The customer does not take it."""

    @documented("declineQuotation", 400, 404, 406, 409, 412, 413, 415, 422, conditions=_CHANGE)
    @blueprint.arguments(schema_of(DeclineRequest)(), example={"reason": "found another supplier"})
    @blueprint.response(200, schema_of(Quotation))
    def post(self, declined: DeclineRequest, quotation_id: str) -> flask.Response:
        """Keep that the customer does not take it, or withdraws an acceptance."""
        address, by = ID.found(quotation_id), access().key_name
        return once_if_keyed(
            lambda: stated(quotation_life.decline(database(), workshop(), address, declined, by, is_expected))
        )


@blueprint.route("/<quotation_id>/complete", parameters=[ID.parameter])
class Complete(MethodView):
    """What was accepted has been made."""

    @documented("completeQuotation", 400, 404, 406, 409, 412, 422, conditions=_CHANGE)
    @blueprint.response(200, schema_of(Quotation))
    def post(self, quotation_id: str) -> flask.Response:
        """Keep that an accepted order has been made: the minutes that it took are free again."""
        address = ID.found(quotation_id)
        return once_if_keyed(
            lambda: stated(quotation_life.complete(database(), workshop(), address, access().key_name, is_expected))
        )


@blueprint.route("/<quotation_id>/revise", parameters=[ID.parameter])
class Revise(MethodView):
    """The next revision."""

    @documented("reviseQuotation", 400, 404, 406, 409, 412, 413, 415, 422, conditions=_CREATE)
    @blueprint.arguments(schema_of(RevisionRequest)(), example={})
    @blueprint.response(201, schema_of(Quotation), headers=LOCATION)
    def post(self, revision: RevisionRequest, quotation_id: str) -> flask.Response:
        """Draft the next revision of an issued quotation; the old one holds until the new one is issued."""
        address, by = ID.found(quotation_id), access().key_name
        return once(
            lambda: made(quotation_life.revise(database(), workshop(), address, revision.request, by, is_expected))
        )
