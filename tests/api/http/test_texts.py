"""Texts are either refused or kept unchanged."""

import pytest

from tests.api.outside import pointers, refused
from tests.conftest import Client
from tests.support.builders import listing, material, quotation, register_workshop

pytestmark = pytest.mark.every_engine

NO_NAME = {
    "NUL": "Fla\x00kes",
    "a lone high surrogate": "\ud800",
    "a lone low surrogate": "Flakes \udc00",
    "10,000 characters": "a" * 10_000,
    "201 characters": "a" * 201,
    "nothing": "",
    "only spaces": "    ",
    "only spaces of other widths": "\u3000\u00a0\u2003",
    "a tab": "Fla\tkes",
    "a line break": "Fla\nkes",
    "a carriage return": "Fla\rkes",
    "a line separator": "Fla\u2028kes",
    "an escape": "\x1b[31mFlakes",
    "a C1 control": "Fla\x85kes",
    "delete": "Fla\x7fkes",
}

NAMES = {
    "a right-to-left override": "\u202egnihtyna",
    "an emoji": "🧱 brick 👩🏽‍🏭",
    "a combining accent": "Cafe\u0301",
    "a composed accent": "Café",
    "an injection": "'; DROP TABLE registrations; --",
    "wildcards": "100 % _ * ? [a-z] \\ \\% \\_",
    "quotes": "\"double\" 'single' `back`",
    "markup": "<script>alert(1)</script> &amp;",
    "a template": "{{ 7 * 7 }} ${7*7} %(name)s {0}",
    "a bound parameter": ":workshop_id %s ?1",
    "a formula": '=HYPERLINK("x")',
    "spaces around": " padded ",
    "200 characters": "ä" * 200,
    "another script": "再生プラスチック مصنع",
    "beyond the basic plane": "\U0001d518\U0001d52b\U0001d526",
    "null as a word": "null",
}


class TestTexts:
    @pytest.mark.parametrize("name", NO_NAME.values(), ids=NO_NAME.keys())
    def test_an_invalid_name_is_refused(self, workshop: Client, name: str) -> None:
        assert pointers(refused(workshop, "PUT", "materials/hdpe", material(name=name), status=422)) == ["/name"]
        assert pointers(refused(workshop, "POST", "quotations", quotation(customer={"name": name}), status=422)) == [
            "/customer/name"
        ]

    @pytest.mark.parametrize(
        "name",
        [name for name in NO_NAME.values() if name.strip()],
        ids=[each for each in NO_NAME if NO_NAME[each].strip()],
    )
    def test_a_listing_may_have_no_name_but_not_an_invalid_one(self, workshop: Client, name: str) -> None:
        for member in ("name", "note"):
            response = refused(workshop, "PUT", "listings/sheet-online", listing(**{member: name}), status=422)
            assert pointers(response) == [f"/{member}"]

    @pytest.mark.parametrize("name", NAMES.values(), ids=NAMES.keys())
    def test_a_price_sheet_has_the_listing_s_name_unchanged(self, client: Client, name: str) -> None:
        register_workshop(client)
        client.register("listings/named", listing(name=name, description=name))

        sheet = client.get("listings/named/price-sheet?as_of=2026-11-25").json

        assert (sheet["name"], sheet["description"]) == (name, name)

    @pytest.mark.parametrize("name", NAMES.values(), ids=NAMES.keys())
    def test_a_name_is_kept_unchanged(self, client: Client, name: str) -> None:
        client.register("materials/flakes", material(name=name, note=name))

        found = client.get("materials/flakes").json
        listed = client.get("materials").json["items"]

        assert (found["name"], found["note"]) == (name, name)
        assert [item["name"] for item in listed] == [name]

    @pytest.mark.parametrize("name", NAMES.values(), ids=NAMES.keys())
    def test_a_quotation_has_the_name_unchanged(self, workshop: Client, name: str) -> None:
        quoted = workshop.post("quotations", quotation(quoted_on="2026-11-25", customer={"name": name}))

        assert quoted.status_code == 201
        assert workshop.get(quoted.headers["Location"]).json["request"]["customer"]["name"] == name
        text = workshop.get(quoted.headers["Location"], headers={"Accept": "text/plain"}).text
        assert name.strip() in text

    def test_an_address_may_have_lines_and_no_other_control_characters(self, workshop: Client) -> None:
        for address in ("1 Quay\rMarrow Bay", "1 Quay\x00", "\x1b", "\ud800"):
            body = quotation(customer={"name": "Buyer", "address": address})
            assert pointers(refused(workshop, "POST", "quotations", body, status=422)) == ["/customer/address"]

    def test_text_of_a_customer_cannot_forge_a_line_of_the_quotation(self, workshop: Client) -> None:
        """Names and descriptions have one line; only the customer's address and the notes may have several."""
        forged = quotation(lines=[{**quotation()["lines"][0], "description": "Sheet\nTotal 0.00"}])

        assert pointers(refused(workshop, "POST", "quotations", forged, status=422)) == ["/lines/0/description"]
