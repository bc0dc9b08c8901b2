"""Rates in force on a day, and the exchange rates amounts are converted with."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Annotated

import flask
from flask.views import MethodView

from service.api.answers import answer, precondition
from service.api.auth import database, workshop
from service.api.blueprints import Blueprint, documented
from service.api.examples import EXCHANGE_RATES
from service.api.paging import PageQuery, page, position
from service.api.registered import CONDITIONS, DAY, ETAG, IF_CHANGED, LINK, LOCATION, checked_day, listed, saved
from service.api.schemas import field_of, schema_of
from service.domain.declared import CurrencyCode, Length, Positive, declared
from service.domain.exchange import MANUAL, DayRates
from service.encoding import encoded
from service.workflows import rate_card, registering

blueprint = Blueprint("rates", __name__, url_prefix="/v1", description="Rates across the whole workshop.")


@declared
class DayQuery:
    """On which day.

    Attributes:
        as_of: the day whose rates are shown; today in the workshop's time zone if left out.
    """

    as_of: date | None = None


@declared
class EnteredRates:
    """Exchange rates entered by hand for one day.

    Attributes:
        base: the currency of which one unit is worth the rates, for instance "EUR".
        rates: units of each currency for one unit of the base, as published.
    """

    base: CurrencyCode
    rates: Annotated[Mapping[CurrencyCode, Positive], Length(at_least=1, at_most=400)]


@blueprint.route("/rate-card")
class RateCard(MethodView):
    """The rate card."""

    @documented("getRateCard", 406, 422)
    @blueprint.arguments(schema_of(DayQuery)(), location="query")
    @blueprint.response(200, schema_of(rate_card.StatedRateCard))
    def get(self, query: DayQuery) -> flask.Response:
        """Every rate in force on a day, down to the amounts a unit rate is made of."""
        return answer(rate_card.rate_card_on(database(), workshop(), query.as_of or workshop().today()))


_PAGE = listed(
    schema_of(EnteredRates),
    "ExchangeRates",
    {
        "source": field_of(str, required=True, description='Who published them; "manual" if entered by hand.'),
        "published_on": field_of(date, required=True, description="The day they hold from."),
    },
)


@blueprint.route("/exchange-rates")
class ExchangeRates(MethodView):
    """All exchange rates."""

    @documented("listExchangeRates", 406, 422)
    @blueprint.arguments(schema_of(PageQuery)(), location="query")
    @blueprint.response(200, _PAGE, headers=LINK)
    def get(self, query: PageQuery) -> flask.Response:
        """Exchange rates, newest day first."""
        after = position(query)

        def load(limit: int) -> list[DayRates]:
            before = (date.fromisoformat(after[0]), after[1]) if after else None
            return registering.list_exchange_rates(database(), workshop(), before=before, limit=limit)

        return page(query, load, lambda day: [day.published_on.isoformat(), day.source], encoded)


@blueprint.route("/exchange-rates/<day>", parameters=[DAY])
class ExchangeRatesOfDay(MethodView):
    """Exchange rates of one day."""

    @documented("getExchangeRates", 304, 404, 406, 412, 422, conditions=IF_CHANGED)
    @blueprint.response(200, schema_of(EnteredRates), headers=ETAG)
    def get(self, day: str) -> flask.Response:
        """The exchange rates entered by hand for a day."""
        found = registering.find_exchange_rates(database(), workshop(), checked_day(day))
        return answer(_entered(found.day), revision=found.revision)

    @documented("putExchangeRates", 400, 406, 412, 413, 415, 422, conditions=CONDITIONS)
    @blueprint.arguments(schema_of(EnteredRates)(), example=EXCHANGE_RATES)
    @blueprint.response(200, schema_of(EnteredRates), headers=ETAG, description="They were replaced, or are unchanged.")
    @blueprint.alt_response(
        201, schema=schema_of(EnteredRates), headers={**ETAG, **LOCATION}, description="They are registered now."
    )
    def put(self, entered: EnteredRates, day: str) -> flask.Response:
        """Enter exchange rates by hand for a day; the same again changes nothing."""
        rates = DayRates(source=MANUAL, base=entered.base, published_on=checked_day(day), rates=entered.rates)
        done = registering.put_exchange_rates(database(), workshop(), rates, precondition())
        return saved(replace(done, state=_entered(done.state)))


def _entered(day: DayRates) -> EnteredRates:
    return EnteredRates(base=day.base, rates=day.rates)
