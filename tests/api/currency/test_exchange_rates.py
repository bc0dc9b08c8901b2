"""Exchange rates over HTTP: fetched, imported, held back, confirmed, used for conversion, and shown on sheets."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.api.http.problems import MAX_BODY_BYTES
from tests.api.outside import at, leaving_as_it_is, parameters, pointers, refused
from tests.conftest import Client
from tests.support.builders import CsvFile, material, money
from tests.support.feed import RATES, Answer, FeedServer, day_of, sending, with_rates, xml_of

pytestmark = pytest.mark.every_engine


def publish(server: FeedServer, days_before: int, **changes: str) -> None:
    server.answer = sending(xml_of({day_of(days_before): with_rates(**changes)}))


def refresh(client: Client, body: Any = None) -> Any:
    response = client.post("exchange-rates/refresh", body or {})
    assert response.status_code == 200, response.json
    return response.json


def cost_sheet(client: Client, as_of: str) -> Any:
    return client.get(f"products/thing/cost-sheet?quantity=1&as_of={as_of}")


def buying_in_dollars(client: Client) -> None:
    client.register(
        "materials/thing", {"name": "thing", "unit": "piece"}, **{"2020-01-01": {"price": money("107.72", "USD")}}
    )
    line = {"material": "thing", "quantity_per_piece": "1"}
    client.register("products/thing", {"name": "Thing", "bill_of_materials": [line]})


class TestFromTheFeedToTheSheet:
    def test_a_price_in_dollars_is_converted_until_the_last_rate_is_too_old(
        self, client: Client, feed_server: FeedServer
    ) -> None:
        buying_in_dollars(client)
        today = day_of()
        assert cost_sheet(client, today).json["type"].endswith("missing-exchange-rate")

        assert refresh(client)["added"] == 1
        first = cost_sheet(client, today).json
        assert first["subtotals"]["full_cost"]["per_batch"] == money("100.00")
        (shown,) = first["exchange_rates"]
        assert shown == {
            "source": "ECB",
            "base": "EUR",
            "published_on": today,
            "rates": {"USD": "1.0772"},
            "age_days": 0,
            "max_age_days": 10,
        }

        feed_server.answer = sending(b"", 503, Retry_After="0")
        down = client.post("exchange-rates/refresh", {})
        assert down.status_code == 503
        assert down.json["type"].endswith("feed-unavailable")
        assert (down.json["last_published_on"], down.json["age_days"]) == (today, 0)

        on_the_tenth_day = cost_sheet(client, day_of(-10)).json
        assert on_the_tenth_day["subtotals"] == first["subtotals"]
        assert on_the_tenth_day["exchange_rates"] == [{**shown, "age_days": 10}]

        refused_sheet = cost_sheet(client, day_of(-11))
        assert refused_sheet.status_code == 422
        assert refused_sheet.json["last_published_on"] == today
        assert (refused_sheet.json["last_source"], refused_sheet.json["max_age_days"]) == ("ECB", 10)
        assert today in refused_sheet.json["detail"]

    def test_a_past_date_uses_the_last_day_published_before_it(self, client: Client, feed_server: FeedServer) -> None:
        buying_in_dollars(client)
        days = {day_of(0): with_rates(USD="1.2"), day_of(4): RATES, day_of(5): with_rates(USD="1.1")}
        feed_server.answer = sending(xml_of(days))

        assert refresh(client, {"span": "history"})["added"] == 3

        (shown,) = cost_sheet(client, day_of(1)).json["exchange_rates"]
        assert (shown["published_on"], shown["age_days"]) == (day_of(4), 3)

    def test_the_rate_card_shows_only_the_rates_used(self, client: Client, feed_server: FeedServer) -> None:
        buying_in_dollars(client)
        refresh(client)

        (shown,) = client.get("rate-card").json["exchange_rates"]

        assert (shown["rates"], shown["age_days"]) == ({"USD": "1.0772"}, 0)

    def test_each_span_is_a_file_of_its_own(self, client: Client, feed_server: FeedServer) -> None:
        for body in ({}, {}, {"span": "latest"}, {"span": "90-days"}, {"span": "history"}):
            refresh(client, body)

        assert [path for path, _ in feed_server.requests] == [
            "/eurofxref-hist-90d.xml",
            "/eurofxref-daily.xml",
            "/eurofxref-daily.xml",
            "/eurofxref-hist-90d.xml",
            "/eurofxref-hist.xml",
        ]

    def test_a_cached_sheet_is_recomputed_after_a_refresh(self, client: Client, feed_server: FeedServer) -> None:
        buying_in_dollars(client)
        publish(feed_server, 1)
        refresh(client)
        before = cost_sheet(client, day_of())
        publish(feed_server, 0, USD="1.2")
        refresh(client)

        after = cost_sheet(client, day_of())

        assert before.headers["ETag"] != after.headers["ETag"]
        assert after.json["exchange_rates"][0]["rates"] == {"USD": "1.2"}

    @pytest.mark.parametrize("body", [{"span": "all"}, {"url": "http://127.0.0.1/"}, []])
    def test_the_client_can_choose_only_the_span(self, client: Client, feed_server: FeedServer, body: Any) -> None:
        refused(client, "POST", "exchange-rates/refresh", body, status=422)

        assert feed_server.requests == []


class TestAFeedThatFails:
    @pytest.mark.parametrize(
        ("answer", "status", "kind"),
        [
            (sending(b"", 500), 503, "feed-unavailable"),
            (sending(b"", 404), 502, "feed-unexpected-status"),
            (sending(b"", 301, Location="http://127.0.0.1/"), 502, "feed-redirected"),
            (sending(b"<html/>", Content_Type="text/html"), 502, "feed-wrong-content"),
            (sending(b"<html/>"), 502, "feed-wrong-structure"),
            (sending(b"<!DOCTYPE x><x/>"), 502, "feed-forbidden-xml"),
            (sending(b" " * 300_000), 502, "feed-too-large"),
            (sending(xml_of({day_of(): RATES})[:500]), 503, "feed-truncated"),
            (sending(xml_of({day_of(-2): RATES})), 502, "feed-future-day"),
            (sending(xml_of({day_of(12): RATES})), 502, "feed-late"),
            (sending(xml_of({day_of(): {"USD": "1.1"}})), 502, "feed-too-few-currencies"),
            (sending(xml_of({day_of(): with_rates(USD="NaN")})), 502, "feed-bad-rate"),
        ],
        ids=lambda value: value if isinstance(value, str) else "",
    )
    def test_is_reported_by_the_name_of_its_fault_and_stores_nothing(
        self, client: Client, feed_server: FeedServer, answer: Answer, status: int, kind: str
    ) -> None:
        publish(feed_server, 1)
        refresh(client)
        feed_server.answer = answer

        response = refused(client, "POST", "exchange-rates/refresh", {}, status=status)

        assert response.json["type"].endswith(f"problem/{kind}")
        assert (response.json["source"], response.json["last_published_on"]) == ("ECB", day_of(1))
        assert response.json["age_days"] == 1
        assert ("Retry-After" in response.headers) is (status != 502)
        assert feed_server.url not in response.text

    def test_passes_on_when_to_try_again(self, client: Client, feed_server: FeedServer) -> None:
        feed_server.answer = sending(b"", 400)
        refused(client, "POST", "exchange-rates/refresh", {}, status=502)
        feed_server.answer = sending(b"", 503, Retry_After="1")

        response = refused(client, "POST", "exchange-rates/refresh", {}, status=503)

        assert response.headers["Retry-After"] == "1"
        assert response.json["last_published_on"] is None


class TestDaysHeldBack:
    @pytest.fixture
    def jumped(self, client: Client, feed_server: FeedServer) -> Client:
        publish(feed_server, 2)
        refresh(client)
        publish(feed_server, 1, USD="10.772")
        refresh(client)
        return client

    def test_are_reported_by_the_refresh_and_listed_until_confirmed(self, jumped: Client) -> None:
        (held,) = jumped.get("exchange-rates/held").json["items"]
        assert held["day"]["published_on"] == day_of(1)
        assert held["jumps"] == [{"currency": "USD", "from_rate": "1.0772", "to_rate": "10.772", "share": "9.000000"}]
        assert refresh(jumped)["held"] == [held]
        listed = jumped.get("exchange-rates").json["items"]
        assert [each["published_on"] for each in listed] == [day_of(2)]

        confirmed = jumped.post(f"exchange-rates/{day_of(1)}/confirm", None)

        assert confirmed.status_code == 200
        assert confirmed.json == {"source": "ECB", "days": [day_of(1)]}
        assert jumped.get("exchange-rates/held").json["items"] == []
        used = jumped.get(f"exchange-rates/{day_of(1)}?source=ECB").json
        assert used["rates"]["USD"] == "10.772"

    def test_are_dropped(self, jumped: Client) -> None:
        assert jumped.delete(f"exchange-rates/{day_of(1)}/held?source=ECB").status_code == 204

        assert jumped.get("exchange-rates/held").json["items"] == []
        refused(jumped, "DELETE", f"exchange-rates/{day_of(1)}/held", status=404)
        refused(jumped, "POST", f"exchange-rates/{day_of(1)}/confirm", status=404)

    def test_are_confirmed_or_dropped_only_as_last_seen(self, jumped: Client, feed_server: FeedServer) -> None:
        address, confirm = f"exchange-rates/{day_of(1)}/held", f"exchange-rates/{day_of(1)}/confirm"
        seen = jumped.get(address)
        assert seen.json == jumped.get("exchange-rates/held").json["items"][0]
        assert jumped.get(address, headers={"If-None-Match": seen.headers["ETag"]}).status_code == 304
        publish(feed_server, 1, USD="10.9")
        refresh(jumped)

        old, new = ({"If-Match": each.headers["ETag"]} for each in (seen, jumped.get(address)))
        refused(jumped, "POST", confirm, status=412, headers=old)
        refused(jumped, "DELETE", address, status=412, headers=old)

        assert jumped.post(confirm, None, headers=new).status_code == 200
        refused(jumped, "GET", address, status=404)

    def test_are_hidden_from_another_workshop(self, jumped: Client, stranger: Client) -> None:
        assert stranger.get("exchange-rates/held").json["items"] == []
        refused(stranger, "POST", f"exchange-rates/{day_of(1)}/confirm", status=404)

    def test_are_paged(self, jumped: Client, feed_server: FeedServer) -> None:
        publish(feed_server, 0, USD="10.8")
        refresh(jumped)

        first = jumped.get("exchange-rates/held?limit=1").json
        second = jumped.get(first["next"]).json

        days = [item["day"]["published_on"] for each in (first, second) for item in each["items"]]
        assert days == [day_of(0), day_of(1)]
        assert second["next"] is None


HEADER = "day,base,currency,rate"


def imported(client: Client, text: str | bytes, source: str = "customs", **options: Any) -> Any:
    body = text if isinstance(text, bytes) else CsvFile(text)
    headers = {"Content-Type": "text/csv", **options.pop("headers", {})}
    return client.post(f"exchange-rates/import?source={source}", body, headers=headers, **options)


def lines(response: Any) -> list[tuple[int, str]]:
    return [(error["line"], error["detail"]) for error in response.json["errors"]]


class TestImport:
    @pytest.mark.parametrize(
        "text",
        [
            f"{HEADER}\n2026-11-24,EUR,USD,1.0850\n2026-11-24,EUR,JPY,164.52\n",
            f"{HEADER}\r\n2026-11-24,EUR,USD,1.0850\r\n2026-11-24,EUR,JPY,164.52",
            '"day","base","currency","rate"\r\n"2026-11-24","EUR","USD","1.0850"\r\n2026-11-24,EUR,JPY,"164.52"\r\n',
            "rate,currency,base,day\n1.0850,USD,EUR,2026-11-24\n164.52,JPY,EUR,2026-11-24\n",
            f"\ufeff{HEADER}\n2026-11-24,EUR,USD,1.0850\n2026-11-24,EUR,JPY,164.52\n",
        ],
        ids=["LF", "CRLF", "quoted", "other order", "byte order mark"],
    )
    def test_takes_a_file_as_rfc_4180_has_it(self, client: Client, text: str) -> None:
        response = imported(client, text)

        assert response.status_code == 200, response.json
        assert response.json == {
            "source": "customs",
            "first_day": "2026-11-24",
            "last_day": "2026-11-24",
            "added": 1,
            "replaced": 0,
            "unchanged": 0,
        }
        found = client.get("exchange-rates/2026-11-24?source=customs").json
        assert found == {"base": "EUR", "rates": {"USD": "1.0850", "JPY": "164.52"}}

    def test_names_every_line_that_is_wrong_and_takes_none(self, client: Client) -> None:
        text = "\n".join(
            [
                HEADER,
                "2026-11-24,EUR,USD,1.0850",
                "2026-13-01,EUR,USD,1.0850",
                "2026-11-24,EUR,ZZZ,1.0850",
                "2026-11-24,EUR,HRK,7.5",
                "2026-11-24,EUR,jpy,164.52",
                "2026-11-24,EUR,JPY,0",
                "2026-11-24,EUR,JPY,NaN",
                '2026-11-24,EUR,JPY,"164,52"',
                "2026-11-24,EUR,EUR,1",
                "2026-11-24,USD,JPY,150",
                "2026-11-24,EUR,USD,1.0850",
                "2026-11-24,EUR,USD",
                "",
                '"2026-11-24",EUR,GBP,"-1"',
            ]
        )

        response = imported(client, text)

        assert response.status_code == 422
        assert lines(response) == [
            (3, "day: must be a day such as 2026-11-25"),
            (4, "currency: ZZZ is not an ISO 4217 currency with a minor unit"),
            (5, "currency: HRK is no longer in use; its last day was 2023-01-14; use EUR"),
            (6, "currency: must be three capital letters"),
            (7, "rate: must be more than 0"),
            (8, 'rate: must be a decimal in plain notation, such as "12.34"'),
            (9, 'rate: must be a decimal in plain notation, such as "12.34"'),
            (10, "currency: is the base itself; leave this line out"),
            (11, "base: is EUR on another line of 2026-11-24; a day has one base"),
            (12, "currency: USD is on another line of 2026-11-24 already"),
            (13, "has 3 fields instead of 4"),
            (14, "has 0 fields instead of 4"),
            (15, "rate: must be more than 0"),
        ]
        assert response.json["detail"].startswith("line 3: day: must be a day")
        assert client.get("exchange-rates").json["items"] == []

    def test_accepts_currencies_that_have_ended_since_then(self, client: Client) -> None:
        response = imported(client, f"{HEADER}\n2022-12-30,EUR,HRK,7.5365\n2025-12-31,EUR,BGN,1.9558\n")

        assert response.status_code == 200
        assert client.get("exchange-rates/2022-12-30?source=customs").json["rates"] == {"HRK": "7.5365"}

    @pytest.mark.parametrize(
        "text",
        [
            "",
            "\n",
            "2026-11-24,EUR,USD,1.08\n",
            "day;base;currency;rate\n",
            "day,base,currency\n",
            f"{HEADER},source\n",
            f"{HEADER.upper()}\n",
            "day,day,base,currency\n",
        ],
    )
    def test_without_its_header_is_refused_with_the_columns_it_needs(self, client: Client, text: str) -> None:
        response = refused(client, "POST", "exchange-rates/import?source=customs", CsvFile(text), status=422)

        assert [line for line, _ in lines(response)] == [1]
        assert "must name the columns day, base, currency, rate, separated by commas" in lines(response)[0][1]

    def test_without_a_rate_is_refused(self, client: Client) -> None:
        response = refused(client, "POST", "exchange-rates/import?source=customs", CsvFile(f"{HEADER}\n"), status=422)

        assert lines(response) == [(2, "there is no line with a rate")]

    def test_names_the_first_line_of_a_record_of_several_lines(self, client: Client) -> None:
        response = imported(client, f'{HEADER}\n2026-11-24,EUR,"US\nD",1.08\n2026-11-24,EUR,JPY,0\n')

        assert [line for line, _ in lines(response)] == [2, 4]

    def test_names_no_more_than_fifty_lines(self, client: Client) -> None:
        response = imported(client, HEADER + "\n" * 1000)

        assert len(lines(response)) == 50

    @pytest.mark.parametrize(
        "body",
        [
            b"\xff\xfe",
            HEADER.encode("utf-16"),
            f"{HEADER}\n2026-11-24,EUR,USD\0,1".encode(),
            f'{HEADER}\n2026-11-24,EUR,"USD"x,1\n'.encode(),
            f'{HEADER}\n2026-11-24,EUR,"USD,1\n'.encode(),
            HEADER.encode() + b"," + b"x" * 200_000,
        ],
        ids=["a byte order mark alone", "UTF-16", "NUL", "after a quote", "an open quote", "a long field"],
    )
    def test_that_is_not_csv_is_refused(self, client: Client, body: bytes) -> None:
        with leaving_as_it_is(client):
            response = imported(client, body)

            assert response.status_code in (400, 422)
        assert len(response.data) < 1000

    def test_longer_than_a_body_may_be_is_refused(self, client: Client) -> None:
        refused(
            client,
            "POST",
            "exchange-rates/import?source=customs",
            CsvFile(f"{HEADER}\n" + "x" * MAX_BODY_BYTES),
            status=413,
        )

    def test_as_long_as_a_body_may_be_is_accepted(self, client: Client) -> None:
        count = (MAX_BODY_BYTES - 100) // len("2026-11-24,EUR,USD,1.0850\n")
        first = date(1920, 1, 1)
        days = (first + timedelta(days=number) for number in range(count))

        response = imported(client, "\n".join([HEADER, *(f"{day},EUR,USD,1.0850" for day in days)]))

        assert response.status_code == 200, response.json
        assert response.json["added"] == count > 38_000

    @pytest.mark.parametrize("source", ["manual", "ECB", "", "x" * 201, "a%0Ab"])
    def test_needs_a_source_of_its_own(self, client: Client, source: str) -> None:
        response = refused(
            client,
            "POST",
            f"exchange-rates/import?source={source}",
            CsvFile(f"{HEADER}\n2026-11-24,EUR,USD,1\n"),
            status=422,
        )

        assert parameters(response) == ["source"]

    @pytest.mark.parametrize("kind", ["application/json", "text/plain", "text/csv; charset=iso-8859-1", "", "text/xml"])
    def test_needs_the_media_type_of_csv(self, client: Client, kind: str) -> None:
        with leaving_as_it_is(client):
            response = imported(client, f"{HEADER}\n2026-11-24,EUR,USD,1\n", headers={"Content-Type": kind})

            assert response.status_code == 415

    @pytest.mark.parametrize("kind", ["text/csv; charset=UTF-8", "text/csv; header=present", "TEXT/CSV"])
    def test_accepts_any_spelling_of_the_media_type(self, client: Client, kind: str) -> None:
        response = imported(client, f"{HEADER}\n2026-11-24,EUR,USD,1\n", headers={"Content-Type": kind})

        assert response.status_code == 200

    def test_is_the_only_operation_that_accepts_csv(self, client: Client) -> None:
        refused(client, "PUT", "exchange-rates/2026-11-24", CsvFile(f"{HEADER}\n"), status=415)
        refused(client, "POST", "exchange-rates/refresh", CsvFile(f"{HEADER}\n"), status=415)


class TestByHand:
    def test_an_unknown_or_ended_currency_is_refused_by_name(self, client: Client) -> None:
        rates = {"USD": "1.1", "ZZZ": "2", "HRK": "7.5"}

        response = refused(client, "PUT", "exchange-rates/2023-01-15", {"base": "EUR", "rates": rates}, status=422)

        assert pointers(response) == ["/rates/ZZZ", "/rates/HRK"]

    def test_amounts_are_converted_at_the_rates_of_a_currency_that_was_in_use(self, client: Client) -> None:
        client.put("exchange-rates/2022-06-01", {"base": "EUR", "rates": {"HRK": "7.5405"}})
        asked = "exchange-rates/conversion?amount=10&currency=EUR&to=HRK&as_of=2022-06-03"

        assert client.get(asked).json["converted"] == money("75.41", "HRK")

    def test_rates_are_read_and_deleted_by_their_source(self, client: Client) -> None:
        client.put("exchange-rates/2026-11-24", {"base": "EUR", "rates": {"USD": "1.10"}})
        imported(client, f"{HEADER}\n2026-11-24,EUR,USD,1.20\n")

        assert client.get("exchange-rates/2026-11-24").json["rates"] == {"USD": "1.10"}
        assert client.get("exchange-rates/2026-11-24?source=customs").json["rates"] == {"USD": "1.20"}
        assert client.delete("exchange-rates/2026-11-24?source=customs").status_code == 204
        refused(client, "GET", "exchange-rates/2026-11-24?source=customs", status=404)
        assert client.get("exchange-rates/2026-11-24").json["rates"] == {"USD": "1.10"}


class TestConversion:
    @pytest.fixture
    def priced(self, client: Client) -> Client:
        client.put("exchange-rates/2026-11-24", {"base": "EUR", "rates": {"USD": "1.2", "JPY": "150", "KWD": "0.33"}})
        return client

    def converted(self, client: Client, query: str) -> Any:
        response = client.get(f"exchange-rates/conversion?{query}")
        assert response.status_code == 200, response.json
        return response.json

    def test_shows_the_rates_as_published_with_date_source_and_age(self, priced: Client) -> None:
        assert self.converted(priced, "amount=12.00&currency=USD&to=JPY&as_of=2026-11-25") == {
            "amount": money("12.00", "USD"),
            "converted": money("1500", "JPY"),
            "as_of": "2026-11-25",
            "exchange_rates": [
                {
                    "source": "manual",
                    "base": "EUR",
                    "published_on": "2026-11-24",
                    "rates": {"JPY": "150", "USD": "1.2"},
                    "age_days": 1,
                    "max_age_days": 31,
                }
            ],
        }

    @pytest.mark.parametrize(
        ("query", "converted"),
        [
            ("amount=1&currency=EUR&to=KWD", money("0.330", "KWD")),
            ("amount=0.01&currency=JPY&to=EUR", money("0.00")),
            ("amount=-1.005&currency=EUR&to=EUR", money("-1.01")),
            ("amount=1.5&currency=JPY&to=JPY", money("2", "JPY")),
        ],
    )
    def test_is_rounded_once_half_up_to_the_minor_unit(
        self, priced: Client, query: str, converted: dict[str, str]
    ) -> None:
        assert self.converted(priced, f"{query}&as_of=2026-11-25")["converted"] == converted

    def test_is_of_today_by_default(self, client: Client, feed_server: FeedServer) -> None:
        before = datetime.now(UTC).date().isoformat()

        found = self.converted(client, "amount=1&currency=EUR&to=EUR")

        assert before <= found["as_of"] <= day_of()
        assert found["exchange_rates"] == []

    @pytest.mark.parametrize(
        ("query", "name", "told"),
        [
            ("currency=EUR&to=USD", "amount", "is required"),
            ("amount=1&currency=EUR&to=HRK", "to", "2023-01-14"),
            ("amount=1&currency=EUR&to=HRK&as_of=2023-01-15", "to", "use EUR"),
            ("amount=1&currency=DEM&to=USD", "currency", "DEM is no longer in use"),
            ("amount=1&currency=EUR&to=ZZZ", "to", "ZZZ is not an ISO 4217 currency"),
            ("amount=1e9&currency=EUR&to=USD", "amount", "plain notation"),
            ("amount=1&currency=eur&to=USD", "currency", "three capital letters"),
            ("amount=1&currency=EUR&to=USD&as_of=2026-13-01", "as_of", "must be a day"),
        ],
    )
    def test_with_an_invalid_parameter_is_refused_by_name(
        self, priced: Client, query: str, name: str, told: str
    ) -> None:
        response = refused(priced, "GET", f"exchange-rates/conversion?{query}", status=422)

        assert parameters(response) == [name]
        assert told in response.json["detail"]

    def test_of_a_figure_too_large_to_be_exact_is_refused(self, priced: Client) -> None:
        refused(
            priced,
            "GET",
            f"exchange-rates/conversion?amount={'9' * 28}&currency=EUR&to=JPY&as_of=2026-11-25",
            status=422,
        )


def test_a_fixed_address_is_never_read_as_a_day(client: Client) -> None:
    for name, takes in (("refresh", {"POST"}), ("import", {"POST"}), ("held", {"GET"}), ("conversion", {"GET"})):
        for method in {"GET", "PUT", "POST", "DELETE"} - takes:
            response = at(client, f"/v1/exchange-rates/{name}", method, json={"base": "EUR", "rates": {"USD": "1"}})
            assert response.status_code == 405, (method, name)

    assert client.put("materials/refresh", material()).status_code == 201
