"""Every rate in force on a day."""

from datetime import date

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import workshop, workspace
from service.api.http.operations import operation
from service.domain.values.declared import declared
from service.workflows.costing import rate_card

blueprint = Blueprint("rates", __name__, tag="costs", url_prefix="/v1", description="Rates across the whole workshop.")


@declared
class DayQuery:
    """Which day.

    Attributes:
        as_of: the day whose rates are shown; today in the workshop's time zone if left out.
    """

    as_of: date | None = None


@blueprint.route("/rate-card")
class RateCard(MethodView):
    """The rate card."""

    @operation("getRateCard")
    @blueprint.arguments(schema_of(DayQuery)(), location="query")
    @blueprint.response(200, schema_of(rate_card.StatedRateCard))
    def get(self, query: DayQuery) -> flask.Response:
        """Every rate in force on a day, with the components of each unit rate.

        To see what an hour, a kilogram or a kilowatt-hour costs, and of what that consists.
        """
        return answer(rate_card.rate_card_on(workspace(), query.as_of or workshop().today()))
