"""When an order can be ready, and how full the coming weeks are."""

from datetime import date
from typing import Annotated

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer
from service.api.http.auth import workshop, workspace
from service.api.http.operations import operation
from service.api.http.remembered import remembered
from service.domain.scheduling.lead_time import LeadTime
from service.domain.values.declared import Bounds, declared
from service.domain.values.units import SoldQuantity
from service.workflows import lead_times

blueprint = Blueprint(
    "lead-times",
    __name__,
    url_prefix="/v1",
    description="When an order can be ready, and how full the coming weeks are.",
)


@declared
class LeadTimeQuery:
    """Which batch.

    Attributes:
        quantity: good pieces, or units of the product, in the batch.
        starting_on: the day it is ordered; today in the workshop's time zone if left out.
        is_rush: whether it is made before the orders already promised.
    """

    quantity: SoldQuantity
    starting_on: date | None = None
    is_rush: bool = False


@declared
class CapacityQuery:
    """Which weeks.

    Attributes:
        starting_on: the first day; today in the workshop's time zone if left out.
        weeks: number of weeks.
    """

    starting_on: date | None = None
    weeks: Annotated[int, Bounds(at_least=1, at_most=104)] = 4


@blueprint.route("/products/<code>/lead-time")
class ProductLeadTime(MethodView):
    """When a batch can be ready."""

    @remembered
    @operation("getLeadTime", refuses=(409,))
    @blueprint.arguments(schema_of(LeadTimeQuery)(), location="query")
    @blueprint.response(200, schema_of(LeadTime), headers=ETAG)
    def get(self, query: LeadTimeQuery, code: str) -> flask.Response:
        """When a batch can be ready after the orders already promised, and which resource is the bottleneck.

        Before you promise a customer a day.
        """
        product, day = code, query.starting_on or workshop().today()
        return answer(lead_times.lead_time_of(workspace(), product, query.quantity, day, is_rush=query.is_rush))


@blueprint.route("/capacity")
class WorkshopCapacity(MethodView):
    """How full the coming weeks are."""

    @remembered
    @operation("getCapacity")
    @blueprint.arguments(schema_of(CapacityQuery)(), location="query")
    @blueprint.response(200, schema_of(lead_times.Capacity), headers=ETAG)
    def get(self, query: CapacityQuery) -> flask.Response:
        """Available and promised minutes of every machine and labour grade in the coming weeks.

        To see whether there is work for the next weeks, and where there is too much.
        """
        return answer(lead_times.capacity(workspace(), query.starting_on or workshop().today(), query.weeks))
