"""The life of a quotation: issue, accept, decline, revise, complete."""

from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import ISSUE, RECORD_OF_QUOTATION
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, IF_MATCH, LOCATION, MAY_BE_REPEATED, ONCE, PAPERS
from service.api.http.answers import is_expected
from service.api.http.operations import operation
from service.api.http.retries import once, once_if_keyed
from service.api.quoting.quotations import made, told
from service.api.records.questions import BatchesMade, BatchesMadeSchema
from service.domain.quoting.life import AcceptanceRequest, DeclineRequest, IssueRequest
from service.domain.quoting.request import QuotationRequest
from service.domain.values.declared import declared
from service.store.quoting.quotations import Quotation
from service.workflows.quoting import quotation_life

blueprint = Blueprint(
    "quotation-life", __name__, tag="quotations", url_prefix="/v1/quotations", description="The life of quotations."
)


@declared
class RevisionRequest:
    """The next revision of a quotation.

    Attributes:
        request: what to quote; if left out, the same as before at today's rates.
    """

    request: QuotationRequest | None = None


@blueprint.route("/<quotation_id>/issue")
class Issue(MethodView):
    """Issuing."""

    @operation("issueQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(IssueRequest)(), required=False, examples=ISSUE)
    @blueprint.response(200, schema_of(Quotation), headers=ETAG | PAPERS)
    def post(self, asked: IssueRequest, quotation_id: UUID | int) -> flask.Response:
        """Issue a draft: it gets its number, never changes again, and supersedes the quotation that it revises.

        Refused if an allowance takes a price below the floor of its policy, unless the body accepts that.
        """
        return once_if_keyed(lambda joint: told(quotation_life.issue(joint, quotation_id, asked, is_expected)))


@blueprint.route("/<quotation_id>/accept")
class Accept(MethodView):
    """Accepting."""

    @operation("acceptQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(AcceptanceRequest)(), example={"quantities": [500], "reference": "order 7"})
    @blueprint.response(200, schema_of(Quotation), headers=ETAG | PAPERS)
    def post(self, acceptance: AcceptanceRequest, quotation_id: UUID | int) -> flask.Response:
        """Record that the customer accepts, and which batch sizes; its hours are promised until it is completed.

        From then on, lead times and capacity count its hours.
        """
        return once_if_keyed(lambda joint: told(quotation_life.accept(joint, quotation_id, acceptance, is_expected)))


@blueprint.route("/<quotation_id>/decline")
class Decline(MethodView):
    """Declining."""

    @operation("declineQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(schema_of(DeclineRequest)(), example={"reason": "found another supplier"})
    @blueprint.response(200, schema_of(Quotation), headers=ETAG | PAPERS)
    def post(self, declined: DeclineRequest, quotation_id: UUID | int) -> flask.Response:
        """Record that the customer declines, or withdraws an acceptance.

        Its promised hours, if there are any, are free again.
        """
        return once_if_keyed(lambda joint: told(quotation_life.decline(joint, quotation_id, declined, is_expected)))


@blueprint.route("/<quotation_id>/complete")
class Complete(MethodView):
    """Completing."""

    @operation("completeQuotation", headers=(IF_MATCH, MAY_BE_REPEATED))
    @blueprint.arguments(BatchesMadeSchema(), required=False, example={"records": [RECORD_OF_QUOTATION]})
    @blueprint.response(200, schema_of(Quotation), headers=ETAG | PAPERS)
    def post(self, made: BatchesMade, quotation_id: UUID | int) -> flask.Response:
        """Record that an accepted order has been made; its promised hours are free again.

        When the last piece is made. It may carry the records of its batches, now or when it is sent again: either all
        of it is stored, or nothing.
        """
        records = made.coded
        return once_if_keyed(lambda joint: told(quotation_life.complete(joint, quotation_id, records, is_expected)))


@blueprint.route("/<quotation_id>/revise")
class Revise(MethodView):
    """Revising."""

    @operation("reviseQuotation", headers=(IF_MATCH, ONCE))
    @blueprint.arguments(schema_of(RevisionRequest)(), example={})
    @blueprint.response(201, schema_of(Quotation), headers=LOCATION | ETAG | PAPERS)
    def post(self, revision: RevisionRequest, quotation_id: UUID | int) -> flask.Response:
        """Draft the next revision of an issued quotation, which stays valid until the new one is issued.

        When the customer wants something else, or rates have changed: at today's rates, unless the body asks for more.
        """
        return once(lambda joint: made(quotation_life.revise(joint, quotation_id, revision.request, is_expected)))
