"""Price sheets of listings, the price list, and shelf labels."""

from collections.abc import Iterator
from datetime import date
from itertools import islice

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG
from service.api.http.answers import answer, fonts, locale_for, tagged
from service.api.http.auth import workshop, workspace
from service.api.http.forms import CSV, HTML, JSON_LD, PDF
from service.api.http.operations import current, operation
from service.api.http.remembered import remembered, state_tag
from service.api.http.spooling import whole
from service.documents.listing.price_list import price_list_csv, price_list_json_ld
from service.documents.listing.price_list_page import LabelSheet, price_list_page, price_list_pdf, shelf_labels_pdf
from service.documents.listing.price_list_view import common_locale, price_list_view, shelf_labels_view
from service.domain.listing.price_list import PriceListEntry
from service.domain.values.declared import Code, declared
from service.domain.values.errors import TooComplexError
from service.domain.values.forms import LocaleCode
from service.workflows.listing import listings
from service.workflows.listing.listings import ListingQuestion, ListingSheet
from service.workflows.listing.price_list import ListedPrice, price_list
from service.workflows.workshop.letterhead import find_seller

blueprint = Blueprint(
    "listings-sheets",
    __name__,
    tag="prices",
    url_prefix="/v1",
    description="What to ask for what is listed: sheets, price lists and labels.",
)

_WRITERS = {CSV: price_list_csv, JSON_LD: price_list_json_ld}


@declared
class PriceListQuery:
    """Which prices.

    Attributes:
        as_of: the day of the rates and of the prices in force; today in the workshop's time zone if left out.
        channel: code of a sales channel, for its listings only.
        prices: asked: the price that each policy gives on the day; in_force: the price in force on the day, and what is
            kept of it then. If left out, in force on a page or PDF, which buyers read, else asked.
        locale: only listings for this CLDR locale, or, where it is a language alone, for any of its countries. A page
            or PDF is written in it; if left out, in the one locale of all its listings, or else in the workshop's.
    """

    as_of: date | None = None
    channel: Code | None = None
    prices: ListedPrice | None = None
    locale: LocaleCode | None = None

    def entries(self) -> Iterator[PriceListEntry]:
        """The listings that are asked for."""
        usual = ListedPrice.IN_FORCE if current().media_type in (HTML, PDF) else ListedPrice.ASKED
        return price_list(workspace(), self.day, self.channel, self.prices or usual, self.locale)

    @property
    def day(self) -> date:
        """The day of the prices."""
        return self.as_of or workshop().today()


@declared
class ShelfLabelsQuery(LabelSheet):
    """Which labels, and on which sheets.

    Attributes:
        as_of: the day of the prices; today in the workshop's time zone if left out.
        channel: code of a sales channel, for its listings only.
        prices: in_force: what buyers pay on the day, also if left out; asked: what the policies give.
        locale: only listings for this CLDR locale, or, where it is a language alone, for any of its countries; the
            labels are written in it, as a price list is.
    """

    as_of: date | None = None
    channel: Code | None = None
    prices: ListedPrice | None = None
    locale: LocaleCode | None = None

    @property
    def listed(self) -> PriceListQuery:
        """The listings that are asked for."""
        return PriceListQuery(as_of=self.as_of, channel=self.channel, prices=self.prices, locale=self.locale)


@blueprint.route("/listings/<code>/price-sheet")
class ListingPriceSheet(MethodView):
    """What to ask on a listing."""

    @remembered
    @operation("getListingPriceSheet", refuses=(409,))
    @blueprint.arguments(schema_of(ListingQuestion)(), location="query")
    @blueprint.response(200, schema_of(ListingSheet), headers=ETAG)
    def get(self, question: ListingQuestion, code: str) -> flask.Response:
        """What to ask for a piece, or unit, on a listing, or what is kept at a price.

        Every term between cost and price: fees, tax, shipping, currency, rounding. With `kept_at`, what is left at
        another price; with `discount_share`, what a discount does.
        """
        return answer(listings.price_listing(workspace(), code, question))


@blueprint.route("/price-list")
class PriceList(MethodView):
    """The price list."""

    @operation("getPriceList", forms=(CSV,), documents=(JSON_LD, HTML, PDF), is_long=True)
    @blueprint.arguments(schema_of(PriceListQuery)(), location="query")
    @blueprint.response(200, {"type": "string"}, content_type=CSV, headers=ETAG)
    def get(self, query: PriceListQuery) -> flask.Response:
        """Every listing with its price, in one consistent state.

        CSV (RFC 4180) at this address. A listing that cannot be priced has the reason in place of a price; in JSON-LD
        it has no offer. A page or PDF is for buyers, by channel, with prices in cash where cash is rounded.
        """
        media_type = current().media_type
        if media_type in (HTML, PDF):
            return tagged(state_tag(workshop()), lambda: _written(query, media_type))
        parameters = "; charset=utf-8; header=present" if media_type == CSV else ""
        seller, _ = find_seller(workspace())
        parts = _WRITERS[media_type](query.entries(), seller)
        return tagged(state_tag(workshop()), lambda: whole(parts, media_type + parameters))


MAX_ON_PAPER, MAX_LABELS = 2_000, 500
"""The most listings on a price list, and the most labels of one answer: some 90 pages, and 25 sheets."""


def _at_most(most: int, query: PriceListQuery, what: str) -> list[PriceListEntry]:
    """The entries; raises TooComplexError if they are more."""
    entries = list(islice(query.entries(), most + 1))
    if len(entries) > most:
        raise TooComplexError(what, most, remedy="ask for those of a channel or a locale")
    return entries


def _locale(query: PriceListQuery, entries: list[PriceListEntry], media_type: str) -> str:
    return locale_for(media_type, query.locale or common_locale(entries) or workshop().locale)


def _written(query: PriceListQuery, media_type: str) -> flask.Response:
    entries = _at_most(MAX_ON_PAPER, query, "listings on one paper")
    locale = _locale(query, entries, media_type)
    view = price_list_view(entries, seller=workshop().name, locale=locale, as_of=query.day)
    document = price_list_page(view) if media_type == HTML else price_list_pdf(view, fonts())
    return flask.Response(document, content_type=media_type)


@blueprint.route("/shelf-labels")
class ShelfLabels(MethodView):
    """Shelf labels."""

    @operation("getShelfLabels", forms=(), documents=(PDF,), is_long=True)
    @blueprint.arguments(schema_of(ShelfLabelsQuery)(), location="query")
    @blueprint.response(200, {"type": "string"}, headers=ETAG)
    def get(self, query: ShelfLabelsQuery) -> flask.Response:
        """A sheet of labels with name, price and unit of each listing.

        The price is what the buyer pays, tax included, with the price in cash where cash is rounded. A listing without
        a price has no label; the last page names it, and why.
        """
        return tagged(state_tag(workshop()), lambda: _labels(query))


def _labels(query: ShelfLabelsQuery) -> flask.Response:
    entries = _at_most(MAX_LABELS // query.copies, query.listed, f"listings to label, {query.copies} times each")
    locale = _locale(query.listed, entries, PDF)
    view = shelf_labels_view(entries, seller=workshop().name, locale=locale, as_of=query.listed.day)
    return flask.Response(shelf_labels_pdf(view, query, fonts()), content_type=PDF)
