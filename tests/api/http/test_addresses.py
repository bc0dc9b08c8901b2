"""Addresses, parameters and links."""

import json

import pytest

from tests.api.outside import at, is_problem, leaving_as_it_is, over_wsgi, parameters, refused
from tests.api.places import KEYED, PLACES, Ids, Place, named, register_everything
from tests.conftest import Client
from tests.support.builders import material, quotation
from tests.support.contract import Contract


class TestAddresses:
    @pytest.mark.parametrize(
        "address",
        [
            "/nothing",
            "/v1",
            "/v1/",
            "/v2/materials",
            "/V1/materials",
            "/v1/Materials",
            "/v1/materials/",
            "/v1/materials/hdpe/",
            "/v1/materials/hdpe/rates/",
            "/v1/materials/hdpe/rates/2026-01-01/",
            "/v1/products/sheet/cost-sheet/",
            "/v1/products/sheet/rates",
            "/v1/products/sheet/rates/2026-01-01",
            "//v1/materials",
            "///v1/materials",
            "/%2fv1/materials",
            "/v1//materials",
            "/v1/materials//hdpe",
            "/v1/../v1/materials",
            "/v1/%2e%2e/v1/materials",
            "/v1/./materials",
            "/v1/materials%2f",
            "/v1/materials/hdpe%2f",
            "/v1/materials/hdpe%2frates%2f",
            "/health/",
            "/ready/",
            "/openapi.json/",
            "/static/anything",
            "/" + "a" * 8192,
        ],
        ids=lambda address: f"{address[:50]}-{len(address)}",
    )
    @pytest.mark.parametrize("method", ["GET", "PUT", "DELETE"])
    def test_an_address_that_differs_slightly_is_not_found(
        self, workshop: Client, ids: Ids, address: str, method: str
    ) -> None:
        with leaving_as_it_is(workshop):
            response = over_wsgi(workshop, method, address)

            assert response.status_code == 404, response.headers
            assert is_problem(response)
            assert "Location" not in response.headers

    @pytest.mark.parametrize("address", ["/docs/no-such-file.js", "/docs/%2e%2e/app.py", "/docs/..%2f..%2fapp.py"])
    def test_the_docs_show_no_other_files(self, workshop: Client, address: str) -> None:
        response = over_wsgi(workshop, "GET", address)

        assert response.status_code == 404
        assert is_problem(response)

    @pytest.mark.parametrize(
        "code",
        [
            "%00",
            "%ff",
            "%0a",
            "%0d%0aX-Injected:%201",
            "a%20b",
            "%F0%9F%98%80",
            "-a",
            ".a",
            "_a",
            "a%25b",
            "a" * 65,
            "a" * 8192,
        ],
        ids=lambda code: f"{code[:30]}-{len(code)}",
    )
    def test_an_invalid_code_is_refused_by_name(self, workshop: Client, ids: Ids, code: str) -> None:
        collections = ("materials", "machines", "products", "tariffs")
        with leaving_as_it_is(workshop):
            responses = [at(workshop, f"/v1/{collection}/{code}") for collection in collections]
            responses += [
                at(
                    workshop,
                    f"/v1/{collection}/{code}",
                    "PUT",
                    data=json.dumps(material()),
                    content_type="application/json",
                )
                for collection in ("materials",)
            ]
            responses += [at(workshop, f"/v1/{collection}/{code}", "DELETE") for collection in collections]

            for response in responses:
                assert response.status_code == 422, response.text
                assert parameters(response) == ["code"]
                assert len(response.data) < 2000
                assert "X-Injected" not in response.headers

    @pytest.mark.parametrize(
        "day",
        [
            "2026-13-01",
            "2026-02-30",
            "2025-02-29",
            "20260101",
            "2026-1-1",
            "today",
            "2026-01-01T00:00:00Z",
            "1899-12-31",
            "3000-01-01",
            "-2026-01-01",
            "%D9%A2026-01-01",
        ],
    )
    def test_an_invalid_day_is_refused_by_its_name_in_the_contract(self, workshop: Client, ids: Ids, day: str) -> None:
        for address in (f"/v1/materials/hdpe/rates/{day}", f"/v1/exchange-rates/{day}"):
            response = at(workshop, address)
            assert response.status_code == 422
            assert parameters(response) == ["day"]

    @pytest.mark.parametrize("text", ["1", "x", "%00", "0" * 400, "no-such-quotation"])
    def test_an_invalid_id_is_refused_by_name(self, workshop: Client, text: str) -> None:
        for address in (f"/v1/quotations/{text}", f"/v1/quotations/{text}/recomputation"):
            response = at(workshop, address)
            assert response.status_code == 422
            assert parameters(response) == ["quotation_id"]
        for address, method in ((f"/v1/repricings/{text}", "GET"), (f"/v1/repricings/{text}/rollback", "POST")):
            response = at(workshop, address, method)
            assert response.status_code == 422
            assert parameters(response) == ["repricing_id"]

    def test_codes_match_exactly(self, client: Client) -> None:
        """Codes are case-sensitive, and a wildcard of SQL's LIKE matches only itself."""
        for code in ("a_b", "aXb", "A_B", "a-b", "a.b", "a..b"):
            client.register(f"materials/{code}", material(name=f"called {code}"))

        assert client.get("materials/a_b").json["name"] == "called a_b"
        assert client.get("materials/A_B").json["name"] == "called A_B"
        assert len(client.get("materials").json["items"]) == 6
        assert refused(client, "GET", "materials/a_B", status=404)


class TestParameters:
    @pytest.mark.parametrize("place", KEYED, ids=named)
    def test_an_unknown_parameter_is_refused_by_name(self, workshop: Client, ids: Ids, place: Place) -> None:
        """Only for operations that need a key: a probe may add any parameter to the address of a health check."""
        address = place.address(ids)
        joint = "&" if "?" in address else "?"

        for name in ("dry_run", "_schema", "fields", "limit[]"):
            response = refused(workshop, place.method, f"{address}{joint}{name}=1", place.body, status=422)
            assert parameters(response) == [name]
            assert "member" not in response.json["detail"]

    def test_a_parameter_given_twice_is_refused_by_name_unless_it_is_a_list(
        self, workshop: Client, ids: Ids, contract: Contract
    ) -> None:
        tried = 0
        given = {"limit": "10", "cursor": "x", "quantity": "20", "as_of": "2026-11-25", "kept_at": "1"}
        for place in PLACES:
            operation = contract.document["paths"][place.template][place.method.lower()]
            for parameter in operation.get("parameters", []):
                if parameter["in"] != "query" or parameter["schema"].get("type") == "array":
                    continue
                name = parameter["name"]
                value = given.get(name, "1")
                address = place.address(ids).partition("?")[0]
                response = workshop.request(place.method, f"{address}?{name}={value}&{name}={value}", place.body)
                assert response.status_code == 422, (name, place)
                assert name in parameters(response), (name, place)
                tried += 1

        assert tried > 30

    def test_a_list_is_given_by_repeating_the_parameter(self, workshop: Client, ids: Ids) -> None:
        question = "products/sheet/price-sheet?quantity=20&as_of=2026-11-25&target=margin&value=0.35"

        response = workshop.get(f"{question}&price_endings=0.90&price_endings=0.45")

        assert response.status_code == 200
        assert response.json["policy"]["price_endings"] == ["0.90", "0.45"]

    @pytest.mark.parametrize(
        ("query", "name"),
        [
            ("", "quantity"),
            ("quantity=0", "quantity"),
            ("quantity=-1", "quantity"),
            ("quantity=1.5", "quantity"),
            ("quantity=1e3", "quantity"),
            ("quantity=01", "quantity"),
            ("quantity=%2B1", "quantity"),
            ("quantity=%D9%A1", "quantity"),
            ("quantity=1_0", "quantity"),
            ("quantity=", "quantity"),
            ("quantity=1000000001", "quantity"),
            ("quantity=" + "9" * 5000, "quantity"),
            ("quantity=NaN", "quantity"),
            ("quantity=20&as_of=2026-02-29", "as_of"),
            ("quantity=20&as_of=2026-13-01", "as_of"),
            ("quantity=20&as_of=", "as_of"),
            ("quantity=20&as_of=yesterday", "as_of"),
            ("quantity=20&as_of=1899-12-31", "as_of"),
        ],
        ids=lambda each: str(each)[:40],
    )
    def test_an_invalid_batch_or_day_is_refused_by_name(
        self, workshop: Client, ids: Ids, query: str, name: str
    ) -> None:
        response = refused(workshop, "GET", f"products/sheet/cost-sheet?{query}", status=422)

        assert parameters(response) == [name]
        assert len(response.data) < 1000

    @pytest.mark.parametrize(
        ("query", "name"),
        [
            ("", "target"),
            ("target=margin", "value"),
            ("target=margin&value=1", "value"),
            ("target=margin&value=1.5", "value"),
            ("target=markup&value=-1.01", "value"),
            ("target=fixed_price&value=-0.01", "value"),
            ("target=gain&value=1", "target"),
            ("target=margin&value=NaN", "value"),
            ("target=margin&value=1e400", "value"),
            ("target=margin&value=sNaN", "value"),
            ("target=margin&value=0,35", "value"),
            ("target=margin&value=%2B0.35", "value"),
            ("target=margin&value=0.3&price_step=0", "price_step"),
            ("target=margin&value=0.3&price_step=-1", "price_step"),
            ("target=margin&value=0.3&price_step=0.001", "price_step"),
            ("target=margin&value=0.3&price_endings=1.90", "price_endings"),
            ("target=margin&value=0.3&price_endings=0.905", "price_endings"),
            ("target=margin&value=0.3&never_below_amount=-1", "never_below_amount"),
            ("target=margin&value=0.3&never_below_cost=full", "never_below_cost"),
            ("target=margin&value=0.3&tax=unknown", "tax"),
            ("target=margin&value=0.3&tax=a%20b", "tax"),
            ("target=margin&value=0.3&rounding=down", "rounding"),
            ("target=margin&value=0.3&display=both", "display"),
            ("kept_at=1.005", "kept_at"),
            ("kept_at=-1", "kept_at"),
        ],
    )
    def test_an_invalid_policy_is_refused_by_name(self, workshop: Client, ids: Ids, query: str, name: str) -> None:
        question = f"products/sheet/price-sheet?quantity=20&as_of=2026-11-25&{query}"

        response = refused(workshop, "GET", question, status=422)

        assert name in parameters(response)

    @pytest.mark.parametrize("target", ["target=margin&value=0.3", "target=margin", "value=0.3"])
    def test_a_price_and_a_target_together_are_refused(self, workshop: Client, ids: Ids, target: str) -> None:
        question = f"products/sheet/price-sheet?quantity=20&as_of=2026-11-25&kept_at=1&{target}"

        response = refused(workshop, "GET", question, status=422)

        assert set(parameters(response)) <= {"kept_at", "target", "value"}

    @pytest.mark.parametrize("step", ["9" * 28, "9" * 26 + ".01"])
    def test_a_step_of_any_size_is_answered(self, workshop: Client, ids: Ids, step: str) -> None:
        question = f"products/sheet/price-sheet?quantity=20&as_of=2026-11-25&target=margin&value=0.3&price_step={step}"

        assert workshop.get(question).status_code in (200, 422)


class TestLinks:
    HOSTS = (
        {"Host": "elsewhere.example"},
        {"X-Forwarded-Host": "elsewhere.example"},
        {
            "X-Forwarded-Proto": "gopher",
            "X-Forwarded-Prefix": "/elsewhere.example",
            "X-Forwarded-For": "elsewhere.example",
        },
        {"Forwarded": "host=elsewhere.example;proto=https"},
        {"X-Original-URL": "/elsewhere.example", "X-Rewrite-URL": "/elsewhere.example"},
    )

    @pytest.mark.parametrize("hosts", HOSTS, ids=lambda hosts: next(iter(hosts)))
    def test_links_do_not_depend_on_the_host_headers_of_the_request(
        self, client: Client, hosts: dict[str, str]
    ) -> None:
        created = client.put("materials/a", material(), headers=hosts)
        client.register("materials/b", material())
        quoted_at = "/docs", "/docs/", "/openapi.json", "/v1//materials", "/v1/materials?limit=1", "/nothing"

        page = client.get("materials?limit=1", headers=hosts)
        answers = [created, page, *(at(client, address, headers=hosts) for address in quoted_at)]

        assert created.headers["Location"] == "/v1/materials/a"
        assert page.json["next"].startswith("/v1/materials?")
        assert page.headers["Link"].startswith("</v1/materials?")
        for answer in answers:
            assert "elsewhere.example" not in answer.text
            assert "elsewhere.example" not in str(answer.headers)

    def test_a_new_quotation_has_a_location(self, workshop: Client, ids: Ids, client: Client) -> None:
        register_everything(client)

        quoted = client.post("quotations", quotation(quoted_on="2026-11-25"), headers={"Host": "elsewhere.example"})

        assert quoted.headers["Location"] == f"/v1/quotations/{quoted.json['id']}"
        assert client.get(quoted.headers["Location"]).json == quoted.json
