"""Exchange rates: entered, imported, fetched, held back and confirmed; and conversion of an amount."""

import logging
from collections.abc import Callable
from datetime import date
from typing import Any

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import EXCHANGE_RATES, EXCHANGE_RATES_FILE, REFRESH
from service.api.contract.schemas import field_of, schema_of
from service.api.contract.shared_parts import CREATE_ONLY, ETAG, IF_MATCH, LINK, LOCATION
from service.api.currency.exchange_file import read_days
from service.api.currency.questions import ConversionQuery, HeldQuery, ImportQuery, RefreshRequest, SourceQuery
from service.api.http.answers import answer, is_expected, may_be_put, nothing, tagged
from service.api.http.auth import workshop, workspace
from service.api.http.forms import CSV
from service.api.http.operations import current, operation
from service.api.http.paging import PageQuery, page, position
from service.api.http.problems import ProblemError
from service.api.http.reading import body_of
from service.api.registering.registered import listed, saved
from service.domain.currency.exchange_rates import MANUAL, DayRates, EnteredRates
from service.domain.currency.jump_check import HeldDay
from service.domain.values.errors import InvalidValuesError
from service.domain.values.money import Money, currency_problems_on
from service.encoding import encoded
from service.feeds.reference_rates import ReferenceRates
from service.workflows import plausibility
from service.workflows.currency import exchange
from service.workflows.currency import feed as fetching
from service.workflows.errors import FeedFailedError

_logger = logging.getLogger("pugmill")
blueprint = Blueprint(
    "exchange-rates",
    __name__,
    url_prefix="/v1/exchange-rates",
    description="What other currencies are worth: entered, imported or fetched, and used from their day on.",
)


def _feed() -> ReferenceRates:
    found: ReferenceRates = flask.current_app.extensions["pugmill.feed"]
    return found


_PAGE = listed(
    schema_of(EnteredRates),
    "ExchangeRates",
    {
        "source": field_of(str, required=True, description='Who published them; "manual" if entered by hand.'),
        "published_on": field_of(date, required=True, description="The day they are valid from."),
    },
)


def _day_and_source(published_on: str, source: str) -> tuple[date, str]:
    return date.fromisoformat(published_on), source


def _page_of(query: PageQuery, load: Callable[..., list[Any]], day: Callable[[Any], DayRates]) -> flask.Response:
    """A page, newest day first and by source within a day."""
    before = position(query, _day_and_source)
    return page(
        query,
        lambda limit: load(workspace(), before=before, limit=limit),
        lambda item: [day(item).published_on.isoformat(), day(item).source],
        encoded,
    )


@blueprint.route("")
class ExchangeRates(MethodView):
    """All exchange rates."""

    @operation("listExchangeRates")
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, _PAGE, headers=LINK)
    def get(self, query: PageQuery) -> flask.Response:
        """Exchange rates in use, newest day first.

        To see which days there are, and from whom.
        """
        return _page_of(query, exchange.list_exchange_rates, lambda day: day)


@blueprint.route("/<day>")
class ExchangeRatesOfDay(MethodView):
    """Exchange rates of one day."""

    @operation("getExchangeRates")
    @blueprint.arguments(schema_of(SourceQuery)(), location="query")
    @blueprint.response(200, schema_of(EnteredRates), headers=ETAG)
    def get(self, query: SourceQuery, day: date) -> flask.Response:
        """A source's exchange rates for a day; those entered by hand if no source is named.

        To check a figure that was converted: a sheet names the day and the source that it used.
        """
        found = exchange.find_exchange_rates(workspace(), day, query.source)
        return answer(exchange.told(found.day), revision=found.revision)

    @operation("putExchangeRates", headers=(IF_MATCH, CREATE_ONLY), added={"published_on": "{day}", "source": MANUAL})
    @blueprint.arguments(schema_of(EnteredRates)(), example=EXCHANGE_RATES)
    @blueprint.response(200, schema_of(EnteredRates), headers=ETAG, description="Replaced, or unchanged.")
    @blueprint.alt_response(
        201, schema=schema_of(EnteredRates), headers={**ETAG, **LOCATION}, description="Registered."
    )
    def put(self, entered: EnteredRates, day: date) -> flask.Response:
        """Enter a day's exchange rates by hand; repeating it changes nothing.

        Needed before anything in another currency is costed, unless rates are imported or fetched.
        """
        rates = DayRates(source=MANUAL, base=entered.base, published_on=day, rates=entered.rates)
        return saved(plausibility.put_exchange_rates(workspace(), rates, may_be_put))

    @operation("withdrawExchangeRates", headers=(IF_MATCH,))
    @blueprint.arguments(schema_of(SourceQuery)(), location="query")
    @blueprint.response(204)
    def delete(self, query: SourceQuery, day: date) -> flask.Response:
        """Withdraw a day's exchange rates entered by mistake; those of the day before stay in force.

        Quotations and prices in force stay as they are. The example is what the last example of PUT enters.
        """
        exchange.withdraw_exchange_rates(workspace(), day, query.source, may_be_put)
        return nothing()


@blueprint.route("/import")
class Import(MethodView):
    """A file of exchange rates."""

    @operation("importExchangeRates")
    @blueprint.doc(
        requestBody={
            "required": True,
            "description": (
                "RFC 4180 in UTF-8, one rate a line. The header names the columns, in any order: `day` (YYYY-MM-DD), "
                "`base` (the base currency, one for each day), `currency`, `rate` (units of the currency for one of "
                "the base, in plain notation). Currencies that have gone out of use since then are accepted."
            ),
            "content": {CSV: {"schema": {"type": "string"}, "example": EXCHANGE_RATES_FILE}},
        }
    )
    @blueprint.arguments(schema_of(ImportQuery)(), location="query")
    @blueprint.response(200, schema_of(exchange.Import))
    def post(self, query: ImportQuery) -> flask.Response:
        """Import a CSV file of one source's exchange rates: all of it, or nothing if a line is wrong.

        A day already stored is replaced as a whole; repeating the import changes nothing. Days with jumps are not held
        back, because whoever imports a file can check it.
        """
        charset = flask.request.mimetype_params.get("charset", "utf-8")
        if charset.lower() != "utf-8":
            raise ProblemError(415, "unsupported-media-type", "send the file in UTF-8")
        days = read_days(body_of(flask.request, CSV), query.source)
        return answer(exchange.import_exchange_rates(workspace(), days))


@blueprint.route("/refresh")
class Refresh(MethodView):
    """The feed."""

    @operation("refreshExchangeRates", is_long=True, refuses=(502, 504))
    @blueprint.arguments(schema_of(RefreshRequest)(), examples=REFRESH)
    @blueprint.response(200, schema_of(fetching.Refreshing))
    def post(self, wanted: RefreshRequest) -> flask.Response:
        """Fetch the European Central Bank's reference rates, published on working days in the afternoon.

        A day on which a rate differs by more than 20 % from the last one in use is held back until it is confirmed.
        In a history, a jump is accepted if the next rate confirms it. If the feed fails, nothing is changed.
        """
        try:
            done = fetching.refresh_exchange_rates(workspace(), _feed(), wanted.span)
        except FeedFailedError as error:
            current().feed_result = error.fault
            _logger.warning("%s", error, extra={"fault": error.fault})
            raise
        current().feed_result = "held" if done.held else "good"
        return answer(done)


@blueprint.route("/held")
class Held(MethodView):
    """Days held back."""

    @operation("listHeldExchangeRates")
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(HeldDay), "HeldExchangeRates", {}), headers=LINK)
    def get(self, query: PageQuery) -> flask.Response:
        """Days held back until they are confirmed, and why; newest first.

        A day whose rates jump is not used until somebody has looked at it: confirm it, or discard it.
        """
        return _page_of(query, fetching.list_held_exchange_rates, lambda held: held.day)


@blueprint.route("/<day>/confirm")
class Confirm(MethodView):
    """Confirming a day."""

    @operation("confirmExchangeRates", headers=(IF_MATCH,))
    @blueprint.arguments(schema_of(HeldQuery)(), location="query")
    @blueprint.response(200, schema_of(fetching.Confirmation))
    def post(self, query: HeldQuery, day: date) -> flask.Response:
        """Put a held day in use, and the days after it that then no longer jump.

        When the rates are right and the world has changed.
        """
        return answer(fetching.confirm_exchange_rates(workspace(), day, query.source, is_expected))


@blueprint.route("/<day>/held")
class HeldDayOfSource(MethodView):
    """One day held back."""

    @operation("getHeldExchangeRates")
    @blueprint.arguments(schema_of(HeldQuery)(), location="query")
    @blueprint.response(200, schema_of(HeldDay))
    def get(self, query: HeldQuery, day: date) -> flask.Response:
        """A day held back until it is confirmed, and why.

        It names each currency that jumped, from what to what.
        """
        found = fetching.find_held_exchange_rates(workspace(), day, query.source)
        return tagged(fetching.tag_of(found), lambda: answer(found))

    @operation("dropHeldExchangeRates", headers=(IF_MATCH,))
    @blueprint.arguments(schema_of(HeldQuery)(), location="query")
    @blueprint.response(204)
    def delete(self, query: HeldQuery, day: date) -> flask.Response:
        """Discard a day that was held back.

        When the rates are wrong; those of the days before stay in use.
        """
        fetching.drop_held_exchange_rates(workspace(), day, query.source, is_expected)
        return nothing()


@blueprint.route("/conversion")
class Conversion(MethodView):
    """An amount in another currency."""

    @operation("convertAmount")
    @blueprint.arguments(schema_of(ConversionQuery)(), location="query")
    @blueprint.response(200, schema_of(exchange.Conversion))
    def get(self, query: ConversionQuery) -> flask.Response:
        """Convert an amount, rounded once to the minor unit; with the rates, their date and source.

        To check by hand what a sheet converts.
        """
        as_of = query.as_of or workshop().today()
        if problems := list(currency_problems_on(query, as_of)):
            raise InvalidValuesError(problems)
        amount = Money(amount=query.amount, currency=query.currency)
        return answer(exchange.convert(workspace(), amount, query.to, as_of))
