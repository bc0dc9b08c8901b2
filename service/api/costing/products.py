"""What a batch of a product consumes and costs."""

from collections.abc import Iterator, Mapping
from dataclasses import field
from datetime import date
from typing import Annotated, Any

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import WHAT_IF
from service.api.contract.rates_field import MAX_RATES, facts_field, rates_field
from service.api.contract.schemas import DeclaredSchema, field_of, schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer, fonts, locale_for
from service.api.http.auth import workshop, workspace
from service.api.http.forms import HTML, IMAGES, JSON, PDF
from service.api.http.operations import current, operation
from service.api.http.remembered import remembered
from service.documents.costing.cost_chart import cost_chart
from service.documents.costing.cost_sheet_page import cost_sheet_page, cost_sheet_pdf
from service.documents.costing.cost_sheet_view import cost_sheet_view
from service.documents.drawing.drawing import ImageForm
from service.domain.costing.cost_statement import CostStatement
from service.domain.explaining.cost_workings import CostWorkings
from service.domain.selling.base_quantity import sold_together_problems
from service.domain.values.declared import Length, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.units import SoldQuantity
from service.workflows.costing import cost_sheets
from service.workflows.costing.cost_sheets import Batch, StatedBill
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed
from service.workflows.costing.workings import WorkedCost, work_out_cost

blueprint = Blueprint(
    "products-sheets",
    __name__,
    tag="costs",
    url_prefix="/v1/products",
    description="What a batch consumes, what it costs, and what to ask for it; also as papers and pictures.",
)


@declared
class BatchQuery:
    """Which batch.

    Attributes:
        quantity: good pieces in the batch, or units of the product.
    """

    quantity: SoldQuantity


@declared
class CostQuery:
    """Which batch, on which day.

    Attributes:
        quantity: good pieces in the batch, or units of the product.
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        pieces_per_order: what is ordered together, for overhead that is spread over orders; all of it if left out.
    """

    quantity: SoldQuantity
    as_of: date | None = None
    pieces_per_order: SoldQuantity | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        return sold_together_problems(1, self.quantity, "quantity", self.pieces_per_order)

    def batch(self, product: str) -> Batch:
        """The batch of a product."""
        return Batch(product, self.quantity, pieces_per_order=self.pieces_per_order)


SHEET_DOCUMENTS = (HTML, PDF, *IMAGES)


@declared
class WhatIfQuestion:
    """Which batch, on which day, at which what-if rates and facts.

    Attributes:
        quantity: good pieces in the batch.
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        pieces_per_order: what is ordered together, for overhead that is spread over orders; all of it if left out.
        rates: terms by resource, for instance "tariffs/grid", in place of those in force; for this answer only.
        facts: facts by registered thing, for instance "machines/press", in place of those registered; likewise.
    """

    quantity: SoldQuantity
    as_of: date | None = None
    pieces_per_order: SoldQuantity | None = None
    rates: Annotated[Mapping[str, Any], Length(at_most=MAX_RATES)] = field(default_factory=dict)
    facts: Annotated[Mapping[str, Any], Length(at_most=MAX_RATES)] = field(default_factory=dict)

    def problems(self) -> Iterator[InvalidValueError]:
        if not self.rates and not self.facts:
            yield InvalidValueError(("rates",), "say what to suppose (rates or facts), or ask with GET")
        yield from sold_together_problems(1, self.quantity, "quantity", self.pieces_per_order)

    def batch(self, product: str) -> Batch:
        """The batch of a product."""
        return Batch(product, self.quantity, pieces_per_order=self.pieces_per_order)

    @property
    def supposed(self) -> Supposed:
        return Supposed(rates=self.rates, facts=self.facts)


class WhatIfSchema(DeclaredSchema):
    """Which batch, on which day, at which what-if rates and facts."""

    declared_class = WhatIfQuestion
    quantity = field_of(SoldQuantity, required=True, description="Good pieces in the batch.")
    as_of = field_of(date | None, description="The day whose rates are used; today if left out.")
    pieces_per_order = field_of(SoldQuantity | None, description="What is ordered together; all of it if left out.")
    rates = rates_field()
    facts = facts_field()


@blueprint.route("/<code>/bill-of-resources")
class BillOfResources(MethodView):
    """What a batch consumes."""

    @operation("getBillOfResources", refuses=(409,))
    @blueprint.arguments(schema_of(BatchQuery)(), location="query")
    @blueprint.response(200, schema_of(StatedBill))
    def get(self, query: BatchQuery, code: str) -> flask.Response:
        """What a batch consumes, in physical units.

        Kilograms, minutes, kilowatt-hours, shots: the same at any price. To see whether the machines are set up right.
        """
        return answer(cost_sheets.bill_of_product(workspace(), code, query.quantity))


@blueprint.route("/<code>/cost-sheet")
class CostSheet(MethodView):
    """What a batch costs."""

    @remembered
    @operation("getCostSheet", documents=SHEET_DOCUMENTS, refuses=(409,))
    @blueprint.arguments(schema_of(CostQuery)(), location="query")
    @blueprint.response(200, schema_of(CostStatement), headers=ETAG)
    def get(self, query: CostQuery, code: str) -> flask.Response:
        """What a batch costs on a day, line by line.

        A page or PDF has every formula written out; a picture shows what the cost of a piece consists of.
        """
        return _shown(query.batch(code), query.as_of)

    @operation("supposeCostSheet", documents=SHEET_DOCUMENTS, stores=False, refuses=(409,))
    @blueprint.arguments(WhatIfSchema(), example=WHAT_IF)
    @blueprint.response(200, schema_of(CostStatement))
    def post(self, question: WhatIfQuestion, code: str) -> flask.Response:
        """What a batch would cost at other rates, or made otherwise.

        Nothing is stored.
        """
        return _shown(question.batch(code), question.as_of, question.supposed)


def _shown(batch: Batch, as_of: date | None, supposed: Supposed = NOTHING_SUPPOSED) -> flask.Response:
    media_type = current().media_type
    asked = workspace(), batch, as_of or workshop().today(), supposed
    if media_type in (HTML, PDF):
        return _written(work_out_cost(*asked), media_type)
    statement = cost_sheets.cost_product(*asked)
    if media_type == JSON:
        return answer(statement)
    image = cost_chart(statement, ImageForm(media_type), locale=workshop().locale)
    return flask.Response(image, content_type=media_type)


def _written(worked: WorkedCost, media_type: str) -> flask.Response:
    locale = locale_for(media_type, workshop().locale)
    view = cost_sheet_view(worked.statement, worked.workings, seller=workshop().name, locale=locale)
    document = cost_sheet_page(view) if media_type == HTML else cost_sheet_pdf(view, fonts())
    return flask.Response(document, content_type=media_type)


@blueprint.route("/<code>/cost-sheet/workings")
class Workings(MethodView):
    """The workings of a cost sheet."""

    @remembered
    @operation("getCostWorkings", refuses=(409,))
    @blueprint.arguments(schema_of(CostQuery)(), location="query")
    @blueprint.response(200, schema_of(CostWorkings), headers=ETAG)
    def get(self, query: CostQuery, code: str) -> flask.Response:
        """Every figure of a cost sheet with its formula, to check with a pocket calculator.

        To find out where a figure comes from, step by step; each result is exact to the last digit shown.
        """
        as_of = query.as_of or workshop().today()
        worked = work_out_cost(workspace(), query.batch(code), as_of)
        return answer(worked.workings)

    @operation("supposeCostWorkings", stores=False, refuses=(409,))
    @blueprint.arguments(WhatIfSchema(), example=WHAT_IF)
    @blueprint.response(200, schema_of(CostWorkings))
    def post(self, question: WhatIfQuestion, code: str) -> flask.Response:
        """Every figure with its formula, at other rates, or made otherwise; nothing is stored.

        To see which step a change of a rate or of a machine goes through.
        """
        as_of = question.as_of or workshop().today()
        worked = work_out_cost(workspace(), question.batch(code), as_of, question.supposed)
        return answer(worked.workings)
