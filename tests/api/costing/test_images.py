"""Images over HTTP, at addresses of their own: cached and revalidated like the sheet; each form has its own tag."""

from decimal import Decimal
from typing import Any

import pytest

from service.documents.costing.cost_chart import cost_chart
from service.documents.drawing.drawing import ImageForm
from service.documents.writing.formats import formatted_amount, formatted_unit_amount
from service.domain.values.exact import half_up
from service.domain.values.money import Money, in_currency
from service.encoding import decoded
from service.workflows.costing import cost_sheets
from service.workflows.workspace import Workspace
from tests.api.http.test_texts import NAMES
from tests.api.outside import in_form, refused
from tests.conftest import Client
from tests.documents.pictures import Picture, png_size
from tests.support.builders import listing, product, register_workshop, tariff_rate

QUESTION = "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25"
HISTORY = "listings/sheet-quay/price-history"
JSON, SVG, PNG = "application/json", ImageForm.SVG.value, ImageForm.PNG.value
every_form = pytest.mark.parametrize("form", [JSON, SVG, PNG])
every_image = pytest.mark.parametrize("form", [SVG, PNG])


@pytest.fixture
def sold(client: Client) -> Client:
    """A workshop with a sheet that can be costed."""
    register_workshop(client)
    return client


@pytest.fixture
def listed(sold: Client) -> Client:
    """The same workshop with a listing of the sheet, without a price in force."""
    sold.register("listings/sheet-quay", listing())
    return sold


def applied(client: Client) -> str:
    """Apply a repricing; returns its id."""
    response = client.post("repricings", {"apply": True, "as_of": "2026-11-25", "confirm_all": True})
    assert response.status_code == 201, response.json
    repricing: str = response.json["id"]
    return repricing


def dearer(client: Client) -> None:
    """Raise the price of electricity so far that prices must rise."""
    client.put("tariffs/grid/rates/2026-02-01", tariff_rate("1.60", "1.60"))


def shown(client: Client, form: str, question: str = QUESTION, **headers: str) -> Any:
    return client.get(in_form(question, form), headers=headers)


class TestTheSheet:
    def test_an_svg_has_the_figures_of_the_sheet(self, sold: Client) -> None:
        sheet = sold.get(QUESTION).json

        picture = Picture(shown(sold, SVG).data)

        cost = decoded(sheet["subtotals"]["full_cost"]["per_piece"], Money)
        assert picture.title == f"Sheet: {formatted_unit_amount(cost, 'en_IE')} a piece"
        for line in sheet["lines"]:
            assert line["name"] in picture.words
            exact = Decimal(line["amount_per_piece"]["amount"])  # shown so that the column adds up to the cent
            near = {half_up(exact, 2) + step for step in (Decimal("-0.01"), Decimal(0), Decimal("0.01"))}
            assert {formatted_amount(in_currency(each, "EUR"), "en_IE") for each in near} & set(picture.words)

    def test_a_png_is_a_png(self, sold: Client) -> None:
        response = shown(sold, PNG)

        assert response.content_type == PNG
        assert png_size(response.data) > (600, 400)

    def test_an_image_depends_on_the_day_and_the_batch(self, sold: Client) -> None:
        sold.put("tariffs/grid/rates/2026-06-01", tariff_rate("0.60"))
        questions = [f"products/sheet/cost-sheet?quantity={end}" for end in ("20&as_of=2026-05-31", "20", "21")]

        assert len({shown(sold, SVG, question).data for question in questions}) == 3

    def test_supposed_rates_are_drawn_too_and_not_cached(self, sold: Client) -> None:
        before = shown(sold, SVG).data
        question = {"quantity": 20, "as_of": "2026-11-25", "rates": {"tariffs/grid": tariff_rate("0.90", "0.90")}}

        supposed = sold.post("products/sheet/cost-sheet.svg", question)

        costed = sold.post("products/sheet/cost-sheet", question).json["subtotals"]["full_cost"]["per_piece"]
        cost = formatted_unit_amount(decoded(costed, Money), "en_IE")
        assert Picture(supposed.data).title.endswith(f"{cost} a piece")
        assert supposed.data != before
        assert shown(sold, SVG).data == before

    @pytest.mark.parametrize("name", NAMES.values(), ids=NAMES.keys())
    def test_a_name_is_never_interpreted_as_markup(self, sold: Client, name: str) -> None:
        sold.put("products/sheet", product(name=name))

        picture = Picture(shown(sold, SVG).data)

        assert " ".join(name.split()) in picture.title
        assert picture.dangers() == []
        assert png_size(shown(sold, PNG).data)

    def test_figures_are_written_in_the_workshop_s_locale(self, sold: Client) -> None:
        workspace = Workspace(database=sold.database, workshop=sold.workshop, actor=sold.actor)
        statement = cost_sheets.cost_product(workspace, cost_sheets.Batch("sheet", Decimal(20)), sold.workshop.today())

        image = shown(sold, SVG, "products/sheet/cost-sheet?quantity=20").data

        assert sold.workshop.locale == "en_IE"
        assert image == cost_chart(statement, ImageForm.SVG, locale="en_IE")
        assert image != cost_chart(statement, ImageForm.SVG, locale="de_DE")


class TestTheHistory:
    def test_an_svg_has_the_prices_of_the_history(self, listed: Client) -> None:
        applied(listed)
        dearer(listed)
        applied(listed)
        prices = [item["price"] for item in listed.get(HISTORY).json["items"]]

        picture = Picture(shown(listed, SVG, HISTORY).data)

        newest, first = (formatted_amount(decoded(price, Money), "en_IE") for price in prices)
        assert picture.title.startswith(f"sheet-quay: {newest} on ")
        assert picture.words.count(newest) >= 1
        assert [point.about.partition(" since ")[0] for point in picture.points()[:2]] == [first, newest]
        assert "prices applied: 2, of them rolled back: 0" in picture.words

    def test_a_price_that_was_rolled_back_is_replaced_by_the_previous_one(self, listed: Client) -> None:
        applied(listed)
        first = Picture(shown(listed, SVG, HISTORY).data).title
        dearer(listed)
        repricing = applied(listed)
        assert Picture(shown(listed, SVG, HISTORY).data).title != first

        listed.post(f"repricings/{repricing}/rollback", {})

        picture = Picture(shown(listed, SVG, HISTORY).data)
        assert picture.title == first
        assert "prices applied: 2, of them rolled back: 1" in picture.words

    @every_image
    def test_a_listing_without_prices_has_an_image_that_says_so(self, listed: Client, form: str) -> None:
        response = shown(listed, form, HISTORY)

        assert response.content_type == form
        if form == SVG:
            assert Picture(response.data).title == "sheet-quay: no price in force"

    @every_form
    def test_it_is_not_sent_again_until_a_price_comes_into_force(self, listed: Client, form: str) -> None:
        applied(listed)
        before = shown(listed, form, HISTORY)
        known = {"If-None-Match": before.headers["ETag"]}
        assert shown(listed, form, HISTORY, **known).status_code == 304

        dearer(listed)
        applied(listed)

        after = shown(listed, form, HISTORY, **known)
        assert after.status_code == 200
        assert after.data != before.data

    @every_form
    def test_an_unknown_listing_has_none_whatever_the_condition(self, listed: Client, form: str) -> None:
        unknown = in_form("listings/unknown/price-history", form)

        refused(listed, "GET", unknown, status=404, headers={"If-None-Match": "*"})

    @every_image
    def test_an_invalid_cursor_is_refused_in_any_form(self, listed: Client, form: str) -> None:
        refused(listed, "GET", in_form(f"{HISTORY}?cursor=nothing", form), status=422)


class TestAnAddress:
    @pytest.mark.parametrize("accept", ["image/svg+xml", "image/*", "image/webp, */*;q=0.1"])
    def test_has_one_form_and_refuses_a_client_that_does_not_accept_it(self, sold: Client, accept: str) -> None:
        assert sold.get(in_form(QUESTION, SVG), headers={"Accept": accept}).content_type == SVG

        problem = refused(sold, "GET", in_form(QUESTION, PNG), status=406, headers={"Accept": SVG}).json
        assert problem["detail"].endswith("image/png")

    @every_image
    def test_a_sheet_that_cannot_be_computed_gives_a_problem_document(self, sold: Client, form: str) -> None:
        for question, status in (
            ("products/unknown/cost-sheet?quantity=20", 404),
            ("products/sheet/cost-sheet?quantity=0", 422),
            ("products/sheet/cost-sheet?quantity=20&as_of=2020-01-01", 422),
        ):
            refused(sold, "GET", in_form(question, form), status=status)

    @every_image
    def test_head_gives_the_headers_of_get_without_the_body(self, sold: Client, form: str) -> None:
        whole = shown(sold, form)

        head = sold.request("HEAD", in_form(QUESTION, form))

        assert head.status_code == 200
        assert head.data == b""
        for name in ("Content-Type", "Content-Length", "ETag"):
            assert head.headers[name] == whole.headers[name]

    def test_an_opened_svg_may_neither_run_nor_load_anything(self, sold: Client) -> None:
        policies = {form: shown(sold, form).headers.get("Content-Security-Policy") for form in (JSON, SVG, PNG)}

        api = "default-src 'none'; frame-ancestors 'none'"
        assert policies == {JSON: api, SVG: "default-src 'none'; style-src 'unsafe-inline'", PNG: None}
        assert shown(sold, SVG).headers["X-Content-Type-Options"] == "nosniff"


class TestConditions:
    def test_each_form_has_its_own_tag_that_stays_while_nothing_changes(self, sold: Client) -> None:
        first = [shown(sold, form).headers["ETag"] for form in (JSON, SVG, PNG)]
        again = [shown(sold, form).headers["ETag"] for form in (PNG, SVG, JSON)]

        assert len(set(first)) == 3
        assert again == first[::-1]

    @every_form
    def test_a_matching_tag_spares_the_answer_in_its_own_form_only(self, sold: Client, form: str) -> None:
        tag = shown(sold, form).headers["ETag"]

        for each in (JSON, SVG, PNG):
            response = shown(sold, each, **{"If-None-Match": tag})
            assert response.status_code == (304 if each == form else 200)
            assert bool(response.data) is (each != form)

    @every_form
    def test_if_match_with_an_outdated_tag_is_refused(self, sold: Client, form: str) -> None:
        tag = shown(sold, form).headers["ETag"]
        assert shown(sold, form, **{"If-Match": tag}).status_code == 200

        sold.put("tariffs/grid/rates/2026-02-01", tariff_rate("0.60"))

        refused(sold, "GET", in_form(QUESTION, form), status=412, headers={"If-Match": tag})

    @every_form
    def test_each_form_is_sent_again_once_a_rate_has_changed(self, sold: Client, form: str) -> None:
        before = shown(sold, form)
        sold.put("tariffs/grid/rates/2026-02-01", tariff_rate("0.60"))

        after = shown(sold, form, **{"If-None-Match": before.headers["ETag"]})

        assert after.status_code == 200
        assert after.data != before.data

    def test_forms_are_cached_separately_in_whatever_order_they_are_requested(self, sold: Client) -> None:
        order = (PNG, JSON, SVG, JSON, PNG, SVG)

        answers = [shown(sold, form) for form in order]

        assert [answer.content_type for answer in answers] == list(order)
        for form in (JSON, SVG, PNG):
            assert len({answer.data for answer in answers if answer.content_type == form}) == 1
        assert answers[0].data.startswith(b"\x89PNG")
        assert answers[2].data.startswith(b"<?xml")
