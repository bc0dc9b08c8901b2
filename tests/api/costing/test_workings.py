"""Workings over HTTP: the figures equal those of the cost sheet, in every form and with supposed rates."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.outside import in_form
from tests.conftest import Client
from tests.domain.explaining.calculator import calculated
from tests.domain.explaining.test_workbook import decimals_of, rounded
from tests.support.builders import material_rate, money, register_workshop

SHEET = "products/sheet/cost-sheet"
BATCH = "quantity=20&as_of=2026-11-25"
BROWSERS = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8"}


@pytest.fixture
def costed(client: Client) -> Client:
    """A workshop with a sheet that can be costed."""
    register_workshop(client)
    return client


def all_of(workings: Any) -> list[Any]:
    return [each for section in workings["sections"] for each in section["workings"]]


def amounts_on(sheet: Any) -> list[str]:
    return [line["amount"]["amount"] for line in sheet["lines"]]


def amounts_in(workings: Any) -> list[str]:
    return [each["on_sheet"] or each["result"] for each in all_of(workings) if each["name"] == "amount"]


class TestWorkings:
    def test_each_result_can_be_recalculated_and_the_amounts_equal_the_sheets(self, costed: Client) -> None:
        workings = costed.get(f"{SHEET}/workings?{BATCH}").json

        assert len(all_of(workings)) > 20
        for each in all_of(workings):
            result = Decimal(each["result"])
            assert rounded(calculated(each["with_figures"]), decimals_of(result)) == result, each
        shown, sheet = amounts_in(workings), costed.get(f"{SHEET}?{BATCH}").json
        assert [Decimal(each) for each in shown] == [Decimal(each) for each in amounts_on(sheet)]

    def test_of_supposed_rates_are_those_of_the_supposed_sheet(self, costed: Client) -> None:
        question = {"quantity": 20, "as_of": "2026-11-25", "rates": {"materials/hdpe": material_rate("0.97")}}

        workings, sheet = costed.post(f"{SHEET}/workings", question).json, costed.post(SHEET, question).json

        assert [Decimal(each) for each in amounts_in(workings)] == [Decimal(each) for each in amounts_on(sheet)]
        assert amounts_on(sheet) != amounts_on(costed.get(f"{SHEET}?{BATCH}").json)

    def test_name_the_exchange_rate_that_a_price_is_converted_with(self, costed: Client) -> None:
        costed.put("exchange-rates/2026-11-24", {"base": "EUR", "rates": {"USD": "1.08"}})
        costed.put("materials/hdpe/rates/2026-11-01", {"price": money("0.90", "USD")})

        found = [each for each in all_of(costed.get(f"{SHEET}/workings?{BATCH}").json) if each["name"] == "price"]

        assert [(each["formula"], each["with_figures"]) for each in found] == [
            ("{price} ÷ {USD for 1 EUR}", "0.90 ÷ 1.08")
        ]

    def test_are_the_same_until_something_changes(self, costed: Client) -> None:
        first = costed.get(f"{SHEET}/workings?{BATCH}")
        again = costed.get(f"{SHEET}/workings?{BATCH}", headers={"If-None-Match": first.headers["ETag"]})
        costed.put("materials/hdpe/rates/2026-11-02", {"price": money("0.99")})
        changed = costed.get(f"{SHEET}/workings?{BATCH}", headers={"If-None-Match": first.headers["ETag"]})

        assert (again.status_code, changed.status_code) == (304, 200)


class TestTheSheetWrittenOut:
    @pytest.mark.parametrize(("form", "begins"), [("text/html", b"<!DOCTYPE html>"), ("application/pdf", b"%PDF-1.7")])
    def test_is_available_at_a_plain_link(self, costed: Client, form: str, begins: bytes) -> None:
        ending = {"text/html": "html", "application/pdf": "pdf"}[form]

        linked = costed.get(f"{SHEET}.{ending}?{BATCH}", headers=BROWSERS)

        assert linked.data.startswith(begins)
        assert linked.mimetype == form

    def test_opens_as_a_page_in_a_browser(self, costed: Client) -> None:
        page = costed.get(f"{SHEET}.html?{BATCH}", headers=BROWSERS)

        assert page.mimetype == "text/html"
        assert "default-src 'none'" in page.headers["Content-Security-Policy"]
        assert "script" not in page.headers["Content-Security-Policy"]
        assert page.headers["Cache-Control"] == "no-store"

    def test_has_a_tag_for_each_form(self, costed: Client) -> None:
        forms = ["application/json", "text/html", "application/pdf", "image/svg+xml", "image/png"]

        tags = [costed.get(in_form(f"{SHEET}?{BATCH}", form)).headers["ETag"] for form in forms]
        again = costed.get(f"{SHEET}.pdf?{BATCH}", headers={"If-None-Match": tags[2]})

        assert len(set(tags)) == len(forms)
        assert again.status_code == 304

    def test_of_supposed_rates_shows_them(self, costed: Client) -> None:
        question = {"quantity": 20, "as_of": "2026-11-25", "rates": {"materials/hdpe": material_rate("0.97531")}}

        page = costed.post(f"{SHEET}.html", question)

        assert "0.97531" in page.text
        assert "0.97531" not in costed.get(f"{SHEET}.html?{BATCH}").text

    @pytest.mark.parametrize("ending", ["html", "pdf"])
    def test_that_cannot_be_computed_is_a_problem_document(self, costed: Client, ending: str) -> None:
        for product, query, status in (
            ("unknown", "quantity=20", 404),
            ("sheet", "quantity=0", 422),
            ("sheet", "quantity=20&as_of=2020-01-01", 422),
        ):
            response = costed.get(f"products/{product}/cost-sheet.{ending}?{query}")

            assert (response.status_code, response.mimetype) == (status, "application/problem+json")
