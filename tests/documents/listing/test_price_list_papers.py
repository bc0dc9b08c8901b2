"""A price list for the wall, and labels for the shelf: what buyers read, in their words and figures."""

import io
from decimal import Decimal
from typing import Any

import pytest
from pypdf import PdfReader

from service.documents.listing.price_list_page import LabelSheet, price_list_page, price_list_pdf, shelf_labels_pdf
from service.documents.listing.price_list_paper import PriceListView, ShelfLabelsView
from service.documents.listing.price_list_view import common_locale, price_list_view, shelf_labels_view
from service.documents.writing.plain_text import STAND_IN
from service.documents.writing.typesetting import paper_locale
from service.domain.listing.price_list import PriceListEntry
from service.domain.listing.unit_price import Measure, UnitPrice
from service.domain.selling.channels import Display
from service.domain.values.errors import InvalidValuesError
from service.domain.values.units import Unit
from tests.documents.entries import a_caution, beam
from tests.documents.nasty_texts import NASTY_TEXTS
from tests.domain.examples import TODAY, money

KEPT_DRY = a_caution("Keep it dry.")


def priced(price: str = "12.30", currency: str = "EUR", **changes: Any) -> PriceListEntry:
    amount = money(price, currency)
    taxed = {"display": Display.TAX_INCLUSIVE, "tax_share": Decimal("0.2"), "currency": currency}
    return beam(**{"price": amount, "gross_price": amount, "net_price": amount, **taxed, **changes})


def a_stall() -> list[PriceListEntry]:
    """A beam, an upright with a price per metre and in cash, a hundred clips before tax, and a pot without a price."""
    per_metre = UnitPrice(measure=Measure.METRE, content=Decimal("1.2"), price=money("42.54", "CHF"), formula="")
    return [
        priced(name="Beam", description="Of old crates.", cautions=(KEPT_DRY, a_caution("Not a toy."))),
        priced(
            "51.04",
            "CHF",
            listing="upright",
            name="Upright",
            cash_price=money("51.05", "CHF"),
            unit_price=per_metre,
            cautions=(KEPT_DRY,),
        ),
        priced(
            listing="clips",
            name="Clip",
            channel="depot",
            channel_name="Depot",
            base_quantity=100,
            display=Display.TAX_EXCLUSIVE,
            gross_price=money("14.7599", "EUR"),
            cautions=(KEPT_DRY,),
        ),
        beam(listing="pot", name="Pot", problem="no rate for materials/resin"),
    ]


def list_of(entries: list[PriceListEntry], locale: str = "en_IE") -> PriceListView:
    return price_list_view(entries, seller="Marrow Bay Plastics", locale=locale, as_of=TODAY)


def labels_of(entries: list[PriceListEntry], locale: str = "en_IE") -> ShelfLabelsView:
    return shelf_labels_view(entries, seller="Marrow Bay Plastics", locale=locale, as_of=TODAY)


def pages_of(pdf: bytes) -> list[str]:
    found = PdfReader(io.BytesIO(pdf)).pages
    return [" ".join(page.extract_text().split()).replace("\u00a0", " ") for page in found]


def plain(texts: tuple[str, ...]) -> list[str]:
    return [each.replace("\u00a0", " ") for each in texts]


class TestAPriceList:
    @pytest.mark.parametrize(
        ("locale", "unit", "base", "shown"),
        [
            ("en_IE", Unit.KILOGRAM, 1, "1 kg"),
            ("de_AT", Unit.KILOGRAM, 1000, "1.000 kg"),
            ("fr_FR", Unit.HOUR, 1, "1 h"),
            ("en_IE", Unit.SQUARE_METRE, 12, "12 m²"),
        ],
    )
    def test_says_the_unit_that_a_price_is_for(self, locale: str, unit: Unit, base: int, shown: str) -> None:
        flakes = priced("1.06", unit=unit, base_quantity=base)

        (group,), (label,) = list_of([flakes], locale).groups, labels_of([flakes], locale).labels

        for told in (group.rows[0].cells[0], label.lines[0]):
            assert told.replace("\u202f", " ").replace("\u00a0", " ") == shown

    def test_is_by_channel_with_cash_and_unit_prices_where_there_are_any(self) -> None:
        depot, shop = list_of(a_stall()).groups

        assert (depot.title, depot.note) == ("Depot", "Prices without tax.")
        assert list(depot.columns) == ["Product", "For", "Price"]
        assert [plain(row.cells) for row in depot.rows] == [["100 pieces", "€12.30"]]
        assert (shop.title, shop.note) == ("Own shop", "Prices with tax.")
        assert list(shop.columns) == ["Product", "For", "Unit price", "Price", "In cash"]
        assert [(row.text, plain(row.cells)) for row in shop.rows] == [
            ("Beam", ["1 piece", "", "€12.30", ""]),
            ("Upright", ["1 piece", "CHF 42.54/m", "CHF 51.04", "CHF 51.05"]),
            ("Pot", []),
        ]

    def test_has_the_reason_where_there_is_no_price(self) -> None:
        assert list_of(a_stall()).groups[1].rows[2].problem == "No price: no rate for materials/resin"

    def test_says_nothing_of_tax_where_none_is_due(self) -> None:
        assert list_of([priced(tax_share=Decimal(0))]).groups[0].note == ""

    def test_has_each_caution_once_with_the_products_that_it_is_about(self) -> None:
        found = [(each.figure, each.text, each.note) for each in list_of(a_stall()).cautions]

        assert found == [("", "Keep it dry.", "A book"), ("Beam", "Not a toy.", "A book")]

    def test_of_nothing_says_so(self) -> None:
        assert list_of([]).empty == "No listing is on this list."
        assert labels_of([]).unlabelled[0].text == "No listing is on this list."

    @pytest.mark.parametrize("locale", ["en_IE", "de_DE", "ar_EG", "ja_JP"])
    def test_says_the_same_as_page_and_pdf_without_squares(self, locale: str) -> None:
        view = list_of(a_stall(), paper_locale(locale))

        page, pdf = price_list_page(view).replace("\u00a0", " "), " ".join(pages_of(price_list_pdf(view)))

        for told in (view.word, "Upright", "Of old crates.", "no rate for materials/resin", "Keep it dry."):
            assert told in page
            assert told in pdf
        assert STAND_IN not in pdf

    def test_is_in_the_locale_of_all_its_listings_if_they_have_one(self) -> None:
        assert common_locale(a_stall()) == "en_IE"
        assert common_locale([*a_stall(), beam(locale="de_AT")]) is None
        assert common_locale([]) is None

    def test_takes_any_name(self) -> None:
        texts = NASTY_TEXTS.values()
        entries = [
            priced(name=each, description=each, channel_name=each, cautions=(a_caution(each),)) for each in texts
        ]

        assert price_list_pdf(list_of(entries)).startswith(b"%PDF-")
        assert shelf_labels_pdf(labels_of(entries), LabelSheet()).startswith(b"%PDF-")


class TestShelfLabels:
    def test_have_the_price_that_is_paid_with_tax(self) -> None:
        found = [(each.name, each.price, plain(each.lines), each.code) for each in labels_of(a_stall()).labels]

        assert [(name, price.replace("\u00a0", " "), *rest) for name, price, *rest in found] == [
            ("Beam", "€12.30", ["1 piece"], "beam-shop"),
            ("Upright", "CHF 51.04", ["1 piece · CHF 42.54/m", "in cash CHF 51.05"], "upright"),
            ("Clip", "€14.76", ["100 pieces"], "clips"),
        ]

    def test_are_a_sheet_each_and_the_last_page_says_what_has_none(self) -> None:
        pages = pages_of(shelf_labels_pdf(labels_of(a_stall()), LabelSheet(columns=2, rows=2, skip=1, copies=2)))

        assert [page.count("€12.30") for page in pages] == [2, 0, 0]
        assert [page.count("51.05") for page in pages] == [1, 1, 0]
        assert pages[2] == "Without a label Pot pot no rate for materials/resin"

    def test_are_all_there_is_where_everything_has_a_price(self) -> None:
        (page,) = pages_of(shelf_labels_pdf(labels_of(a_stall()[:3]), LabelSheet()))

        assert "Clip" in page

    def test_lie_where_the_measures_of_the_sheet_say(self) -> None:
        sheet = LabelSheet(
            columns=3, rows=7, margin_x_mm=Decimal("7.2"), margin_y_mm=Decimal("15.1"), gap_x_mm=Decimal("2.5")
        )
        assert (round(sheet.width_mm, 1), round(sheet.height_mm, 1)) == (Decimal("63.5"), Decimal("38.1"))
        data = PdfReader(io.BytesIO(shelf_labels_pdf(labels_of([priced(name="Beam")] * 4), sheet)))
        places: list[tuple[float, float]] = []

        def visit(text: str, outer: list[float], *_: Any) -> None:
            if "Beam" in text:
                places.append((outer[4] / 72 * 25.4, outer[5] / 72 * 25.4))

        data.pages[0].extract_text(visitor_text=visit)
        across, down = places[1][0] - places[0][0], places[0][1] - places[3][1]
        assert across == pytest.approx(66, abs=0.1)
        assert down == pytest.approx(38.1, abs=0.2)

    @pytest.mark.parametrize(
        ("measures", "member"),
        [
            ({"columns": 6, "margin_x_mm": "30"}, "columns"),
            ({"rows": 15, "gap_y_mm": "5"}, "rows"),
            ({"columns": 2, "rows": 4, "skip": 8}, "skip"),
        ],
    )
    def test_that_nobody_could_read_or_print_are_refused(self, measures: dict[str, Any], member: str) -> None:
        figures = {name: Decimal(value) if isinstance(value, str) else value for name, value in measures.items()}

        with pytest.raises(InvalidValuesError) as refusal:
            LabelSheet(**figures)

        assert [each.path for each in refusal.value.problems] == [(member,)]
