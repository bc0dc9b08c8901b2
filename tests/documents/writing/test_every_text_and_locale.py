"""Whatever text is accepted and whichever locale: there is a PDF."""

import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from babel import localedata
from pypdf import PdfReader

from service.documents.costing.cost_sheet_page import cost_sheet_pdf
from service.documents.costing.cost_sheet_paper import CostSheetView
from service.documents.quoting.quotation_page import quotation_pdf
from service.documents.quoting.quotation_paper import QuotationPaper
from service.documents.quoting.quotation_view import quotation_view
from service.documents.writing import typesetting
from service.documents.writing.formats import (
    PaperLocale,
    formatted_date,
    formatted_price,
    formatted_rate,
    formatted_unit_price,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.pages import direction_of
from service.documents.writing.paper import country_of
from service.documents.writing.plain_text import STAND_IN, plain, unmarked
from service.documents.writing.typesetting import paper_locale, typeset
from service.domain.listing.unit_price import Measure, UnitPrice
from service.domain.values.money import Money
from tests.documents.costing.test_cost_sheet_page import a_usual_shop, view_of
from tests.documents.nasty_texts import NASTY_TEXTS
from tests.documents.quoting.test_quotation_papers import a_paper
from tests.domain.examples import TODAY, a_product, an_operation
from tests.domain.quoting.test_quoted_batches import a_sheet_line
from tests.support.profiles import first_seed

LOCALES = sorted(localedata.locale_identifiers())
EVERY_TEXT = list(NASTY_TEXTS.values())


@pytest.fixture
def templates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with what all papers share and two templates of its own."""
    for shared in ("paper.typ", "glyphs.typ"):
        shutil.copy(typesetting.TEMPLATES / shared, tmp_path)
    start = '#import "paper.typ": *\n#let data = json(bytes(sys.inputs.data))\n'
    (tmp_path / "text.typ").write_text(
        f"{start}#show: it => paper(data, it)\n= #data.text\n#par(breakable(data.text))\n"
        "#strong(breakable(data.text)) #text(dir: ltr, breakable(data.text))\n"
    )
    (tmp_path / "locales.typ").write_text(
        f'{start}#set document(title: "t")\n#for each in data.locales {{ text(..language-of(each))[x ] }}\n'
    )
    monkeypatch.setattr(typesetting, "TEMPLATES", tmp_path)
    return tmp_path


def pdf_of(text: str, direction: str = "ltr") -> bytes:
    shared = {"title": "t", "seller": text, "day": (2026, 11, 25), "language": "en", "region": ""}
    return typeset("text.typ", {**shared, "text": text, "direction": direction})


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def quoted_to_everybody(locale: str) -> QuotationPaper:
    """A quotation with every text wherever a person can write one."""
    lines = [a_sheet_line(quantity=1, description=text) for text in EVERY_TEXT]
    everything = "\n".join(EVERY_TEXT)
    customer = {"name": EVERY_TEXT[0], "address": everything, "contact": EVERY_TEXT[1], "reference": EVERY_TEXT[2]}
    paper = a_paper(lines, locale=locale, customer=customer, note=everything, delivery=everything, shipping=None)
    return replace(paper, letterhead=replace(paper.letterhead, seller=EVERY_TEXT[0], seller_address=everything))


def cost_sheet_of_everything(locale: str) -> CostSheetView:
    """A cost sheet on which every text is the name of something."""
    operations = [an_operation(name=text) for text in EVERY_TEXT]
    product = a_product(name=EVERY_TEXT[0], operations=operations)
    return view_of(a_usual_shop(product), locale=locale, seller=EVERY_TEXT[0])


def figures_in(locale: str) -> Iterator[str]:
    """Amounts, shares and dates as the locale has them on paper."""
    paper = paper_locale(locale)
    for currency in ("EUR", "JPY", "INR"):
        yield formatted_price(Money(amount=Decimal("-1234.5"), currency=currency), paper)
    price = Money(amount=Decimal("3.2"), currency="EUR")
    yield formatted_unit_price(
        UnitPrice(measure=Measure.SQUARE_METRE, content=Decimal(1), price=price, formula=""), paper
    )
    yield formatted_rate(Decimal("0.125"), paper)
    yield from (formatted_date(TODAY, paper, is_short=is_short) for is_short in (False, True))


class TestEveryText:
    @pytest.mark.parametrize("direction", ["ltr", "rtl"])
    @pytest.mark.parametrize("text", NASTY_TEXTS.values(), ids=NASTY_TEXTS.keys())
    def test_gives_a_pdf_in_either_direction(self, templates: Path, text: str, direction: str) -> None:
        assert pdf_of(isolated(text), direction).startswith(b"%PDF-")

    def test_gives_a_quotation_in_one_with_all_others(self) -> None:
        pdf = quotation_pdf(quotation_view(quoted_to_everybody("en_IE")))

        assert "Q000042" in text_of(pdf)

    def test_gives_a_cost_sheet_in_one_with_all_others(self) -> None:
        assert cost_sheet_pdf(cost_sheet_of_everything("he_IL")).startswith(b"%PDF-")

    def test_is_accepted_as_a_name(self) -> None:
        assert {line.description for line in quoted_to_everybody("en_IE").request.lines} == set(EVERY_TEXT)

    @pytest.mark.parametrize(
        ("text", "shown"),
        [
            ("Brick\ufeff yard", "Brick yard"),
            ("👩🏽\u200d🏭", STAND_IN * 3),
            ("a\ufffeb", f"a{STAND_IN}b"),
            ("砖\u034f 12", f"{STAND_IN} 12"),
            ("Brick\u2122\ufe0f", "Brick™"),
        ],
    )
    def test_shows_a_square_for_what_has_no_font_and_nothing_for_what_is_invisible(
        self, templates: Path, text: str, shown: str
    ) -> None:
        assert text_of(pdf_of(text)).count(shown) == 4

    def test_is_the_same_to_the_byte_even_if_simplified(self, templates: Path) -> None:
        text = isolated(NASTY_TEXTS["Arabic and a sign without a font"])

        assert pdf_of(text) == pdf_of(text)


class TestSimplifying:
    def test_leaves_letters_and_the_direction_of_figures(self) -> None:
        assert unmarked("أَمۡ") == "أم"
        assert unmarked("Cafe\u0301 \u2068\u200f5.00\u2069") == "Café \u2068\u200f5.00\u2069"

    def test_takes_isolates_away_that_no_figure_needs(self) -> None:
        assert unmarked("\u2067" * 130 + "שמש") == "שמש"

    def test_ends_with_letters_of_one_direction(self) -> None:
        assert plain("Brick \u2068שמש\u2069 5\u0301") == f"Brick {STAND_IN * 3} 5"


class TestEveryLocale:
    def test_is_one_whose_words_country_and_direction_can_be_told_in_a_pdf(self, templates: Path) -> None:
        told = {(labels_for(each).language, country_of(each)) for each in LOCALES}

        locales = [
            {"language": language, "region": region, "direction": direction_of(language)}
            for language, region in sorted(told)
        ]
        assert len(locales) > 250
        assert typeset("locales.typ", {"locales": locales}).startswith(b"%PDF-")

    @pytest.mark.parametrize(
        ("locale", "country"), [("de_AT", "AT"), ("de", ""), ("es_419", ""), ("en_150", ""), ("sr_Latn_RS", "RS")]
    )
    def test_has_a_country_or_none(self, locale: str, country: str) -> None:
        assert country_of(locale) == country

    def test_has_glyphs_for_every_amount_and_date(self, templates: Path) -> None:
        """Locales of the same language and script share their characters, so that one of them is enough."""
        without_country = [each for each in LOCALES if all(len(part) == 4 for part in each.split("_")[1:])]

        told = list(dict.fromkeys(each for locale in without_country for each in figures_in(locale)))

        assert len(told) > 500
        assert STAND_IN not in text_of(pdf_of(" ".join(told)))

    @pytest.mark.parametrize(
        ("locale", "currency", "amount", "day"),
        [
            ("ja", "JPY", "JPY 1,235", "2026-11-25"),
            ("zh_CN", "CNY", "¥1,234.50", "2026-11-25"),
            ("ko", "KRW", "₩1,235", "2026-11-25"),
            ("th", "THB", "฿1,234.50", "2026-11-25"),
            ("bn", "BDT", "1,234.50 BDT", "2026-11-25"),
            ("ta", "INR", "₹1,234.50", "2026-11-25"),
            ("de", "EUR", "1.234,50 €", "25. November 2026"),
        ],
    )
    def test_has_the_code_of_the_currency_and_the_iso_date_where_a_font_is_missing(
        self, locale: str, currency: str, amount: str, day: str
    ) -> None:
        paper, price = paper_locale(locale), Money(amount=Decimal("1234.5"), currency=currency)

        assert formatted_price(price, paper).replace("\u00a0", " ") == amount
        assert formatted_date(TODAY, paper) == day
        assert formatted_date(TODAY, locale) != "2026-11-25"

    def test_uses_its_own_notation_with_fonts_that_have_it(self, tmp_path: Path) -> None:
        everything = PaperLocale("ja", lambda text: True)

        assert formatted_date(TODAY, everything) == "2026年11月25日"
        assert formatted_date(TODAY, paper_locale("ja", tmp_path)) == "2026-11-25"

    @pytest.mark.parametrize("locale", ["es_419", "ar_001"])
    def test_of_several_countries_gives_both_papers(self, locale: str) -> None:
        assert quotation_pdf(quotation_view(a_paper(locale=locale))).startswith(b"%PDF-")
        assert cost_sheet_pdf(view_of(a_usual_shop(), locale=locale)).startswith(b"%PDF-")

    @pytest.mark.nightly
    @pytest.mark.parametrize("locale", LOCALES)
    def test_gives_both_papers_with_a_text_of_those(self, locale: str) -> None:
        """Another seed gives each locale another text."""
        text = EVERY_TEXT[(LOCALES.index(locale) + first_seed()) % len(EVERY_TEXT)]
        paper = a_paper([a_sheet_line(quantity=1, description=text)], locale=locale, customer={"name": text}, note=text)
        product = a_product(name=text, operations=[an_operation(name=text)])

        assert quotation_pdf(quotation_view(paper)).startswith(b"%PDF-")
        assert cost_sheet_pdf(view_of(a_usual_shop(product), locale=locale, seller=text)).startswith(b"%PDF-")
