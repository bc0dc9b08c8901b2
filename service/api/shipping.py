"""What it costs to ship pieces."""

import flask
from flask.views import MethodView

from service.api.answers import answer
from service.api.auth import database, workshop
from service.api.blueprints import Blueprint
from service.api.examples import SHIPPING_ESTIMATE
from service.api.operations import operation
from service.api.schemas import schema_of
from service.domain.shipping.shipping_statement import ShippingStatement
from service.workflows import shipping
from service.workflows.shipping import ShippingQuestion

blueprint = Blueprint("shipping", __name__, url_prefix="/v1", description="What it costs to ship.")


@blueprint.route("/shipping-estimates")
class ShippingEstimates(MethodView):
    """What it costs to ship."""

    @operation("estimateShipping", stores=False)
    @blueprint.arguments(schema_of(ShippingQuestion)(), example=SHIPPING_ESTIMATE)
    @blueprint.response(200, schema_of(ShippingStatement))
    def post(self, question: ShippingQuestion) -> flask.Response:
        """The cheapest parcels for some pieces, why they are charged as they are, and the price; nothing is stored."""
        return answer(shipping.estimate_shipping(database(), workshop(), question))
