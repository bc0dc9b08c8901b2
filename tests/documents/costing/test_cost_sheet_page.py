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
from service.domain.costing.rates import MaterialRate
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.learning import LearningCurve
from service.domain.making.plausibility import warnings
from service.domain.making.products import Product
from tests.domain.examples import TODAY, Shop, a_line, a_material, a_product, a_shop, an_operation, an_overhead, euros
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
    shop: Shop, quantity: int | Decimal = 250, locale: str = "en_IE", seller: str = "Marrow Bay Plastics"
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


class TestOtherUnits:
    """A product by the kilogram or the hour, with a gate fee for its flakes, and pools on orders and setups."""

    @staticmethod
    def shop(unit: str, price: str) -> Shop:
        line = a_line(quantity_per_piece="1", process_loss_share="0.2")
        work = an_operation(cycle_minutes="0", units_per_hour="20", pieces_per_cycle=1)
        terms = {"materials/hdpe": MaterialRate(price=euros(price), disposal_cost=euros("0.1"))}
        pools = {"office": an_overhead("order", name="Office"), "fitting": an_overhead("setup", name="Fitting")}
        product = a_product(unit=unit, bill_of_materials=[line], operations=[work, replace(work, name="again")])
        return a_shop(product, overheads=pools, terms=terms)

    @pytest.mark.parametrize(
        ("unit", "locale", "batch", "cost", "column", "title"),
        [
            ("kg", "en_IE", ("Quantity of the batch", "137.5 kg"), "Full cost per kg", "Per kg", "Cost per kg"),
            ("kg", "de_DE", ("Menge des Loses", "137,5 kg"), "Vollkosten je kg", "Je kg", "Kosten je kg"),
            ("m3", "fr_FR", ("Quantité du lot", "137,5\u202fm³"), "Coût complet par m³", "Par m³", "Coût par m³"),
            ("hour", "de_DE", ("Menge des Loses", "137,5 Std."), "Vollkosten je Stunde", "Je Stunde", "Kosten je h"),
        ],
    )
    def test_are_named_with_every_quantity_and_cost(
        self, unit: str, locale: str, batch: tuple[str, str], cost: str, column: str, title: str
    ) -> None:
        view = view_of(self.shop(unit, "0.5"), Decimal("137.5"), locale)

        assert (view.facts[1].text, view.facts[1].figure) == batch
        assert (view.facts[-1].text, view.columns[-1]) == (cost, column)
        assert title in [section.title for section in view.workings]
        started = view.workings[0].workings[0].result
        assert started.endswith({"kg": "\u00a0kg", "m3": "\u00a0m³", "hour": "\u00a0h"}[unit])

    def test_and_a_cost_below_0_make_a_sheet_without_shares(self) -> None:
        view = view_of(self.shop("kg", "-9"), Decimal("137.5"))

        assert view.facts[-1].figure.startswith("-€")
        rows = [row for group in view.groups for row in group.rows]
        assert {row.note for row in rows} == {"variable", "fixed"}
        quantities = {row.text: row.quantity for row in rows}
        assert quantities["Office"] == "1\u00a0order"
        assert quantities["Fitting"] == "2\u00a0setups"
        assert "HDPE flakes, disposal of waste" in quantities
        assert "disposal of waste" in text_of(cost_sheet_pdf(view))


class TestTwoHundredLines:
    def test_are_written_in_full_as_pdf_and_as_a_page(self) -> None:
        view = a_long_sheet()

        pdf, page = cost_sheet_pdf(view), cost_sheet_page(view)

        text = text_of(pdf)
        assert "Flakes of shade 0" in text
        assert "Flakes of shade 199" in text
        assert "Flakes of shade 199" in page
