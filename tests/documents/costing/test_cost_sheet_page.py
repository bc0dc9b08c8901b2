"""A cost sheet with its workings, as a page and as PDF: its contents in different locales and at any length."""

import base64
import io
import re
from dataclasses import replace
from decimal import Decimal

import pytest
from pypdf import PdfReader

from service.documents.costing.cost_sheet_page import cost_sheet_page, cost_sheet_pdf
from service.documents.costing.cost_sheet_paper import CostSheetView
from service.documents.costing.cost_sheet_view import cost_sheet_view
from service.domain.costing.cost_statement import cost_statement
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.learning import LearningCurve
from service.domain.making.plausibility import warnings
from service.domain.making.products import Product
from tests.domain.examples import TODAY, Shop, a_line, a_material, a_product, a_shop, an_operation, an_overhead
from tests.domain.explaining.test_workbook import workings_of

LONG = "Plank" * 40
ARABIC = "لوح من البلاستيك"
USED = UsedRates(
    source="manual", base="EUR", published_on=TODAY, rates={"USD": Decimal("1.0834")}, age_days=0, max_age_days=31
)


def a_new_product(**changes: object) -> Product:
    curve = LearningCurve(rate_share=Decimal("0.9"), pieces_before=Decimal(3))
    return replace(a_product(**changes), learning_curve=curve)


def a_usual_shop(product: Product | None = None, **changes: object) -> Shop:
    pools = {"rent": an_overhead(), "buying": an_overhead("direct_material_value", name="Buying")}
    return a_shop(product or a_new_product(), overheads=pools, **changes)


def view_of(
    shop: Shop, quantity: int = 250, locale: str = "en_IE", seller: str = "Marrow Bay Plastics"
) -> CostSheetView:
    rates_valid_from = {line.resource.partition("#")[0]: TODAY for line in shop.sheet(quantity).lines}
    statement = cost_statement(
        shop.sheet(quantity),
        rates_valid_from=rates_valid_from,
        exchange_rates=(USED,),
        warnings=warnings(shop.bill(quantity), shop.catalogue),
    )
    return cost_sheet_view(statement, workings_of(shop, quantity), seller=seller, locale=locale)


def a_long_sheet() -> CostSheetView:
    """A cost sheet with 200 materials and their workings."""
    materials = {f"m{place}": a_material(name=f"Flakes of shade {place}") for place in range(200)}
    lines = [a_line(material=code) for code in materials]
    return view_of(a_shop(a_product(bill_of_materials=lines), materials={**a_shop().catalogue.materials, **materials}))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def visible(page: str) -> str:
    body = re.sub(r"<style>.*?</style>|<img[^>]*>", "", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


@pytest.fixture(scope="module")
def usual() -> CostSheetView:
    return view_of(a_usual_shop())


class TestTheDocument:
    def test_writes_formulas_with_names_then_with_figures_then_the_result(self, usual: CostSheetView) -> None:
        page, pdf = visible(cost_sheet_page(usual)), text_of(cost_sheet_pdf(usual))

        written = [
            "cycles, pressing",
            "⌈good pieces in the batch ÷ pieces a cycle⌉ ÷ yield",
            "⌈250 ÷ 1⌉ ÷ 0.95",
            "263.1579",
            "3 ^ (1 + (−0.15200",
            "1 EUR = 1.0834 USD",
            "in force since 25 November 2026",
            "rounded up, so that the lines add up",
            "Full cost",
        ]
        for text in written:
            assert text in page
            assert text.replace(" ", "") in pdf.replace(" ", "")

    def test_has_its_picture_in_it_and_nothing_from_elsewhere(self, usual: CostSheetView) -> None:
        page = cost_sheet_page(usual)

        (source,) = re.findall(r'<img src="data:image/svg\+xml;base64,([^"]+)"', page)
        assert base64.b64decode(source).decode() == usual.chart
        assert "<script" not in page
        assert not re.findall(r'(?:src|href)="(?!data:)', page)

    def test_as_pdf_is_tagged_in_its_language_with_its_fonts_in_it(self, usual: CostSheetView) -> None:
        pdf = PdfReader(io.BytesIO(cost_sheet_pdf(usual)))

        assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]
        assert str(pdf.trailer["/Root"]["/Lang"]).startswith("en")
        assert pdf.metadata is not None
        assert pdf.metadata.title == "Cost sheet: Sheet"
        fonts = [font.get_object() for page in pdf.pages for font in page["/Resources"]["/Font"].values()]
        for font in fonts:
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            assert any(name.startswith("/FontFile") for name in inner["/FontDescriptor"].get_object())

    def test_is_the_same_to_the_byte_for_the_same_sheet(self, usual: CostSheetView) -> None:
        assert cost_sheet_pdf(usual) == cost_sheet_pdf(usual)

    @pytest.mark.parametrize(
        ("locale", "figures"),
        [
            ("de_DE", "10.526,316 × 12 × 0,6 ÷ 60"),
            ("fr_FR", "10\u202f526,316 × 12 × 0,6 ÷ 60"),
            ("he_IL", "10,526.316 × 12 × 0.6 ÷ 60"),
        ],
    )
    def test_writes_figures_as_its_locale_does(self, locale: str, figures: str) -> None:
        view = view_of(a_usual_shop(), locale=locale)

        (exchange,) = (each.text for remarks in view.remarks for each in remarks.entries if "1 EUR" in each.text)
        assert exchange.startswith("\u20661 EUR" if locale == "he_IL" else "1 EUR")
        assert figures in [each.figures for section in view.workings for each in section.workings]
        assert "".join(figures.split()) in text_of(cost_sheet_pdf(view)).replace(" ", "")

    @pytest.mark.parametrize("name", [LONG, ARABIC, "ベンチ 🪑", "<b>&amp;{{ name }}</b> #panic() $x$ `y`"])
    def test_takes_any_name_to_the_letter(self, name: str) -> None:
        operation = an_operation(name=name[:200])
        view = view_of(a_usual_shop(a_new_product(name=name[:200], operations=[operation])), seller=name[:200])

        page = cost_sheet_page(view)
        assert "<b>&amp;{{" not in page
        assert len(cost_sheet_pdf(view)) > 10_000


class TestTwoHundredLines:
    def test_are_written_in_full_as_pdf_and_as_a_page(self) -> None:
        view = a_long_sheet()

        pdf, page = cost_sheet_pdf(view), cost_sheet_page(view)

        text = text_of(pdf)
        assert "Flakes of shade 0" in text
        assert "Flakes of shade 199" in text
        assert "Flakes of shade 199" in page
