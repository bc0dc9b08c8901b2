"""Shipping estimates."""

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import SHIPPING_ESTIMATE
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.domain.shipping.shipping_statement import ShippingStatement
from service.workflows import shipping
from service.workflows.shipping import ShippingQuestion

blueprint = Blueprint(
    "shipping", __name__, tag="shipping-services", url_prefix="/v1", description="Shipping estimates."
)


@blueprint.route("/shipping-estimates")
class ShippingEstimates(MethodView):
    """Shipping estimates."""

    @operation("estimateShipping", stores=False)
    @blueprint.arguments(schema_of(ShippingQuestion)(), example=SHIPPING_ESTIMATE)
    @blueprint.response(200, schema_of(ShippingStatement))
    def post(self, question: ShippingQuestion) -> flask.Response:
        """The cheapest parcels for some pieces, how they are charged, and the price; nothing is stored.

        Before you say what delivery costs; it also says what a service cannot carry, and why.
        """
        return answer(shipping.estimate_shipping(workspace(), question))
