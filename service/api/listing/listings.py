"""Price sheets of listings, and the price list for other programs."""

from datetime import date

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer, tagged
from service.api.http.auth import workshop, workspace
from service.api.http.forms import CSV, JSON_LD
from service.api.http.operations import current, operation
from service.api.http.remembered import remembered, state_tag
from service.api.http.spooling import whole
from service.documents.listing.price_list import price_list_csv, price_list_json_ld
from service.domain.values.declared import Code, declared
from service.workflows.listing import listings
from service.workflows.listing.listings import ListingQuestion, ListingSheet
from service.workflows.listing.price_list import ListedPrice, price_list

blueprint = Blueprint("listings-sheets", __name__, url_prefix="/v1", description="Prices of listings.")

_WRITERS = {CSV: price_list_csv, JSON_LD: price_list_json_ld}


@declared
class PriceListQuery:
    """Which prices.

    Attributes:
        as_of: the day of the rates and of the prices in force; today in the workshop's time zone if left out.
        channel: code of a sales channel, for its listings only.
        prices: asked: the price that each policy gives on the day; in_force: the price in force on the day, and what is
            kept of it then.
    """

    as_of: date | None = None
    channel: Code | None = None
    prices: ListedPrice = ListedPrice.ASKED


@blueprint.route("/listings/<code>/price-sheet")
class ListingPriceSheet(MethodView):
    """What to ask on a listing."""

    @remembered
    @operation("getListingPriceSheet", refuses=(409,))
    @blueprint.arguments(schema_of(ListingQuestion)(), location="query")
    @blueprint.response(200, schema_of(ListingSheet), headers=ETAG)
    def get(self, question: ListingQuestion, code: str) -> flask.Response:
        """What to ask for a piece on a listing, or what is kept at a price."""
        return answer(listings.price_listing(workspace(), code, question))


@blueprint.route("/price-list")
class PriceList(MethodView):
    """The price list."""

    @operation("getPriceList", forms=(CSV,), documents=(JSON_LD,), is_long=True)
    @blueprint.arguments(schema_of(PriceListQuery)(), location="query")
    @blueprint.response(200, {"type": "string"}, content_type=CSV, headers=ETAG)
    def get(self, query: PriceListQuery) -> flask.Response:
        """Every listing with its price, in one consistent state.

        CSV (RFC 4180) at this address. A listing that cannot be priced has the reason in place of a price; in JSON-LD
        it has no offer.
        """
        media_type = current().media_type
        entries = price_list(workspace(), query.as_of or workshop().today(), query.channel, query.prices)
        parameters = "; charset=utf-8; header=present" if media_type == CSV else ""
        return tagged(state_tag(workshop()), lambda: whole(_WRITERS[media_type](entries), media_type + parameters))
