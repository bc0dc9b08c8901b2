"""What becomes of a quotation: issue, accept, decline, revise, complete."""

from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import IF_MATCH, LOCATION, MAY_BE_REPEATED, ONCE
from service.api.http.answers import is_expected
from service.api.http.operations import operation
from service.api.http.retries import once, once_if_keyed
from service.api.quoting.quotations import made, told
from service.domain.quoting.life import AcceptanceRequest, DeclineRequest
from service.domain.quoting.request import QuotationRequest
from service.domain.values.declared import declared
from service.store.quoting.quotations import Quotation
from service.workflows.quoting import quotation_life

blueprint = Blueprint(
    "quotation-life", __name__, url_prefix="/v1/quotations", description="What becomes of quotations."
)


@declared
class RevisionRequest:
    """What the next revision of a quotation asks for.

    Attributes:
        request: what is quoted now; the same as before at today's rates if left out.
    """

    request: QuotationRequest | None = None


@blueprint.route("/<quotation_id>/issue")
class Issue(MethodView):
    """A draft becomes a promise."""

    @operation("issueQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.response(200, schema_of(Quotation))
    def post(self, quotation_id: UUID | int) -> flask.Response:
        """Give a draft its number: it never changes again, and supersedes what it revises."""
        return once_if_keyed(lambda joint: told(quotation_life.issue(joint, quotation_id, is_expected)))


@blueprint.route("/<quotation_id>/accept")
class Accept(MethodView):
    """The customer takes it."""

    @operation("acceptQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(AcceptanceRequest)(), example={"quantities": [1000], "reference": "PO 4711"})
    @blueprint.response(200, schema_of(Quotation))
    def post(self, acceptance: AcceptanceRequest, quotation_id: UUID | int) -> flask.Response:
        """Keep that the customer takes it, and which of the batch sizes; it is promised until it is completed."""
        return once_if_keyed(lambda joint: told(quotation_life.accept(joint, quotation_id, acceptance, is_expected)))


@blueprint.route("/<quotation_id>/decline")
class Decline(MethodView):
    """The customer does not take it."""

    @operation("declineQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(DeclineRequest)(), example={"reason": "found another supplier"})
    @blueprint.response(200, schema_of(Quotation))
    def post(self, declined: DeclineRequest, quotation_id: UUID | int) -> flask.Response:
        """Keep that the customer does not take it, or withdraws an acceptance."""
        return once_if_keyed(lambda joint: told(quotation_life.decline(joint, quotation_id, declined, is_expected)))


@blueprint.route("/<quotation_id>/complete")
class Complete(MethodView):
    """What was accepted has been made."""

    @operation("completeQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.response(200, schema_of(Quotation))
    def post(self, quotation_id: UUID | int) -> flask.Response:
        """Keep that an accepted order has been made: the minutes that it took are free again."""
        return once_if_keyed(lambda joint: told(quotation_life.complete(joint, quotation_id, is_expected)))


@blueprint.route("/<quotation_id>/revise")
class Revise(MethodView):
    """The next revision."""

    @operation("reviseQuotation", headers=(IF_MATCH, ONCE))
    @blueprint.arguments(schema_of(RevisionRequest)(), example={})
    @blueprint.response(201, schema_of(Quotation), headers=LOCATION)
    def post(self, revision: RevisionRequest, quotation_id: UUID | int) -> flask.Response:
        """Draft the next revision of an issued quotation; the old one holds until the new one is issued."""
        return once(lambda joint: made(quotation_life.revise(joint, quotation_id, revision.request, is_expected)))
