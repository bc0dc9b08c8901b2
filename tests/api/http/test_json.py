"""JSON is read exactly or refused (RFC 8259, RFC 7493), and quickly in either case."""

import json
import time
from typing import Any

import pytest

from tests.api.outside import pointers, refused
from tests.api.places import KEYED, RATES_FILE, Ids, Place, named, register_everything
from tests.conftest import Client
from tests.support.builders import material, material_rate, operation, product, quotation

WELL = b'{"name": "Flakes", "unit": "l"}'
AT_ONCE = 10
"""Seconds of processor time, with a margin for a slow machine. A refusal takes milliseconds; quadratic work would
take minutes."""

NO_JSON: dict[str, bytes] = {
    "empty": b"",
    "blank": b"   ",
    "an open brace": b"{",
    "a comma too many": b'{"name": "Flakes", "unit": "l",}',
    "single quotes": b"{'name': 'Flakes', 'unit': 'l'}",
    "a comment": b'{"name": "Flakes", /* litres */ "unit": "l"}',
    "no quotes": b'{name: "Flakes", "unit": "l"}',
    "trailing garbage": WELL + b" x",
    "two documents": WELL + WELL,
    "a leading zero": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": 01}',
    "a point and no digit": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": 1.}',
    "a plus sign": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": +1}',
    "a hexadecimal number": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": 0x1}',
    "NaN": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": NaN}',
    "Infinity": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": Infinity}',
    "-Infinity": b'{"name": "Flakes", "unit": "l", "mass_kg_per_unit": -Infinity}',
    "a bare control character": b'{"name": "Fla\nkes", "unit": "l"}',
    "a name twice": b'{"name": "Flakes", "unit": "l", "unit": "kg"}',
    "a name twice inside": b'{"name": "Flakes", "unit": "l", "x": {"a": 1, "a": 1}}',
    "a name twice by its escape": b'{"name": "Flakes", "unit": "l", "un\\u0069t": "kg"}',
    "a byte order mark": b"\xef\xbb\xbf" + WELL,
    "UTF-16": WELL.decode().encode("utf-16"),
    "UTF-16 without a mark": WELL.decode().encode("utf-16-le"),
    "UTF-32": WELL.decode().encode("utf-32-be"),
    "Latin-1": '{"name": "Flöckchen", "unit": "l"}'.encode("latin-1"),
    "an encoded surrogate": b'{"name": "\xed\xa0\x80", "unit": "l"}',
    "an overlong slash": b'{"name": "\xc0\xaf", "unit": "l"}',
    "40 levels": b'{"name": ' + b"[" * 40 + b"]" * 40 + b', "unit": "l"}',
    "40 levels of objects": b'{"a":' * 40 + b"1" + b"}" * 40,
    "100,000 opening brackets": b"[" * 100_000,
    "100,000 opening braces": b'{"a":' * 100_000,
    "500,000 pairs of brackets": b"[" * 500_000 + b"]" * 500_000,
}

SENT_TO = [place for place in KEYED if place.method != "GET" and place.body is not RATES_FILE]
"""Every operation to which an object could be sent; the file of exchange rates is not JSON."""
BODILESS = [place for place in SENT_TO if place.body is None]

NO_OBJECT = [b"[1]", b"[]", b"1", b'"name"', b"null", b"true", b"[" + WELL + b"]"]

NO_DECIMAL: dict[str, str] = {
    "1e400": "1e400",
    "1E2": "1E2",
    "-1e-400": "-1e-400",
    '"NaN"': '"NaN"',
    '"sNaN"': '"sNaN"',
    '"Infinity"': '"Infinity"',
    '"-inf"': '"-inf"',
    '"1_0"': '"1_0"',
    "an Arabic digit": '"\\u0661"',
    "a fullwidth digit": '"\\uff11"',
    '" 1"': '" 1"',
    '"1 "': '"1 "',
    '"1\\n"': '"1\\n"',
    '"+1"': '"+1"',
    '"1."': '"1."',
    '".5"': '".5"',
    '"01"': '"01"',
    '"0x10"': '"0x10"',
    '"1,5"': '"1,5"',
    '"1e2"': '"1e2"',
    '"1e20000000"': '"1e20000000"',
    "nothing": '""',
    "a word": '"ten"',
    "true": "true",
    "a list": "[1]",
    "an object": "{}",
    "29 digits": "12345678901234567890123456789",
    "29 digits as text": '"12345678901234567890123456789"',
    "29 decimals": "0.00000000000000000000000000001",
    "5,000 digits": "9" * 5000,
    "5,000 digits as text": f'"{"9" * 5000}"',
    "100,000 digits": "9" * 100_000,
    "zero": "0",
    "minus one": "-1",
}


class TestJson:
    @pytest.mark.parametrize("body", NO_JSON.values(), ids=NO_JSON.keys())
    def test_what_is_not_json_is_refused_at_once(self, workshop: Client, body: bytes) -> None:
        begun = time.thread_time()

        response = refused(workshop, "PUT", "materials/flakes", body, status=400)

        assert time.thread_time() - begun < AT_ONCE
        assert len(response.data) < 1000

    @pytest.mark.parametrize("body", NO_OBJECT, ids=lambda body: body.decode()[:30])
    def test_what_is_not_an_object_is_refused(self, workshop: Client, body: bytes) -> None:
        for path in ("PUT materials/flakes", "PUT materials/hdpe/rates/2026-02-01", "POST quotations"):
            method, _, address = path.partition(" ")
            response = refused(workshop, method, address, body, status=422)
            assert pointers(response) == [""]

    @pytest.mark.parametrize("literal", NO_DECIMAL.values(), ids=NO_DECIMAL.keys())
    def test_what_is_not_a_positive_decimal_is_refused(self, workshop: Client, literal: str) -> None:
        body = f'{{"name": "Flakes", "unit": "l", "mass_kg_per_unit": {literal}}}'
        begun = time.thread_time()

        response = refused(workshop, "PUT", "materials/flakes", body, status=422)

        assert time.thread_time() - begun < AT_ONCE
        assert pointers(response) == ["/mass_kg_per_unit"]
        assert len(response.data) < 1000

    @pytest.mark.parametrize(
        ("literal", "stands"),
        [
            ("0.1", "0.1"),
            ('"0.1"', "0.1"),
            ("0.10", "0.10"),
            ("1", "1"),
            ("123456789012.123456", "123456789012.123456"),
            ("0.1000000000000000055511151231", "0.1000000000000000055511151231"),
            ("1234567890123456789012345678", "1234567890123456789012345678"),
            ('"0.0000000000000000000000000001"', "0.0000000000000000000000000001"),
        ],
    )
    def test_a_decimal_is_kept_to_the_last_digit(self, client: Client, literal: str, stands: str) -> None:
        body = f'{{"name": "Flakes", "unit": "l", "mass_kg_per_unit": {literal}}}'

        assert client.put("materials/flakes", body).json["mass_kg_per_unit"] == stands
        assert client.get("materials/flakes").json["mass_kg_per_unit"] == stands

    def test_minus_zero_is_zero(self, client: Client) -> None:
        for literal in ("-0", '"-0.0"', "-0.00"):
            response = client.put("machines/bench", f'{{"name": "Bench", "rated_power_kw": {literal}}}')
            assert response.status_code == 422 or not response.json["rated_power_kw"].startswith("-")

    @pytest.mark.parametrize("literal", ['"20"', "20.0", "2e1", "true", "null", "[20]", "20.5", '""', "9" * 5000])
    def test_a_whole_number_must_be_a_json_integer(self, workshop: Client, literal: str) -> None:
        marker = 424242
        body = json.dumps(quotation(lines=[{**quotation()["lines"][0], "base_quantity": marker}]))

        response = refused(workshop, "POST", "quotations", body.replace(str(marker), literal), status=422)

        assert pointers(response) == ["/lines/0/base_quantity"]

    @pytest.mark.parametrize("flag", ["true", "yes", 1, 0, "", None, []])
    def test_a_flag_must_be_true_or_false(self, workshop: Client, flag: Any) -> None:
        body = {"name": "Rent", "base": "machine_hour", "variable": flag}

        assert pointers(refused(workshop, "PUT", "overheads/rent", body, status=422)) == ["/variable"]

    @pytest.mark.parametrize("name", ["_schema", "na/me", "a~b", "", "\ud800", "__proto__", "9" * 5000])
    def test_an_unknown_member_of_any_name_is_named_exactly(self, workshop: Client, name: str) -> None:
        response = refused(workshop, "PUT", "materials/flakes", json.dumps({**material(), name: 1}), status=422)

        assert len(pointers(response)) == 1
        expected = "/" + name.replace("~", "~0").replace("/", "~1")
        assert pointers(response)[0] == expected[: len(pointers(response)[0])]
        assert pointers(response)[0] not in ("", "/") or name == ""
        assert len(response.data) < 3000

    def test_every_wrong_member_is_named_and_the_answer_stays_small(self, workshop: Client) -> None:
        body = {**material(), **{f"unknown_{number}": number for number in range(10_000)}}

        response = refused(workshop, "PUT", "materials/flakes", body, status=422)

        assert len(response.data) < 20_000
        assert len(pointers(response)) >= 10

    def test_each_member_that_only_the_service_sets_is_named(self, workshop: Client) -> None:
        members = {
            "id": "1",
            "workshop": "w",
            "workshop_id": "w",
            "version": 1,
            "created_at": "2026-01-01",
            "cost": "1",
        }

        for method, path, body in (
            ("PUT", "materials/hdpe", material()),
            ("PUT", "products/sheet", product()),
            ("PUT", "materials/hdpe/rates/2026-01-01", material_rate()),
            ("POST", "quotations", quotation()),
        ):
            response = refused(workshop, method, path, {**body, **members}, status=422)
            assert set(pointers(response)) == {f"/{name}" for name in members}

    def test_a_list_that_is_too_long_is_refused_at_once_by_its_name(self, workshop: Client) -> None:
        begun = time.thread_time()
        lines = refused(workshop, "PUT", "products/sheet", product(bill_of_materials=[{}] * 100_000), status=422)
        steps = refused(workshop, "PUT", "products/sheet", product(operations=[{}] * 100_000), status=422)
        quoted = refused(workshop, "POST", "quotations", quotation(lines=[{}] * 100_000), status=422)

        assert time.thread_time() - begun < AT_ONCE
        assert pointers(lines) == ["/bill_of_materials"]
        assert pointers(steps) == ["/operations"]
        assert pointers(quoted) == ["/lines"]

    def test_a_mapping_that_is_too_long_is_refused_at_once_by_its_name(self, workshop: Client) -> None:
        many = {f"b{number}": "0" for number in range(40_000)}
        begun = time.thread_time()
        shares = refused(
            workshop, "PUT", "products/sheet", product(operations=[operation(band_shares=many)]), status=422
        )
        supposed = {"quantity": 1, "rates": {f"materials/{number}": {} for number in range(30_000)}}
        rates = refused(workshop, "POST", "products/sheet/cost-sheet", supposed, status=422)
        published = {"base": "EUR", "rates": many}
        days = refused(workshop, "PUT", "exchange-rates/2026-02-01", published, status=422)

        assert time.thread_time() - begun < AT_ONCE
        assert pointers(shares) == ["/operations/0/band_shares"]
        assert pointers(rates) == ["/rates"]
        assert pointers(days) == ["/rates"]


class TestAnUnknownMember:
    @pytest.mark.parametrize("place", SENT_TO, ids=named)
    def test_is_refused_by_its_name_at_every_operation(self, workshop: Client, ids: Ids, place: Place) -> None:
        body = {**(place.body or {}), "surprise/1": 1}

        refusal = refused(workshop, place.method, place.address(ids), body, status=422)

        assert pointers(refusal) == ["/surprise~11"]
        assert "is not a member that this object has" in refusal.json["detail"]

    def test_is_named_with_all_other_unknown_members(self, workshop: Client, ids: Ids) -> None:
        body = {"completed_on": "2026-11-25", "quantity": 5}

        refusal = refused(workshop, "POST", f"quotations/{ids['quotation_id']}/complete", body, status=422)

        assert pointers(refusal) == ["/completed_on", "/quantity"]

    @pytest.mark.parametrize(
        "body", ["[1]", "[]", "null", "completed_on=today", "{", '{"a": 1, "a": 2}', "x" * 2_000_000]
    )
    def test_may_be_a_whole_body_where_none_is_expected(self, workshop: Client, ids: Ids, body: str) -> None:
        refusal = refused(workshop, "POST", f"repricings/{ids['repricing_id']}/rollback", body, status=422)

        assert refusal.json["detail"] == "the body: this operation takes no body; leave it out"

    @pytest.mark.parametrize("place", BODILESS, ids=named)
    def test_does_not_occur_in_an_empty_object(self, client: Client, place: Place) -> None:
        """The answer is that the thing is not found, as without a body."""
        assert place.for_stranger == 404

        refused(client, place.method, place.address(), {}, status=404)

    def test_does_not_occur_in_an_empty_object_to_issue_a_draft(self, client: Client) -> None:
        ids = register_everything(client)

        issued = client.post(f"quotations/{ids['quotation_id']}/issue", {})

        assert (issued.status_code, issued.json["status"]) == (200, "issued")

    @pytest.mark.parametrize("sent", ["", "text/plain", "application/json"])
    def test_an_optional_body_may_be_left_out_whatever_its_media_type(self, client: Client, sent: str) -> None:
        ids = register_everything(client)

        issued = client.request("POST", f"quotations/{ids['quotation_id']}/issue", "", headers={"Content-Type": sent})

        assert (issued.status_code, issued.json["status"]) == (200, "issued")
