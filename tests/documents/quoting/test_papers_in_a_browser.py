"""A quotation in a real browser: on a phone, at a desk and on paper."""

import pytest

from service.documents.quoting.quotation_page import quotation_page
from service.documents.quoting.quotation_view import quotation_view
from service.domain.quoting.life import Status
from tests.documents.quoting.test_quotation_papers import ARABIC, HEBREW, LONG, a_paper
from tests.domain.quoting.test_quoted_batches import a_sheet_line
from tests.support.browser import DESK, PHONE, Browser

LINES_OF_TEXT = """each => {
    const range = document.createRange();
    range.selectNodeContents(each);
    return new Set([...range.getClientRects()].map(box => Math.round(box.top))).size;
}"""
"""JavaScript function: number of lines that the text of an element takes on the page."""
widths = pytest.mark.parametrize("width", [PHONE, DESK])


@widths
@pytest.mark.parametrize("locale", ["en_IE", "de_DE", "fr_FR", "ar_EG"])
def test_a_quotation_fits_its_window_and_fetches_nothing(browser: Browser, width: int, locale: str) -> None:
    view = quotation_view(a_paper(locale=locale, status=Status.DRAFT))

    browser.show(quotation_page(view), width)

    assert browser.complaints() == []
    assert browser.overflow == 0
    for told in (view.state, view.reference, view.seller, view.total.figure, view.intro):
        assert " ".join(told.split()) in browser.text


@widths
@pytest.mark.parametrize("name", [LONG, HEBREW, ARABIC, "砖" * 200])
def test_a_quotation_with_any_name_fits_its_window(browser: Browser, width: int, name: str) -> None:
    line = a_sheet_line(description=name, quantity_breaks=[1000], charges=[{"reason": name, "amount": "7"}])
    paper = a_paper([line], customer={"name": name, "address": f"{name}\n{name}"}, note=name)

    browser.show(quotation_page(quotation_view(paper)), width)

    assert browser.overflow == 0
    assert name in browser.text.replace(" ", "") or name in browser.text


def test_no_amount_is_broken_on_a_phone(browser: Browser) -> None:
    browser.show(quotation_page(quotation_view(a_paper(locale="de_DE"))), PHONE)

    rows = browser.value(f"[...document.querySelectorAll('.totals .figure')].map({LINES_OF_TEXT})")

    assert len(rows) > 3
    assert set(rows) == {1}


def test_figures_stand_one_below_the_other_at_a_desk(browser: Browser) -> None:
    browser.show(quotation_page(quotation_view(a_paper())), DESK)

    rights = browser.value(
        "[...document.querySelectorAll('.totals .figure')].map(each => Math.round(each.getBoundingClientRect().right))"
    )

    assert len(rights) > 3
    assert len(set(rights)) == 1


def test_two_hundred_lines_go_onto_pages_with_the_heading_on_each(browser: Browser) -> None:
    lines = [a_sheet_line(description=f"Sheet of shade {place}") for place in range(200)]
    browser.show(quotation_page(quotation_view(a_paper(lines, shipping=None))), DESK)

    pages = [page.extract_text() for page in browser.printed().pages]

    assert 4 < len(pages) < 30
    assert all("Price a piece" in text for text in pages[:3])
    together = " ".join(" ".join(text.split()) for text in pages)
    assert all(f"Sheet of shade {place}" in together for place in range(200))
