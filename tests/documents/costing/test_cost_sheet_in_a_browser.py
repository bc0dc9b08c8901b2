"""A cost sheet in a real browser: on a phone, at a desk and on paper."""

import pytest

from service.documents.costing.cost_sheet_page import cost_sheet_page
from tests.documents.costing.test_cost_sheet_page import (
    ARABIC,
    LONG,
    a_long_sheet,
    a_new_product,
    a_usual_shop,
    view_of,
)
from tests.domain.examples import an_operation
from tests.support.browser import DESK, PHONE, Browser

SCROLLED = """[...document.querySelectorAll('body *')].filter(
    each => getComputedStyle(each).overflowX === 'auto' && each.scrollWidth > each.clientWidth
)"""
"""JavaScript expression: the elements that scroll by themselves."""
widths = pytest.mark.parametrize("width", [PHONE, DESK])


@widths
def test_a_cost_sheet_fits_its_window_and_fetches_nothing(browser: Browser, width: int) -> None:
    browser.show(cost_sheet_page(view_of(a_usual_shop())), width)

    assert browser.complaints() == []
    assert browser.overflow == 0
    assert "⌈250 ÷ 1⌉ ÷ 0.95" in browser.text
    assert browser.value("document.images[0].naturalWidth") > 0
    scrolled = browser.value(f"{SCROLLED}.map(each => [each.tabIndex, each.role, each.ariaLabel.length > 20])")
    assert scrolled == ([[0, "region", True]] if width == PHONE else [])


@widths
@pytest.mark.parametrize("name", [LONG, ARABIC])
def test_a_cost_sheet_with_a_long_or_right_to_left_name_fits_its_window(
    browser: Browser, width: int, name: str
) -> None:
    product = a_new_product(name=name, operations=[an_operation(name=name)])
    browser.show(cost_sheet_page(view_of(a_usual_shop(product), locale="he_IL", seller=name)), width)

    assert browser.value("document.dir") == "ltr"  # the words are English; only the names run from right to left
    assert browser.overflow == 0
    assert name in browser.text


def test_two_hundred_lines_go_onto_pages_with_the_table_heading_on_each(browser: Browser) -> None:
    browser.show(cost_sheet_page(a_long_sheet()), DESK)

    pages = browser.printed().pages

    assert 20 < len(pages) < 120
    assert [float(side) for side in pages[0].mediabox.upper_right] == pytest.approx([595, 842], abs=1)
    for page in pages[:3]:
        assert "A piece" in page.extract_text()
