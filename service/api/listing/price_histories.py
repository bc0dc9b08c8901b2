"""The price history of a listing, as pages or as a chart."""

from datetime import date
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, LINK
from service.api.http.answers import tagged
from service.api.http.auth import workshop, workspace
from service.api.http.forms import IMAGES, JSON
from service.api.http.operations import current, operation
from service.api.http.paging import PageQuery, page, position
from service.api.http.remembered import remembered, state_tag
from service.api.registering.registered import listed
from service.documents.drawing.drawing import ImageForm
from service.documents.listing.price_history_chart import MOST_DRAWN, price_history_chart
from service.domain.listing.price_history import PriceHistoryEntry
from service.domain.values.declared import declared
from service.encoding import encoded
from service.workflows.listing import repricing_records

blueprint = Blueprint(
    "price-histories",
    __name__,
    tag="repricings",
    url_prefix="/v1/listings",
    description="Prices of a listing over time.",
)


@declared
class HistoryQuery(PageQuery):
    """Which prices of a listing.

    Attributes:
        as_of: prices of later days are left out; today in the workshop's time zone if left out.
    """

    as_of: date | None = None


@blueprint.route("/<code>/price-history")
class PriceHistory(MethodView):
    """The prices of a listing over time."""

    @operation("getPriceHistory", documents=IMAGES)
    @blueprint.arguments(schema_of(HistoryQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(PriceHistoryEntry), "PriceHistory", {}), headers=LINK | ETAG)
    def get(self, query: HistoryQuery, code: str) -> flask.Response:
        """Every price set on a listing, applied last first.

        A picture shows the newest 1,000 over time, whatever `limit` and `cursor`.
        """
        before, as_of = position(query, UUID), query.as_of or workshop().today()
        if current().media_type != JSON:
            return _history_drawn(code, as_of)
        found = page(
            query,
            lambda limit: repricing_records.price_history(workspace(), code, as_of, before=before, limit=limit),
            lambda entry: [str(entry.repricing)],
            encoded,
        )
        return tagged(state_tag(workshop()), lambda: found)


@remembered
def _history_drawn(listing: str, as_of: date) -> flask.Response:
    """The price history as a chart."""
    drawn_in, media_type = workshop(), current().media_type
    entries = repricing_records.price_history(workspace(), listing, as_of, before=None, limit=MOST_DRAWN + 1)
    image = price_history_chart(
        listing, entries, ImageForm(media_type), locale=drawn_in.locale, time_zone=drawn_in.time_zone, as_of=as_of
    )
    return flask.Response(image, content_type=media_type)
