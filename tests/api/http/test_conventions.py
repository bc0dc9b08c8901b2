"""Conformance to HTTP: methods, media types, problems, headers (RFC 9110, RFC 9457)."""

import gzip
import json
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

import pytest

from service.api.http.reading import MAX_BODY_BYTES
from tests.api.outside import at, is_problem, leaving_as_it_is, operations, refused
from tests.api.places import DAY, KEYED, PLACES, Ids, Place, named
from tests.conftest import Client
from tests.support.builders import material, money
from tests.support.contract import Contract

NOT_OFFERED = [
    "text/markdown",
    "application/xml",
    "audio/*",
    "application/json;q=0",
    "*/*;q=0",
    "application/problem+json",
]
NOT_READ = [
    "text/plain",
    "application/xml",
    "text/json",
    "application/x-www-form-urlencoded",
    "multipart/form-data; boundary=x",
    "application/merge-patch+json",
    "application/problem+json",
    "application/jsonp",
    "*/*",
    "json",
    "",
]
QUOTATION = "/v1/quotations/{quotation_id}"
OFFERED_AS_WELL = {QUOTATION: {"application/xml"}, f"{QUOTATION}/quotation.xml": {"application/xml"}}
METHODS = ("GET", "PUT", "POST", "DELETE", "PATCH", "OPTIONS", "TRACE")


class TestMethods:
    def test_a_new_thing_is_created_at_its_location(self, client: Client) -> None:
        created = client.put("materials/hdpe", material())

        assert created.status_code == 201
        assert created.headers["Location"] == "/v1/materials/hdpe"
        assert client.get(created.headers["Location"]).json == created.json

    def test_the_same_again_changes_nothing(self, client: Client) -> None:
        created = client.put("materials/hdpe", material())
        with leaving_as_it_is(client):
            again = client.put("materials/hdpe", material())

            assert again.status_code == 200
            assert "Location" not in again.headers
            assert again.json == created.json
            assert again.headers["ETag"] == created.headers["ETag"]

    def test_put_resets_members_left_out_to_their_defaults(self, client: Client) -> None:
        client.register("materials/hdpe", material(note="black"))

        replaced = client.put("materials/hdpe", material())

        assert replaced.status_code == 200
        assert client.get("materials/hdpe").json["note"] == ""

    def test_the_answer_to_retiring_is_empty(self, client: Client) -> None:
        client.register("materials/hdpe", material())

        retired = at(client, "/v1/materials/hdpe", "DELETE")

        assert retired.status_code == 204
        assert retired.data == b""
        assert "Content-Type" not in retired.headers
        assert "Content-Length" not in retired.headers
        assert client.get("materials/hdpe").status_code == 404
        assert refused(client, "DELETE", "materials/hdpe", status=404)
        assert client.get("materials").json["items"] == []

    def test_a_retired_thing_can_be_restored(self, client: Client) -> None:
        client.register("materials/hdpe", material(), **{"2026-01-01": {"price": money("0.80")}})
        at(client, "/v1/materials/hdpe", "DELETE")

        again = client.put("materials/hdpe", material())

        assert again.status_code == 201
        assert client.get("materials/hdpe/rates/2026-01-01").json["price"]["amount"] == "0.80"

    def test_every_method_outside_the_contract_is_refused_and_the_allowed_ones_named(
        self, workshop: Client, ids: Ids, contract: Contract
    ) -> None:
        addresses = {place.template: place.address(ids).partition("?")[0] for place in PLACES}
        with leaving_as_it_is(workshop):
            for template, address in addresses.items():
                there = {method.upper() for method in contract.document["paths"][template]} & set(METHODS)
                for method in set(METHODS) - there:
                    response = at(workshop, address, method)
                    assert response.status_code == 405, (method, template)
                    assert is_problem(response)
                    allowed = ", ".join(sorted(there | ({"HEAD"} if "GET" in there else set())))
                    assert response.headers["Allow"] == allowed, (method, template)
                    assert response.json["detail"].endswith(f"it allows {allowed}")

    def test_trace_does_not_echo_what_was_sent(self, workshop: Client) -> None:
        response = at(workshop, "/v1/materials", "TRACE", headers={"X-Secret": "not to be repeated"})

        assert response.status_code == 405
        assert "not to be repeated" not in response.text
        assert workshop.key not in response.text

    @pytest.mark.parametrize("place", [place for place in PLACES if place.method == "GET"], ids=named)
    def test_head_is_get_without_its_body(self, workshop: Client, ids: Ids, place: Place) -> None:
        address = place.address(ids)

        got, asked = workshop.get(address), workshop.request("HEAD", address)

        assert asked.status_code == got.status_code == 200
        assert asked.data == b""
        per_request = {"X-Request-Id", "Date"}
        if place.path == "/metrics":  # the answer to the second request counts the first one
            per_request.add("Content-Length")
        assert {name: value for name, value in asked.headers if name not in per_request} == {
            name: value for name, value in got.headers if name not in per_request
        }

    def test_head_of_an_unknown_thing_is_404_without_a_body(self, workshop: Client) -> None:
        response = at(workshop, "/v1/materials/unknown", "HEAD")

        assert response.status_code == 404
        assert response.data == b""
        assert response.content_type == "application/problem+json"


class TestMediaTypes:
    @pytest.mark.parametrize("place", [place for place in KEYED if place.method != "DELETE"], ids=named)
    def test_a_request_that_accepts_no_available_form_is_refused_and_stores_nothing(
        self, workshop: Client, ids: Ids, place: Place
    ) -> None:
        address, body = place.address(ids), place.body
        if place.stores:  # a change, if it were not refused
            address = address.replace(DAY, "2026-03-01")
            body = {**body, "note": "another note"} if body and "name" in body else body
        with leaving_as_it_is(workshop):
            offered = OFFERED_AS_WELL.get(place.template, set())
            for accept in [each for each in NOT_OFFERED if each not in offered]:
                response = workshop.request(place.method, address, body, headers={"Accept": accept})
                assert response.status_code == 406, accept
                assert is_problem(response)

    @pytest.mark.parametrize(
        "accept",
        ["application/json", "*/*", "application/*", "text/html, application/json;q=0.1", "text/html, */*;q=0.1"],
    )
    def test_json_is_sent_if_it_is_among_the_accepted_types(self, workshop: Client, accept: str) -> None:
        response = workshop.get("materials/hdpe", headers={"Accept": accept})

        assert response.status_code == 200
        assert response.content_type == "application/json"

    def test_an_operation_that_lists_406_answers_it_and_no_other_does(self, workshop: Client, ids: Ids) -> None:
        listed = {"GET", "PUT", "POST"}
        for place in PLACES:
            if place.method in listed:
                responses = workshop.contract.document["paths"][place.template][place.method.lower()]["responses"]
                answer = at(
                    workshop,
                    place.address(ids),
                    place.method,
                    data=json.dumps(place.body),
                    content_type="application/json",
                    headers={"Accept": "image/gif"},
                )
                assert (answer.status_code == 406) is ("406" in responses), named(place)

    def test_a_quotation_has_the_form_that_the_client_prefers(self, workshop: Client, ids: Ids) -> None:
        likes = {
            "text/plain": "text/plain; charset=utf-8",
            "application/json": "application/json",
            "*/*": "application/json",
            "text/*": "text/html; charset=utf-8",
            "text/html": "text/html; charset=utf-8",
            "application/xml": "application/xml; charset=utf-8",
            "application/pdf": "application/pdf",
            "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8": "text/html; charset=utf-8",
            "application/json;q=0.2, text/plain;q=0.9": "text/plain; charset=utf-8",
            "application/json;q=0.9, text/plain;q=0.2": "application/json",
            "image/png, text/plain;q=0.5": "text/plain; charset=utf-8",
        }

        for accept, given in likes.items():
            response = workshop.get(f"quotations/{ids['quotation_id']}", headers={"Accept": accept})
            assert (response.status_code, response.content_type) == (200, given), accept
            assert response.headers["Vary"] == "Accept"
        assert "Vary" not in workshop.get("materials").headers

    @pytest.mark.parametrize("place", [place for place in PLACES if place.body is not None], ids=named)
    def test_only_the_media_type_of_the_contract_is_read(self, workshop: Client, ids: Ids, place: Place) -> None:
        with leaving_as_it_is(workshop):
            may_lack_body = place.template.endswith(
                ("/issue", "/complete")
            )  # then no body is as good as an empty object
            for sent in NOT_READ:
                for body in (json.dumps(place.body), *([] if may_lack_body else [""])):
                    response = workshop.request(place.method, place.address(ids), body, headers={"Content-Type": sent})
                    assert response.status_code == 415, sent
                    assert is_problem(response)

    def test_a_body_without_a_media_type_is_refused(self, workshop: Client) -> None:
        response = at(workshop, "/v1/materials/hdpe", "PUT", data=json.dumps(material()))

        assert response.status_code == 415
        assert is_problem(response)

    @pytest.mark.parametrize("coding", ["gzip", "GZIP", "br", "identity, deflate", "none"])
    def test_a_body_in_a_content_coding_is_refused_and_told_how_to_send_it(self, client: Client, coding: str) -> None:
        """RFC 9110, HTTP Semantics, section 15.5.16, 2022."""
        sent = gzip.compress(json.dumps(material()).encode())
        kind = {"Content-Type": "application/json", "Content-Encoding": coding}

        with leaving_as_it_is(client):
            answer = at(client, "/v1/materials/hdpe", "PUT", data=sent, headers=kind)

        assert answer.status_code == 415
        assert is_problem(answer)
        assert answer.headers["Accept-Encoding"] == "identity"
        assert "Content-Encoding" in answer.json["detail"]

    @pytest.mark.parametrize("coding", ["identity", "", "Identity"])
    def test_a_body_as_it_is_may_say_so(self, client: Client, coding: str) -> None:
        assert client.put("materials/hdpe", material(), headers={"Content-Encoding": coding}).status_code == 201

    @pytest.mark.parametrize("sent", ["application/json; charset=utf-8", "APPLICATION/JSON", "application/json;"])
    def test_any_spelling_of_the_media_type_of_json_is_accepted(self, client: Client, sent: str) -> None:
        response = client.put("materials/hdpe", material(), headers={"Content-Type": sent})

        assert response.status_code == 201


class TestProblems:
    def problems(self, workshop: Client, ids: Ids) -> Iterator[Any]:
        """A problem of every kind of this interface."""
        yield at(workshop, "/nothing")
        yield at(workshop, "/v1/materials", "DELETE")
        yield at(workshop, "/v1/materials/unknown")
        yield at(workshop, "/v1/materials/hdpe", headers={"Accept": "text/html"})
        yield at(workshop, "/v1/materials/hdpe", "PUT", data="{}", content_type="text/plain")
        yield at(workshop, "/v1/materials/hdpe", "PUT", data="{", content_type="application/json")
        yield at(workshop, "/v1/materials/hdpe", "PUT", data="{}", content_type="application/json")
        yield at(
            workshop, "/v1/materials/hdpe", "PUT", data=" " * (MAX_BODY_BYTES + 1), content_type="application/json"
        )
        yield at(workshop, "/v1/materials/hdpe", "DELETE")
        yield at(workshop, "/v1/materials/hdpe", "DELETE", headers={"If-Match": '"stale"'})
        yield at(workshop, "/v1/materials", headers={"Authorization": ""})
        yield at(workshop, "/v1/products/sheet/cost-sheet?quantity=1&as_of=2025-12-31")

    def test_every_kind_is_a_problem_document(self, workshop: Client, ids: Ids) -> None:
        answers = list(self.problems(workshop, ids))

        assert all(is_problem(answer) for answer in answers)
        assert {answer.status_code for answer in answers} == {400, 401, 404, 405, 406, 409, 412, 413, 415, 422}
        assert all(answer.json["type"] != "about:blank" for answer in answers)

    def test_a_title_is_the_status_phrase_of_rfc_9110(self, workshop: Client, ids: Ids) -> None:
        """RFC 9110, HTTP Semantics, section 15.5, 2022."""
        renamed = {413: "Content Too Large", 422: "Unprocessable Content"}

        for answer in self.problems(workshop, ids):
            status = answer.status_code
            assert answer.json["title"] == renamed.get(status, HTTPStatus(status).phrase)

    def test_no_problem_mentions_the_implementation(self, workshop: Client, ids: Ids) -> None:
        words = (
            "traceback",
            "sqlalchemy",
            "sqlite",
            "psycopg",
            "marshmallow",
            "werkzeug",
            "the url manually",
            "/site-packages/",
        )

        for answer in self.problems(workshop, ids):
            assert not [word for word in words if word in answer.text.lower()], answer.text

    def test_a_missing_rate_is_named_with_its_resource_and_its_day(self, workshop: Client, ids: Ids) -> None:
        answer = workshop.get("products/sheet/cost-sheet?quantity=1&as_of=2025-12-31")

        assert answer.status_code == 422
        assert answer.json["as_of"] == "2025-12-31"
        named_resources = {each["resource"]: each["first_valid_from"] for each in answer.json["missing"]}
        assert named_resources["materials/hdpe"] == "2026-01-01"
        assert set(named_resources) == {"materials/hdpe", "machines/press", "labour-grades/operator", "tariffs/grid"}

    def test_a_refused_deletion_names_the_users(self, workshop: Client, ids: Ids) -> None:
        for thing, users in {
            "materials/hdpe": ["products/sheet"],
            "labour-grades/operator": ["products/sheet"],
            "machines/press": ["products/sheet"],
            "tariffs/grid": ["machines/press"],
        }.items():
            answer = refused(workshop, "DELETE", thing, status=409)
            assert answer.json["users"] == users


class TestHeaders:
    @pytest.mark.parametrize("place", [place for place in PLACES if place.method == "GET"], ids=named)
    def test_answers_forbid_content_sniffing_caching_and_embedding(
        self, workshop: Client, ids: Ids, place: Place
    ) -> None:
        for status, key in ((200, workshop.key), (401, "none")):
            response = workshop.get(place.address(ids), headers={"Authorization": f"Bearer {key}"})
            if place.path.startswith("/v1/"):
                assert response.status_code == status
                assert response.headers["Cache-Control"] == "no-store"
            assert response.headers["X-Content-Type-Options"] == "nosniff"
            assert response.headers["X-Frame-Options"] == "DENY"
            assert "Set-Cookie" not in response.headers

    def test_a_problem_has_the_same_headers(self, workshop: Client) -> None:
        for address in ("/nothing", "/v1/nothing", "/v1/materials/unknown", "/v1/materials?limit=0"):
            response = at(workshop, address)
            assert response.headers["X-Content-Type-Options"] == "nosniff"
            if address.startswith("/v1/"):
                assert response.headers["Cache-Control"] == "no-store"


def test_the_places_cover_every_operation_with_a_body(contract: Contract) -> None:
    with_body = {
        (method, path) for method, path, operation in operations(contract.document) if "requestBody" in operation
    }

    assert {(place.method, place.template) for place in PLACES if place.body is not None} == with_body
