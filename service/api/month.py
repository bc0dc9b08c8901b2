"""Whether a month pays, where it breaks even, and what limits it."""

from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Any

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import MONTH
from service.api.contract.rates_field import MAX_RATES, facts_field, rates_field
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import workshop, workspace
from service.api.http.forms import HTML, IMAGES, JSON
from service.api.http.operations import current, operation
from service.documents.drawing.drawing import ImageForm
from service.documents.month.month_chart import month_chart
from service.documents.month.month_page import month_page
from service.domain.month.plan import MonthPlan
from service.domain.month.statement import MonthStatement
from service.domain.values.declared import Length, declared
from service.workflows import month
from service.workflows.costing.supposing import Supposed


@declared
class MonthQuestion(MonthPlan):
    """What is asked about a month, at which what-if rates and facts.

    Attributes:
        rates: terms by resource, for instance "tariffs/grid", in place of those in force; for this answer only.
        facts: facts by registered thing, for instance "machines/press", in place of those registered; likewise.
    """

    rates: Annotated[Mapping[str, Any], Length(at_most=MAX_RATES)] = field(default_factory=dict)
    facts: Annotated[Mapping[str, Any], Length(at_most=MAX_RATES)] = field(default_factory=dict)

    @property
    def supposed(self) -> Supposed:
        return Supposed(rates=self.rates, facts=self.facts)


class MonthPlanSchema(schema_of(MonthPlan)):  # type: ignore[misc]
    """What is asked about a month, at which what-if rates and facts."""

    declared_class = MonthQuestion
    rates = rates_field()
    facts = facts_field()


blueprint = Blueprint(
    "month", __name__, url_prefix="/v1", description="Whether a month pays, where it breaks even, and what limits it."
)


@blueprint.route("/break-even")
class BreakEven(MethodView):
    """Whether a month pays, where it breaks even, and what limits it."""

    @operation("planMonth", documents=(HTML, *IMAGES), stores=False, is_heavy=True, refuses=(409,))
    @blueprint.arguments(MonthPlanSchema(), example=MONTH)
    @blueprint.response(200, schema_of(MonthStatement))
    def post(self, question: MonthQuestion) -> flask.Response:
        """What a month's plan earns, where it breaks even, what limits it, and which mix would earn most.

        Prices and costs are those of the products' own sheets on the day, or what they would be at other rates and
        facts. A page is a report with a chart, for screen and paper; a picture is the chart alone. Nothing is stored.
        """
        statement, locale = month.plan_month(workspace(), question, question.supposed), workshop().locale
        media_type = current().media_type
        if media_type == JSON:
            return answer(statement)
        if media_type == HTML:
            return flask.Response(month_page(statement, locale), content_type=f"{HTML}; charset=utf-8")
        image = month_chart(statement, ImageForm(media_type), locale=locale)
        return flask.Response(image, content_type=media_type)
