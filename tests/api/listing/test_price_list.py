"""The price list over HTTP: every listing once, as CSV (RFC 4180) and as JSON-LD, with figures from its price sheet."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from itertools import chain
from typing import Any

import flask
import pytest

from service.api.listing import listings
from tests.api.http.test_texts import NAMES
from tests.api.outside import at, parameters, refused
from tests.conftest import Client, make_client
from tests.published.vocabulary import violations
from tests.support.builders import (
    channel,
    channel_rate,
    listing,
    material_rate,
    measured,
    policy,
    product,
    register_shipping,
)
from tests.support.contract import Contract
from tests.support.furnishing import furnishes

LIST = "price-list?as_of=2026-11-25"
CSV, JSON_LD = "text/csv; charset=utf-8; header=present", "application/ld+json"
IN_JSON_LD = "price-list.jsonld?as_of=2026-11-25"
FORMULA_MARKS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def records(text: str) -> list[list[str]]:
    """Parse CSV strictly by the grammar of RFC 4180, section 2.

    Fails on a line break outside quotes that is not CRLF, a quote inside a plain field, characters after a closing
    quote, a last record without CRLF, and records of different lengths.
    """
    found: list[list[str]] = [[]]
    place = 0
    while place < len(text):
        field, place = quoted(text, place + 1) if text[place] == '"' else plain(text, place)
        found[-1].append(field)
        if text[place] == ",":
            place += 1
            assert text[place : place + 2] != "", "a record that ends in a comma"
        else:
            assert text[place : place + 2] == "\r\n", f"{text[place : place + 2]!r} behind a field"
            place += 2
            found.append([])
            continue
        if text[place : place + 2] == "\r\n":  # an empty last field
            found[-1].append("")
            place += 2
            found.append([])
    assert found.pop() == [], "the last record has no line break"
    assert len({len(record) for record in found}) == 1, "records of different lengths"
    return found


def quoted(text: str, place: int) -> tuple[str, int]:
    """A quoted field and the position after its closing quote; `place` is after the opening quote."""
    field = ""
    while True:
        end = text.index('"', place)
        field += text[place:end]
        if text[end : end + 2] != '""':
            return field, end + 1
        field, place = field + '"', end + 2


def plain(text: str, place: int) -> tuple[str, int]:
    """A field without quotes, and the position of its end."""
    end = min(each for each in (text.find(",", place), text.find("\r\n", place)) if each >= 0)
    assert not set('"\r\n') & set(text[place:end]), f"not a plain field: {text[place:end]!r}"
    return text[place:end], end


def rows(response: Any) -> list[dict[str, str]]:
    """The records of a CSV answer, each by column name."""
    assert response.status_code == 200, response.text
    header, *found = records(response.data.decode())
    return [dict(zip(header, each, strict=True)) for each in found]


def unmarked(cell: str) -> str:
    """The registered text: the cell without the apostrophe that prevents a spreadsheet from running it as a formula."""
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(FORMULA_MARKS) else cell


def graph(response: Any) -> list[Any]:
    """The products of a JSON-LD answer; fails if it violates the vocabulary."""
    assert response.status_code == 200, response.text
    document = json.loads(response.data)
    assert violations(document) == []
    found: list[Any] = [each for each in document["@graph"] if each["@type"] == "Product"]
    return found


@pytest.fixture
@furnishes
def shop(client: Client) -> Client:
    """A workshop that sells a sheet and a brick, also shipped, on two channels."""
    register_shipping(client)
    client.register("channels/stall", channel(name="Stall", display="tax_exclusive"), **{"2026-01-01": channel_rate()})
    client.register("listings/brick-stall", listing(product="brick", channel="stall", unit_price_per="kg"))
    client.register(
        "listings/brick-sent", listing(product="brick", shipping_service="post", shipping_zone="home", tax=None)
    )
    client.register("listings/sheet", listing())
    return client


@pytest.fixture
@furnishes
def five(client: Client) -> Client:
    """Five products of the same flakes, each on sale; nothing has been requested yet, so nothing is cached."""
    register_shipping(client)
    for number in range(5):
        client.register(f"products/p{number}", product())
        client.register(f"listings/l{number}", listing(product=f"p{number}"))
    return client


class TestTheParserItself:
    @pytest.mark.parametrize(
        ("text", "found"),
        [
            ("a,b\r\n1,2\r\n", [["a", "b"], ["1", "2"]]),
            ('"a","b,""c"",\r\nd"\r\n', [["a", 'b,"c",\r\nd']]),
            ("a,\r\n,b\r\n,\r\n", [["a", ""], ["", "b"], ["", ""]]),
            ('"",""\r\n', [["", ""]]),
        ],
    )
    def test_reads_what_the_grammar_allows(self, text: str, found: list[list[str]]) -> None:
        assert records(text) == found

    @pytest.mark.parametrize("text", ["a,b", "a\nb\r\n", 'a"b\r\n', '"a"b\r\n', '"a\r\n', "a,b\r\n1\r\n", "a\rb\r\n"])
    def test_refuses_everything_else(self, text: str) -> None:
        with pytest.raises((AssertionError, ValueError)):
            records(text)


class TestMediaTypes:
    @pytest.mark.parametrize(
        ("accept", "given"),
        [
            (None, CSV),
            ("", CSV),
            ("*/*", CSV),
            ("text/csv", CSV),
            ("text/*", CSV),
            (CSV, CSV),
            ("text/csv;header=present", CSV),
            ("text/html, text/*;q=0.5", CSV),
        ],
    )
    def test_it_is_csv_for_whoever_accepts_that(self, workshop: Client, accept: str | None, given: str) -> None:
        response = workshop.get(LIST, headers={} if accept is None else {"Accept": accept})

        assert (response.status_code, response.content_type) == (200, given)
        head = workshop.request("HEAD", LIST, headers={} if accept is None else {"Accept": accept})
        assert (head.status_code, head.content_type, head.data) == (200, given, b"")

    @pytest.mark.parametrize("accept", ["application/json", "text/html", "text/plain", "*/*;q=0", "text/csv;q=0"])
    def test_any_other_form_is_refused_and_the_available_ones_named(self, workshop: Client, accept: str) -> None:
        response = refused(workshop, "GET", LIST, status=406, headers={"Accept": accept})

        assert "text/csv" in response.json["detail"]

    def test_offers_for_a_web_page_have_an_address_of_their_own(self, workshop: Client) -> None:
        response = workshop.get(IN_JSON_LD)

        assert (response.status_code, response.content_type) == (200, JSON_LD)
        head = workshop.request("HEAD", IN_JSON_LD)
        assert (head.status_code, head.content_type, head.data) == (200, JSON_LD, b"")

    def test_it_needs_a_key(self, workshop: Client) -> None:
        assert workshop.get(LIST, headers={"Authorization": ""}).status_code == 401


class TestWhatIsInIt:
    def test_every_listing_is_there_once_by_its_code(self, shop: Client) -> None:
        codes = [each["code"] for each in shop.get("listings").json["items"]]

        assert [row["listing"] for row in rows(shop.get(LIST))] == codes
        assert [each["offers"]["identifier"] for each in graph(shop.get(IN_JSON_LD))] == codes

    def test_every_figure_is_that_of_the_listing_s_price_sheet(self, shop: Client) -> None:
        shop.register("products/sheet", product(declared_uses=["toy", "outdoor"]))
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"CHF": "0.9604"}})
        shop.register("listings/swiss", listing(currency="CHF", locale="de_CH", base_quantity=12))

        found = rows(shop.get(LIST))

        assert len(found) == 4
        for row in found:
            sheet = shop.get(f"listings/{row['listing']}/price-sheet?as_of=2026-11-25").json
            facts = shop.get(f"listings/{row['listing']}").json
            thing = shop.get(f"products/{facts['product']}").json
            price, per_unit, sent = sheet["price_per_piece"], sheet["unit_price"], sheet["shipping"]
            assert row == {
                "listing": sheet["listing"],
                "product": sheet["product"],
                "name": sheet["name"],
                "description": sheet["description"],
                "channel": sheet["channel"],
                "channel_name": shop.get(f"channels/{sheet['channel']}").json["name"],
                "locale": sheet["locale"],
                "as_of": "2026-11-25",
                "currency": sheet["currency"],
                "base_quantity": str(sheet["base_quantity"]),
                "pieces_per_order": str(sheet["pieces_per_order"]),
                "price": price["price"]["amount"],
                "display": price["display"],
                "gross_price": price["gross_price"]["amount"],
                "net_price": price["net_price"]["amount"],
                "tax_share": price["tax_share"],
                "unit_price": per_unit["price"]["amount"] if per_unit else "",
                "unit_price_measure": per_unit["measure"] if per_unit else "",
                "shipping_weight_kg": sent["mass_kg"] if sent else "",
                **{name: thing[name] or "" for name in ("mass_kg", "length_mm", "width_mm", "height_mm")},
                "cash_price": sheet["cash_price"]["amount"] if sheet["cash_price"] else "",
                "margin_share": price["margin_share"],
                "formatted_price": sheet["formatted_price"],
                "formatted_unit_price": sheet["formatted_unit_price"] or "",
                **{name: facts[name] or "" for name in ("url", "image", "availability")},
                "cautions": " | ".join(each["text"] for each in sheet["cautions"] if each["concerns"] == "product"),
                "problem": "",
                "unit": thing["unit"],
            }
        assert {row["display"] for row in found} == {"tax_inclusive", "tax_exclusive"}
        assert [row["unit_price_measure"] for row in found if row["unit_price"]] == ["kg"]
        assert [row["shipping_weight_kg"] for row in found if row["shipping_weight_kg"]] == ["2.4"]
        assert next(row for row in found if row["listing"] == "swiss")["cash_price"]

    def test_structured_data_says_the_same(self, shop: Client) -> None:
        shop.register("products/brick", measured(declared_uses=["toy"]))
        by_code = {row["listing"]: row for row in rows(shop.get(LIST))}

        found = graph(shop.get(IN_JSON_LD))

        assert len(found) == len(by_code)
        for thing in found:
            offer = thing["offers"]
            row = by_code[offer["identifier"]]
            asked, *of_a_unit = offer["priceSpecification"]
            assert (thing["sku"], thing["name"]) == (row["product"], row["name"])
            assert thing.get("weight", {}).get("value", "") == row["mass_kg"]
            assert (offer["price"], offer["priceCurrency"]) == (row["price"], row["currency"])
            assert (asked["price"], asked["valueAddedTaxIncluded"]) == (row["price"], row["display"] == "tax_inclusive")
            assert [each["price"] for each in of_a_unit] == ([row["unit_price"]] if row["unit_price"] else [])
            assert offer.get("shippingDetails", {}).get("weight", {}).get("value", "") == row["shipping_weight_kg"]
            assert " | ".join(each["value"] for each in thing.get("additionalProperty", ())) == row["cautions"]

    def test_one_that_cannot_be_priced_says_why_while_the_others_have_their_prices(self, shop: Client) -> None:
        shop.register("listings/a-greedy", listing(policy=policy(value="0.95")))
        shop.register("listings/c-foreign", listing(currency="SEK"))
        shop.register("listings/t-weightless", listing(unit_price_per="kg"))
        shop.register("listings/z-moon", listing(product="brick", shipping_service="post", shipping_zone="moon"))
        shop.register("channels/new", channel(name="New"))
        shop.register("listings/m-new", listing(channel="new"))

        found = {row["listing"]: row for row in rows(shop.get(LIST))}
        things = graph(shop.get(IN_JSON_LD))

        without = {code: row for code, row in found.items() if row["problem"]}
        assert set(without) == {"a-greedy", "c-foreign", "t-weightless", "z-moon", "m-new"}
        for code, row in found.items():
            assert bool(row["price"]) is (code not in without)
        for code, row in without.items():
            refusal = shop.get(f"listings/{code}/price-sheet?as_of=2026-11-25").json
            assert refusal["detail"].startswith(row["problem"])  # and may go on with what to do
            assert [
                row[name] for name in ("gross_price", "net_price", "unit_price", "formatted_price", "cautions")
            ] == [""] * 5
            assert (row["name"], row["channel"], row["currency"]) != ("", "", "")
        assert len(things) == len(found)
        assert {each["offers"]["identifier"] for each in things if "offers" in each} == set(found) - set(without)

    def test_it_shows_the_prices_of_the_given_day(self, shop: Client) -> None:
        shop.put("channels/quay-market/rates/2026-09-01", channel_rate(fees=[]))

        before, after = (rows(shop.get(f"price-list?as_of={day}")) for day in ("2026-08-31", "2026-09-01"))
        too_early = rows(shop.get("price-list?as_of=2025-12-31"))

        cheaper = {one["listing"] for one, other in zip(before, after, strict=True) if one["price"] > other["price"]}
        assert cheaper == {"brick-sent", "sheet"}
        assert {row["as_of"] for row in after} == {"2026-09-01"}
        assert all(row["problem"].startswith("no rate in force on 2025-12-31") for row in too_early)
        assert {row["as_of"] for row in rows(shop.get("price-list"))} == {shop.workshop.today().isoformat()}

    def test_a_retired_listing_is_not_in_it(self, shop: Client) -> None:
        assert shop.delete("listings/sheet").status_code == 204

        assert "sheet" not in {row["listing"] for row in rows(shop.get(LIST))}

    def test_an_empty_workshop_has_an_empty_list(self, shop: Client, stranger: Client) -> None:
        assert rows(stranger.get(LIST)) == []
        assert graph(stranger.get(IN_JSON_LD)) == []

    def test_another_workshop_s_listings_are_not_in_it(self, shop: Client, stranger: Client) -> None:
        before = shop.get(LIST).data
        register_shipping(stranger)
        stranger.register("listings/sheet", listing(name="Another's"))
        stranger.register("listings/anothers", listing())

        assert shop.get(LIST).data == before
        assert [row["name"] for row in rows(stranger.get(LIST))] == ["Sheet", "Another's"]

    def test_450_listings_are_all_there(self, app: flask.Flask, contract: Contract) -> None:
        client = make_client(app, contract)
        register_shipping(client)
        codes = sorted(f"n{number:03}" for number in range(450))
        for code in reversed(codes):
            client.register(f"listings/{code}", listing(name=f"called {code}"))

        found = rows(client.get(LIST))

        assert [row["listing"] for row in found] == codes
        assert [row["name"] for row in found] == [f"called {code}" for code in codes]
        assert all(row["price"] for row in found)
        assert [each["name"] for each in graph(client.get(IN_JSON_LD))] == [row["name"] for row in found]


class TestTheChannel:
    def test_selects_its_listings_only(self, shop: Client) -> None:
        everything = rows(shop.get(LIST))

        for code in ("quay-market", "stall"):
            expected = [row for row in everything if row["channel"] == code]
            assert rows(shop.get(f"{LIST}&channel={code}")) == expected
            things = graph(shop.get(f"{IN_JSON_LD}&channel={code}"))
            assert [each["offers"]["identifier"] for each in things] == [row["listing"] for row in expected]

    def test_one_without_listings_has_an_empty_list(self, shop: Client) -> None:
        shop.register("channels/new", channel(name="New"))

        assert rows(shop.get(f"{LIST}&channel=new")) == []

    def test_an_unknown_one_is_refused_in_every_form(self, shop: Client, stranger: Client) -> None:
        stranger.register("channels/theirs", channel())
        shop.register("channels/former", channel())
        assert shop.delete("channels/former").status_code == 204

        for code in ("nobody-s", "theirs", "former", "a b", ""):
            for address in (LIST, IN_JSON_LD):
                response = refused(shop, "GET", f"{address}&channel={code}", status=422)
                assert parameters(response) == ["channel"]

    @pytest.mark.parametrize("question", ["as_of=2026-02-30", "as_of=today", "as_of=", "limit=5", "product=sheet"])
    def test_any_other_query_is_refused_by_its_parameter(self, workshop: Client, question: str) -> None:
        response = refused(workshop, "GET", f"price-list?{question}", status=422)

        assert parameters(response) == [question.partition("=")[0]]


DESCRIPTIONS = {
    "lines": "first\nsecond\n\nlast",
    "quoted lines": '"a",\n"b"',
    "a line separator": "one\u2028two",
    "a formula on a line": "fine\n=cmd|' /C calc'!A0",
    "2,000 characters": "ä," * 1000,
    "a script": "</script><script>alert(1)</script>",
}


class TestTexts:
    @pytest.mark.parametrize(
        "name", [*NAMES.values(), "=cmd|' /C calc'!A0", "-1+1", "@sum", "'=x", "'t Hof", "مصنع ١٢"]
    )
    def test_a_name_is_unchanged_in_both_forms(self, shop: Client, name: str) -> None:
        shop.register("listings/sheet", listing(name=name, description=name))

        row = next(row for row in rows(shop.get(LIST)) if row["listing"] == "sheet")
        thing = graph(shop.get(IN_JSON_LD))[-1]

        assert (unmarked(row["name"]), unmarked(row["description"])) == (name, name)
        assert not row["name"].startswith(FORMULA_MARKS)
        assert (thing["name"], thing["description"]) == (name, name)

    @pytest.mark.parametrize("description", DESCRIPTIONS.values(), ids=DESCRIPTIONS)
    def test_a_description_is_unchanged_in_both_forms(self, shop: Client, description: str) -> None:
        shop.register("listings/sheet", listing(description=description))

        response = shop.get(IN_JSON_LD)

        assert rows(shop.get(LIST))[-1]["description"] == description
        assert graph(response)[-1]["description"] == description
        assert b"<" not in response.data

    def test_prices_in_every_script_equal_those_of_the_sheets(self, shop: Client) -> None:
        locales = ["ar_EG", "he_IL", "ja_JP", "de_CH", "en_IN", "fa_IR", "fr_FR", "sr_Latn_RS", "zh_Hant_TW"]
        for locale in locales:
            shop.register(f"listings/in-{locale}", listing(locale=locale))

        found = {row["listing"]: row for row in rows(shop.get(LIST))}

        for locale in locales:
            sheet = shop.get(f"listings/in-{locale}/price-sheet?as_of=2026-11-25").json
            row = found[f"in-{locale}"]
            assert row["formatted_price"] == sheet["formatted_price"]
            assert Decimal(row["price"]) == Decimal(sheet["price_per_piece"]["price"]["amount"])


@contextmanager
def begun(client: Client, address: str = LIST) -> Iterator[Iterator[bytes]]:
    """All parts of a list, of which the client has read only the first so far."""
    response = at(client, f"/v1/{address}")
    assert response.status_code == 200
    parts = iter(response.response)
    beginning = [next(parts)]
    yield chain(beginning, parts)
    response.close()


@pytest.mark.every_engine
class TestWhileItIsRead:
    """A change between the first byte and the last must not affect the list."""

    def test_a_rate_that_changes_does_not_leave_prices_of_two_states_in_one_list(self, five: Client) -> None:
        expected = five.get("listings/l0/price-sheet?as_of=2026-11-25").json["price_per_piece"]["price"]["amount"]

        with begun(five) as parts:
            assert five.put("materials/hdpe/rates/2026-06-01", material_rate("9")).status_code == 201
            header, *found = records(b"".join(parts).decode())

        assert [each[header.index("price")] for each in found] == [expected] * 5
        assert expected not in {row["price"] for row in rows(five.get(LIST))}

    @pytest.mark.parametrize("address", [LIST, IN_JSON_LD])
    def test_retiring_a_product_does_not_interrupt_the_list(self, five: Client, address: str) -> None:
        with begun(five, address) as parts:
            for path in ("listings/l3", "products/p3"):
                assert five.delete(path).status_code == 204
            text = b"".join(parts).decode()

        whole = records(text)[1:] if address == LIST else json.loads(text)["@graph"]
        assert len(whole) == (5 if address == LIST else 6)  # the seller stands first
        assert len(rows(five.get(LIST))) == 4

    def test_a_client_that_stops_reading_leaves_no_connection_and_no_file_open(self, five: Client) -> None:
        for _ in range(40):
            with begun(five):
                pass

        assert len(rows(five.get(LIST))) == 5
        assert five.put("materials/hdpe/rates/2026-06-01", material_rate("9")).status_code == 201


class TestRevalidation:
    @pytest.mark.parametrize("address", [LIST, IN_JSON_LD], ids=["csv", "json-ld"])
    def test_a_list_is_not_sent_again_while_nothing_has_changed(self, shop: Client, address: str) -> None:
        first = shop.get(address)

        for method in ("GET", "HEAD"):
            again = shop.request(method, address, headers={"If-None-Match": first.headers["ETag"]})
            assert (again.status_code, again.data) == (304, b"")
            assert again.headers["ETag"] == first.headers["ETag"]
        assert shop.get(address).data == first.data
        refused(shop, "GET", address, status=412, headers={"If-Match": '"other"'})

    def test_each_form_has_its_own_tag(self, shop: Client) -> None:
        csv = shop.get(LIST).headers["ETag"]

        other = shop.get(IN_JSON_LD, headers={"If-None-Match": csv})

        assert other.status_code == 200
        assert other.headers["ETag"] != csv

    @pytest.mark.parametrize(
        ("path", "body"),
        [
            ("materials/hdpe/rates/2026-02-01", material_rate("0.95")),
            ("channels/stall/rates/2026-02-01", channel_rate(fees=[])),
            ("products/brick", measured(name="Block")),
            ("listings/new", listing()),
        ],
        ids=["a rate", "a fee", "a product", "a listing"],
    )
    def test_it_is_sent_again_once_anything_in_it_has_changed(self, shop: Client, path: str, body: Any) -> None:
        first = shop.get(LIST)
        assert shop.put(path, body).status_code in (200, 201)

        again = shop.get(LIST, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 200
        assert again.data != first.data

    def test_another_workshop_s_changes_do_not_affect_it(self, shop: Client, stranger: Client) -> None:
        first = shop.get(LIST)
        register_shipping(stranger)

        assert shop.get(LIST, headers={"If-None-Match": first.headers["ETag"]}).status_code == 304


class TestOnPaper:
    @pytest.mark.parametrize("path", ["price-list.pdf", "price-list.html", "shelf-labels.pdf"])
    def test_more_listings_than_anybody_hangs_up_are_refused(
        self, shop: Client, path: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(listings, "MAX_ON_PAPER", 1)
        monkeypatch.setattr(listings, "MAX_LABELS", 1)

        response = shop.get(f"{path}?prices=asked")

        assert response.status_code == 422
        assert "more than 1" in response.json["detail"]
        assert "a channel or a locale" in response.json["detail"]

    def test_a_list_for_buyers_has_the_prices_in_force_and_one_for_programs_those_asked(self, shop: Client) -> None:
        page, asked = shop.get("price-list.html"), shop.get("price-list.html?prices=asked")

        assert "no price in its currency and base quantity is in force" in page.text
        assert "no price in its currency and base quantity is in force" not in asked.text
        assert all(row["price"] for row in rows(shop.get("price-list")))

    def test_labels_that_are_too_small_are_refused_by_parameter(self, shop: Client) -> None:
        response = shop.get("shelf-labels.pdf?columns=6&margin_x_mm=40")

        assert parameters(response) == ["columns"]

    def test_an_unknown_channel_or_locale_is_refused_by_parameter(self, shop: Client) -> None:
        assert parameters(shop.get("shelf-labels.pdf?channel=nobody-s")) == ["channel"]
        assert parameters(shop.get("price-list.pdf?locale=xx_YY")) == ["locale"]
