"""A customer's batch: quoted, issued under a number, accepted, made."""

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import PREVIEW
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.domain.quoting.request import QuotationRequest
from service.workflows.quoting import quoting
from service.workflows.quoting.quoting import QuotationPreview

blueprint = Blueprint(
    "quotation-previews",
    __name__,
    tag="quotations",
    url_prefix="/v1",
    description="A customer's batch: quoted, issued under a number, accepted, made.",
)


@blueprint.route("/quotation-previews")
class QuotationPreviews(MethodView):
    """A customer's batch: quoted, issued under a number, accepted, made."""

    @operation("previewQuotation", stores=False, refuses=(409,))
    @blueprint.arguments(schema_of(QuotationRequest)(), examples=PREVIEW)
    @blueprint.response(200, schema_of(QuotationPreview))
    def post(self, request: QuotationRequest) -> flask.Response:
        """Every figure and remark of the quotation that this request would get now; nothing is stored.

        To try a quotation before anybody sees it.
        """
        return answer(quoting.preview(workspace(), request))
