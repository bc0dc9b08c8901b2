"""The job sheet of a batch, for the bench."""

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import fonts, locale_for
from service.api.http.auth import workshop, workspace
from service.api.http.forms import HTML, PDF
from service.api.http.operations import current, operation
from service.api.http.remembered import remembered
from service.documents.making.job_sheet_page import job_sheet_page, job_sheet_pdf
from service.documents.making.job_sheet_view import job_sheet_view
from service.domain.values.declared import declared
from service.domain.values.forms import LocaleCode
from service.domain.values.units import SoldQuantity
from service.workflows.costing.job_sheets import job_of_product

blueprint = Blueprint(
    "job-sheets",
    __name__,
    url_prefix="/v1/products",
    description="What to fetch for a batch, and which steps to take: papers for the bench, without money.",
)


@declared
class JobQuery:
    """Which batch, and for whom.

    Attributes:
        quantity: good pieces in the batch.
        locale: CLDR locale for words, numbers and dates; the workshop's own if left out.
    """

    quantity: SoldQuantity
    locale: LocaleCode | None = None


@blueprint.route("/<code>/job-sheet")
class JobSheets(MethodView):
    """What a batch needs, on paper."""

    @remembered
    @operation("getJobSheet", forms=(), documents=(HTML, PDF), refuses=(409,))
    @blueprint.arguments(schema_of(JobQuery)(), location="query")
    @blueprint.response(200, {"type": "string"}, headers=ETAG)
    def get(self, query: JobQuery, code: str) -> flask.Response:
        """What to fetch for a batch, and which steps to take.

        For the bench, with the cautions of the work and blanks for what really happened; without money.
        """
        job, media_type = job_of_product(workspace(), code, query.quantity), current().media_type
        view = job_sheet_view(
            job.sheet,
            job.cautions,
            seller=workshop().name,
            locale=locale_for(media_type, query.locale or workshop().locale),
            printed_on=workshop().today(),
        )
        document = job_sheet_page(view) if media_type == HTML else job_sheet_pdf(view, fonts())
        return flask.Response(document, content_type=media_type)
