"""Why batches cost more or less than they should have."""

from collections.abc import Callable
from functools import partial

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import PERIOD
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer, fonts, locale_for
from service.api.http.auth import workshop, workspace
from service.api.http.forms import HTML, IMAGES, JSON, PDF
from service.api.http.operations import current, operation
from service.api.http.remembered import remembered
from service.api.records.questions import PeriodQuery
from service.documents.drawing.drawing import ImageForm
from service.documents.reviewing.period_view import period_chart, period_view, product_chart, product_view
from service.documents.reviewing.variance_page import variance_page, variance_pdf
from service.documents.reviewing.variance_paper import VarianceView
from service.documents.reviewing.variance_view import batch_chart, variance_view
from service.domain.reviewing.period_review import PeriodReview, SummedStatement
from service.domain.reviewing.statement import VarianceStatement
from service.workflows.reviewing import period, variances
from service.workflows.reviewing.period import PeriodQuestion

blueprint = Blueprint(
    "variances",
    __name__,
    tag="batch-records",
    url_prefix="/v1",
    description="Why batches cost more or less than they should have.",
)
_FORMS = (HTML, PDF, *IMAGES)


def _told(
    found: VarianceStatement | SummedStatement | PeriodReview,
    chart: Callable[..., bytes],
    view: Callable[..., VarianceView],
) -> flask.Response:
    """The statement in the form that is asked for.

    Args:
        chart: makes the picture in a form and a locale.
        view: makes the page and the paper, for a seller and a locale.
    """
    media_type, locale = current().media_type, workshop().locale
    if media_type == JSON:
        return answer(found)
    if media_type not in (HTML, PDF):
        return flask.Response(chart(ImageForm(media_type), locale=locale), content_type=media_type)
    made = view(seller=workshop().name, locale=locale_for(media_type, locale))
    document = variance_page(made) if media_type == HTML else variance_pdf(made, fonts())
    return flask.Response(document, content_type=media_type)


@blueprint.route("/batch-records/<code>/variances")
class RecordVariances(MethodView):
    """The variances of a batch."""

    @remembered
    @operation("getBatchVariances", documents=_FORMS)
    @blueprint.response(200, schema_of(VarianceStatement), headers=ETAG)
    def get(self, code: str) -> flask.Response:
        """Why a batch cost more or less than its good units should have, and what it earned.

        Cause by cause, the largest first: price, usage, rate, efficiency, time, energy, yield, mix. They lead from the
        standard to the actual cost, at the rates of the day that it was made. A batch that was made for a quotation
        also has what that brings for it.
        """
        found, unit = variances.variances_of_record(workspace(), code)
        return _told(found, partial(batch_chart, code, found), partial(variance_view, code, found, unit))


@blueprint.route("/products/<code>/variances")
class ProductVariances(MethodView):
    """The variances of a product."""

    @remembered
    @operation("getProductVariances", documents=_FORMS, is_heavy=True)
    @blueprint.arguments(schema_of(PeriodQuery)(), location="query")
    @blueprint.response(200, schema_of(SummedStatement), headers=ETAG)
    def get(self, query: PeriodQuery, code: str) -> flask.Response:
        """Why the batches of a product cost more or less than they should have, ever or in a period.

        All of them together, the largest cause first: what to look into.
        """
        found = period.variances_of_product(workspace(), code, query.chosen)
        return _told(found, partial(product_chart, found), partial(product_view, found, workshop().today()))


@blueprint.route("/variances")
class PeriodVariances(MethodView):
    """The variances of a period."""

    @operation("reviewPeriod", documents=_FORMS, stores=False, is_heavy=True, refuses=(409,))
    @blueprint.arguments(schema_of(PeriodQuestion)(), example=PERIOD)
    @blueprint.response(200, schema_of(PeriodReview))
    def post(self, question: PeriodQuestion) -> flask.Response:
        """Why the batches of a period cost more or less than they should have.

        All batches together and those of each product, the largest cause first. What the days cost however much is made
        is compared with what the good units of the recorded batches bear of it: budget and volume variance. Nothing is
        stored.
        """
        found = period.review_period(workspace(), question)
        return _told(found, partial(period_chart, found), partial(period_view, found))
