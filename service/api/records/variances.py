"""Why batches cost more or less than they should have."""

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.api.http.remembered import remembered
from service.api.records.questions import PeriodQuery
from service.domain.reviewing.statement import SummedStatement, VarianceStatement
from service.workflows.records import variances

blueprint = Blueprint(
    "variances",
    __name__,
    tag="batch-records",
    url_prefix="/v1",
    description="Why batches cost more or less than they should have.",
)


@blueprint.route("/batch-records/<code>/variances")
class RecordVariances(MethodView):
    """The variances of a batch."""

    @remembered
    @operation("getBatchVariances")
    @blueprint.response(200, schema_of(VarianceStatement), headers=ETAG)
    def get(self, code: str) -> flask.Response:
        """Why a batch cost more or less than its good units should have.

        Cause by cause, the largest first: price, usage, rate, efficiency, time, energy, yield, mix. They lead from the
        standard to the actual cost, at the rates of the day that it was made.
        """
        return answer(variances.variances_of_record(workspace(), code))


@blueprint.route("/products/<code>/variances")
class ProductVariances(MethodView):
    """The variances of a product."""

    @remembered
    @operation("getProductVariances", is_heavy=True)
    @blueprint.arguments(schema_of(PeriodQuery)(), location="query")
    @blueprint.response(200, schema_of(SummedStatement), headers=ETAG)
    def get(self, query: PeriodQuery, code: str) -> flask.Response:
        """Why the batches of a product cost more or less than they should have, ever or in a period.

        All of them together, the largest cause first: what to look into.
        """
        return answer(variances.variances_of_product(workspace(), code, query.chosen))
