"""What quotations may come to cost, as past batches went; for the workshop alone."""

from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import PREVIEW
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.domain.quoting.request import QuotationRequest
from service.workflows.quoting import risk
from service.workflows.quoting.risk import QuotationRisk

blueprint = Blueprint(
    "quotation-risks", __name__, tag="quotations", url_prefix="/v1", description="What quotations may come to cost."
)


@blueprint.route("/quotations/<quotation_id>/risk")
class Risk(MethodView):
    """What a quotation may come to cost."""

    @operation("getQuotationRisk", is_heavy=True)
    @blueprint.response(200, schema_of(QuotationRisk))
    def get(self, quotation_id: UUID | int) -> flask.Response:
        """What a quotation may come to cost, if its batches go as recorded ones went; on no paper for the customer.

        Each past batch's own facts are costed at the quotation's rates: the lowest, expected and highest full cost, and
        how many would lose money at the price. The latest 1,000 records of a line count; of many lines, fewer.
        """
        return answer(risk.risk_of_quotation(workspace(), quotation_id))


@blueprint.route("/quotation-previews/risk")
class PreviewRisk(MethodView):
    """What a quotation that nobody has stored may come to cost."""

    @operation("previewQuotationRisk", stores=False, refuses=(409,), is_heavy=True)
    @blueprint.arguments(schema_of(QuotationRequest)(), examples=PREVIEW)
    @blueprint.response(200, schema_of(QuotationRisk))
    def post(self, request: QuotationRequest) -> flask.Response:
        """The same for the quotation that this request would get; nothing is stored.

        Before a price is named.
        """
        return answer(risk.risk_of_preview(workspace(), request))
