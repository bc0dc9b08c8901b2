"""Sales channels over HTTP: invalid channels and queries are refused with a name and a remedy, and store nothing."""

from typing import Any

import flask
import pytest

from tests.api.outside import parameters, pointers, refused
from tests.api.places import DAY
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.builders import channel, channel_rate, fee
from tests.support.contract import Contract

CHANNEL, RATE = "channels/quay-market", "channels/quay-market/rates/2026-02-01"
TODAY = "2026-11-25"


@pytest.fixture(scope="module")
def shop(app: flask.Flask, contract: Contract) -> Client:
    """A workshop for reads and refusals, with channels whose prices include tax and one whose prices do not."""
    made = make_client(app, contract)
    builders.register_workshop(made)
    made.register("channels/fair", channel(name="Spring Fair", display="tax_exclusive"), **{DAY: {}})
    made.register("channels/new", channel(name="Not yet open"))
    all_of_it = {"fees": [fee(share="0.5")]}
    made.register("channels/greedy", channel(name="Half and Half"), **{DAY: all_of_it})
    assert (
        made.put(f"exchange-rates/{TODAY}", {"base": "EUR", "rates": {"USD": "1.10", "JPY": "160"}}).status_code == 201
    )
    return made


def banded(*bands: dict[str, str], **changes: Any) -> dict[str, Any]:
    return channel_rate(fees=[{"name": "commission", "bands": list(bands), **changes}])


Case = tuple[str, Any, str, str]

BAD_CHANNELS: dict[str, Case] = {
    "no name": (CHANNEL, {}, "/name", "required"),
    "an unknown member": (CHANNEL, channel(commission="0.1"), "/commission", "not a member"),
    "an unknown display": (CHANNEL, channel(display="tax_free"), "/display", "tax_inclusive"),
    "a payout in no currency": (CHANNEL, channel(payout_currency="ZZZ"), "/payout_currency", "ISO 4217"),
    "a payout in an ended currency": (CHANNEL, channel(payout_currency="HRK"), "/payout_currency", "2023-01-14"),
    "terms in no currency": (RATE, channel_rate(currency="ZZZ"), "/currency", "ISO 4217"),
    "terms in an ended currency": (RATE, channel_rate(currency="HRK"), "/currency", "2023-01-14"),
    "amounts without a currency": (RATE, {"fees": channel_rate()["fees"]}, "/currency", "is required"),
    "a fee without a name": (RATE, channel_rate(fees=[{"share": "0.1"}]), "/fees/0/name", "required"),
    "an unknown member of a fee": (RATE, channel_rate(fees=[fee(rate="0.1")]), "/fees/0/rate", "not a member"),
    "a fee of 100 %": (RATE, channel_rate(fees=[fee(share="1")]), "/fees/0/share", "less than 1"),
    "a fee in per cent": (RATE, channel_rate(fees=[fee(share="6.5")]), "/fees/0/share", "less than 1"),
    "a negative fee": (RATE, channel_rate(fees=[fee(share="-0.1")]), "/fees/0/share", "0 or more"),
    "fees of 100 % together": (
        RATE,
        channel_rate(fees=[fee(share="0.6"), fee(name="other", share="0.4")]),
        "/fees",
        "all of the price",
    ),
    "a fee that is 100 % with its tax": (
        RATE,
        channel_rate(fees=[fee(share="0.9", tax_share="0.2")]),
        "/fees",
        "all of the price",
    ),
    "two fees of one name": (RATE, channel_rate(fees=[fee(), fee()]), "/fees", "same name"),
    "51 fees": (RATE, channel_rate(fees=[fee(name=str(each)) for each in range(51)]), "/fees", "0 to 50"),
    "an unknown base": (RATE, channel_rate(fees=[fee(base="profit")]), "/fees/0/base", "gross_price"),
    "a maximum below the minimum": (
        RATE,
        channel_rate(fees=[fee(minimum="2", maximum="1")]),
        "/fees/0/maximum",
        "below the minimum",
    ),
    "a first band that does not begin at 0": (RATE, banded({"above": "1"}), "/fees/0/bands/0/above", "must be 0"),
    "a gap between bands": (RATE, banded({"up_to": "10"}, {"above": "11"}), "/fees/0/bands/1/above", "must be 10"),
    "bands that overlap": (RATE, banded({"up_to": "10"}, {"above": "9"}), "/fees/0/bands/1/above", "must be 10"),
    "a band without room": (
        RATE,
        banded({"up_to": "10"}, {"above": "10", "up_to": "9"}, {"above": "9"}),
        "/fees/0/bands/1/up_to",
        "must be more than above, which is 10",
    ),
    "a last band with an end": (RATE, banded({"up_to": "10"}), "/fees/0/bands/0/up_to", "left out"),
    "an end left out in the middle": (RATE, banded({}, {"above": "10"}), "/fees/0/bands/0/up_to", "last entry only"),
    "a share besides bands": (RATE, banded({}, share="0.1"), "/fees/0/share", "leave it out"),
    "an amount besides bands": (RATE, banded({}, fixed="1"), "/fees/0/fixed", "leave it out"),
    "an amount of a portion": (
        RATE,
        banded({"fixed": "1"}, banding="portion"),
        "/fees/0/bands/0/fixed",
        "leave it out",
    ),
    "a spread of 100 %": (RATE, channel_rate(conversion_spread_share="1"), "/conversion_spread_share", "less than 1"),
    "an unknown payer": (RATE, channel_rate(shipping_paid_by="carrier"), "/shipping_paid_by", "seller"),
    "a charge where the seller pays": (RATE, channel_rate(shipping_charge="5"), "/shipping_charge", "leave it out"),
    "a negative charge": (
        RATE,
        channel_rate(shipping_paid_by="buyer", shipping_charge="-5"),
        "/shipping_charge",
        "0 or more",
    ),
}


@pytest.mark.parametrize(("path", "body", "pointer", "remedy"), BAD_CHANNELS.values(), ids=BAD_CHANNELS)
def test_an_invalid_channel_is_refused_by_its_member_with_the_remedy(
    shop: Client, path: str, body: Any, pointer: str, remedy: str
) -> None:
    response = refused(shop, "PUT", path, body, status=422)

    assert pointers(response) == [pointer]
    assert remedy in response.json["errors"][0]["detail"]


def test_terms_of_a_channel_that_is_not_registered_are_refused(shop: Client) -> None:
    refused(shop, "PUT", "channels/nobody/rates/2026-02-01", channel_rate(), status=404)


def price_sheet(query: str, policy: str = "target=margin&value=0.2") -> str:
    return f"products/sheet/price-sheet?quantity=20&as_of={TODAY}&{policy}&{query}"


BAD_QUESTIONS: dict[str, tuple[str, str, str]] = {
    "an unknown channel": ("channel=nobody", "channel", "register it first"),
    "a channel with an invalid code": ("channel=the%20market", "channel", "letters"),
    "an unknown currency": ("currency=ZZZ", "currency", "ISO 4217"),
    "a currency in small letters": ("currency=usd", "currency", "capital letters"),
    "an ended currency": ("currency=HRK", "currency", "2023-01-14"),
    "a currency without a minor unit": ("currency=XAU", "currency", "minor unit"),
    "another display than the channel's": ("channel=quay-market&display=tax_exclusive", "display", "tax_inclusive"),
    "another display than the other channel's": ("channel=fair&display=tax_inclusive", "display", "tax_exclusive"),
    "a discount of 100 %": ("discount_share=1", "discount_share", "less than 1"),
    "a discount in per cent": ("discount_share=10", "discount_share", "less than 1"),
    "a negative discount": ("discount_share=-0.1", "discount_share", "0 or more"),
    "a step finer than the currency of sale": ("currency=JPY&price_step=0.5", "price_step", "JPY"),
    "an ending finer than the currency of sale": ("currency=JPY&price_endings=0.9", "price_endings", "JPY"),
}


@pytest.mark.parametrize(("query", "name", "remedy"), BAD_QUESTIONS.values(), ids=BAD_QUESTIONS)
def test_an_invalid_query_is_refused_by_its_parameter_with_the_remedy(
    shop: Client, query: str, name: str, remedy: str
) -> None:
    response = refused(shop, "GET", price_sheet(query), status=422)

    assert parameters(response) == [name]
    assert remedy in response.json["errors"][0]["detail"]


def test_the_display_of_the_channel_may_be_given_too(shop: Client) -> None:
    for code, display in (("quay-market", "tax_inclusive"), ("fair", "tax_exclusive")):
        said, left_out = (shop.get(price_sheet(f"channel={code}{also}")) for also in (f"&display={display}", ""))

        assert said.json["price_per_piece"] == left_out.json["price_per_piece"]
        assert said.json["price_per_piece"]["display"] == display


def test_a_price_in_another_currency_needs_whole_minor_units_of_that_currency(shop: Client) -> None:
    response = refused(shop, "GET", price_sheet("currency=JPY", policy="kept_at=10.50"), status=422)

    assert parameters(response) == ["kept_at"]
    assert shop.get(price_sheet("", policy="kept_at=10.50")).status_code == 200


@pytest.mark.parametrize("query", ["currency=CHF", "currency=USD&channel=francs"])
def test_a_currency_without_a_rate_is_refused_naming_both_and_the_day(shop: Client, query: str) -> None:
    if "francs" in query:
        terms = channel_rate(currency="CHF")
        shop.register("channels/francs", channel(name="Alpine Market"), **{DAY: terms})

    response = refused(shop, "GET", price_sheet(query), status=422)

    assert response.json["type"].endswith("missing-exchange-rate")
    assert "CHF" in {response.json["one"], response.json["other"]}
    assert TODAY in response.json["detail"]
    assert response.json["max_age_days"] == 31


def test_a_currency_of_terms_without_amounts_needs_no_rate(client: Client) -> None:
    builders.register_workshop(client)
    client.register("channels/shares", channel(), **{DAY: {"currency": "CHF", "fees": [fee()]}})

    found = client.get(price_sheet("channel=shares"))

    assert found.status_code == 200
    assert found.json["exchange_rates"] == []


def test_a_channel_without_terms_on_the_day_is_refused_with_the_day_they_begin(shop: Client) -> None:
    shop.register("channels/later", channel(), **{"2027-01-01": channel_rate()})

    for code, first in (("new", None), ("later", "2027-01-01")):
        response = refused(shop, "GET", price_sheet(f"channel={code}"), status=422)
        assert response.json["type"].endswith("missing-rate")
        assert response.json["missing"] == [{"resource": f"channels/{code}", "first_valid_from": first}]


class TestATargetOutOfReach:
    def test_is_refused_with_the_highest_margin_that_can_be_reached(self, shop: Client) -> None:
        """For a net price of 1, the fee is half of the gross price 1.21, 0.605: at most 0.395 is left."""
        question = price_sheet("channel=greedy&tax=vat", policy="target=margin&value=0.4")

        problem = refused(shop, "GET", question, status=422).json

        assert problem["type"].endswith("unreachable-target")
        assert {
            name: problem[name] for name in ("target", "wanted", "highest", "highest_margin_share", "at_price")
        } == {
            "target": "margin",
            "wanted": "0.4",
            "highest": "0.395000",
            "highest_margin_share": "0.395000",
            "at_price": None,
        }
        assert "the most is just below 39.5 %" in problem["detail"]

    def test_just_below_that_is_answered(self, shop: Client) -> None:
        found = shop.get(price_sheet("channel=greedy&tax=vat", policy="target=margin&value=0.394"))

        assert found.status_code == 200
        assert "0.394" <= found.json["price_per_piece"]["margin_share"] < "0.395"

    def test_has_no_figure_for_a_fixed_price_that_the_floor_does_not_allow(self, shop: Client) -> None:
        shop.register("channels/dear", channel(), **{DAY: {"fees": [fee(share="0.85")]}})
        question = price_sheet(
            "channel=dear&tax=vat&never_below_cost=full_cost", policy="target=fixed_price&value=40.00"
        )

        problem = refused(shop, "GET", question, status=422).json

        assert (problem["wanted"], problem["highest"], problem["at_price"]) == ("40.00", None, None)
        assert "keeps to the floor" in problem["detail"]


def test_a_channel_used_by_a_listing_cannot_be_retired(client: Client) -> None:
    builders.register_workshop(client)
    client.register("listings/sheet-online", builders.listing())

    response = refused(client, "DELETE", CHANNEL, status=409)

    assert response.json["users"] == ["listings/sheet-online"]
