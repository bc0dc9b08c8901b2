"""Documents of a quotation over HTTP: content negotiation, plain links, entity tags, and a browser."""

from collections.abc import Iterator
from threading import Thread
from typing import Any
from xml.etree.ElementTree import Element

import flask
import pytest
from defusedxml import ElementTree
from werkzeug.serving import WSGIRequestHandler, make_server

from tests.api.quoting.test_quotation_life import draft, issued
from tests.conftest import Client
from tests.support.browser import DESK, PHONE, Browser
from tests.support.builders import register_workshop

FORMS = {"pdf": "application/pdf", "html": "text/html", "xml": "application/xml", "txt": "text/plain"}
START = {"pdf": b"%PDF-1.", "html": b"<!doctype html>", "xml": b"<?xml version", "txt": b""}
CBC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"
CAC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2}"
forms = pytest.mark.parametrize("form", FORMS)


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    return client


def accepting(client: Client, address: str, accept: str) -> Any:
    return client.get(address, headers={"Accept": accept})


class TestForms:
    @forms
    def test_are_available_by_accept_header_and_at_a_plain_link(self, workshop: Client, form: str) -> None:
        number = issued(workshop)["number"]

        negotiated = accepting(workshop, f"quotations/{number}", FORMS[form])
        linked = workshop.get(f"quotations/{number}/quotation.{form}")

        for found in (negotiated, linked):
            assert found.status_code == 200
            assert found.mimetype == FORMS[form]
            assert found.data.lower().startswith(START[form].lower())
            assert found.headers["Content-Disposition"] == f'inline; filename="{number}.{form}"'
        assert negotiated.data == linked.data
        assert negotiated.headers["ETag"] == linked.headers["ETag"]

    def test_of_prices_with_tax_have_no_ubl_and_no_link_to_it(self, workshop: Client) -> None:
        number = issued(workshop, display="tax_inclusive")["number"]

        refused = workshop.get(f"quotations/{number}/quotation.xml")

        assert refused.status_code == 404
        assert "has no UBL, which states net prices" in refused.json["detail"]
        assert workshop.get(f"quotations/{number}/quotation.pdf").status_code == 200
        assert "quotation.xml" not in workshop.get(f"quotations/{number}").headers["Link"]

    def test_are_linked_from_the_json_which_is_the_default_form(self, workshop: Client) -> None:
        number = issued(workshop)["number"]

        found = accepting(workshop, f"quotations/{number}", "*/*")

        assert found.mimetype == "application/json"
        assert found.headers["Link"].split(", ") == [
            f'</v1/quotations/{number}/quotation.{form}>; rel="alternate"; type="{media_type}"'
            for form, media_type in FORMS.items()
        ]

    def test_open_with_the_accept_header_of_browsers(self, workshop: Client) -> None:
        made, browsers = issued(workshop), "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

        assert accepting(workshop, f"quotations/{made['id']}", browsers).mimetype == "text/html"
        assert accepting(workshop, f"quotations/{made['id']}/quotation.pdf", browsers).mimetype == "application/pdf"

    def test_that_do_not_exist_are_refused(self, workshop: Client) -> None:
        made = draft(workshop)

        assert accepting(workshop, f"quotations/{made['id']}", "image/png").status_code == 406
        assert accepting(workshop, f"quotations/{made['id']}/quotation.pdf", "text/html").status_code == 406
        assert workshop.get(f"quotations/{made['id']}/quotation.docx").status_code == 404

    def test_of_a_draft_are_named_after_its_id_and_say_draft(self, workshop: Client) -> None:
        made = draft(workshop)

        found = workshop.get(f"quotations/{made['id']}/quotation.html")

        assert found.headers["Content-Disposition"] == f'inline; filename="draft-{made["id"]}.html"'
        assert "draft" in found.text.lower()

    def test_on_a_page_may_run_no_script(self, workshop: Client) -> None:
        found = workshop.get(f"quotations/{issued(workshop)['id']}/quotation.html")

        policy = found.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert "script-src" not in policy
        assert "<script" not in found.text

    def test_have_the_totals_of_the_json(self, workshop: Client) -> None:
        made = issued(workshop)

        root: Element = ElementTree.fromstring(workshop.get(f"quotations/{made['id']}/quotation.xml").data)

        payable = root.find(f"{CAC}QuotedMonetaryTotal/{CBC}PayableAmount")
        told = made["figures"]["totals"]["payable"]
        assert payable is not None
        assert (payable.text, payable.get("currencyID")) == (told["amount"], told["currency"])

    @forms
    def test_show_markup_characters_in_a_name_as_text(self, workshop: Client, form: str) -> None:
        name = "<script>\"Pier\" & 'Sons' ]]> #panic()"
        made = draft(workshop, customer={"name": name})

        found = workshop.get(f"quotations/{made['id']}/quotation.{form}")

        assert found.status_code == 200
        assert (b"<script>" in found.data) == (form == "txt")


class TestLocale:
    def test_of_the_words_can_be_chosen(self, workshop: Client) -> None:
        address = f"quotations/{issued(workshop)['id']}/quotation.txt"

        english, german = workshop.get(address), workshop.get(f"{address}?locale=de_DE")

        assert english.text.startswith("QUOTATION ")
        assert german.text.startswith("ANGEBOT ")
        assert english.headers["ETag"] != german.headers["ETag"]

    @pytest.mark.parametrize("locale", ["xx_YY", "de_DE\r\nX: y", "../../etc"])
    def test_that_is_unknown_is_refused(self, workshop: Client, locale: str) -> None:
        refused = workshop.request(
            "GET", f"quotations/{draft(workshop)['id']}/quotation.pdf", query_string={"locale": locale}
        )

        assert refused.status_code == 422
        assert refused.json["errors"][0]["parameter"] == "locale"


class TestTags:
    def test_differ_by_form_and_by_state(self, workshop: Client) -> None:
        address = f"quotations/{draft(workshop)['id']}"
        before = self.tags(workshop, address)
        workshop.post(f"{address}/issue", None)
        after = self.tags(workshop, address)

        assert len({*before, *after}) == 2 * (1 + len(FORMS))

    def tags(self, client: Client, address: str) -> list[str]:
        return [accepting(client, address, form).headers["ETag"] for form in ("application/json", *FORMS.values())]

    @forms
    def test_spare_the_body_if_they_match(self, workshop: Client, form: str) -> None:
        address = f"quotations/{issued(workshop)['id']}/quotation.{form}"
        tag = workshop.get(address).headers["ETag"]

        same = workshop.get(address, headers={"If-None-Match": tag})
        head = workshop.request("HEAD", address)

        assert (same.status_code, same.data, same.headers["ETag"]) == (304, b"", tag)
        assert (head.status_code, head.data, head.headers["ETag"]) == (200, b"", tag)
        assert head.mimetype == FORMS[form]


class TestStates:
    def test_are_shown_on_the_page(self, workshop: Client) -> None:
        declined, old = issued(workshop), issued(workshop)
        workshop.post(f"quotations/{declined['id']}/decline", {"reason": "too dear"})
        revision = workshop.post(f"quotations/{old['id']}/revise", {}).json
        new = workshop.post(f"quotations/{revision['id']}/issue", None).json

        assert "declined" in self.page(workshop, declined).lower()
        assert new["number"] in self.page(workshop, old)

    def page(self, client: Client, made: Any) -> str:
        found: str = client.get(f"quotations/{made['id']}/quotation.html").text
        return found


class _Silent(WSGIRequestHandler):
    def log_request(self, *_: Any) -> None:
        """Log nothing."""


@pytest.fixture(scope="module")
def server(app: flask.Flask) -> Iterator[str]:
    """Host and port of a running service."""
    running = make_server("127.0.0.1", 0, app, threaded=True, request_handler=_Silent)
    thread = Thread(target=running.serve_forever)
    thread.start()
    yield f"127.0.0.1:{running.server_port}"
    running.shutdown()
    thread.join()
    running.server_close()


class TestInABrowser:
    @pytest.mark.parametrize("width", [PHONE, DESK])
    def test_a_plain_link_opens_with_the_key_as_password(
        self, workshop: Client, server: str, browser: Browser, width: int
    ) -> None:
        made = issued(workshop)
        link = f"http://anybody:{workshop.key}@{server}/v1/quotations/{made['number']}/quotation.html"

        browser.visit(link, width)

        assert made["number"] in browser.text
        assert browser.overflow == 0
        assert browser.complaints(link) == []
        assert (
            browser.value("getComputedStyle(document.body).maxWidth") == "896px"
        )  # its style is allowed by the policy
