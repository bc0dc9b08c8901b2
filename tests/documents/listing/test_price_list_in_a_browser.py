"""A price list in a real browser, on a buyer's phone."""

from service.documents.listing.price_list_page import price_list_page
from tests.documents.listing.test_price_list_papers import a_stall, list_of, priced
from tests.support.browser import PHONE, Browser


def test_a_price_list_fits_a_phone_and_fetches_nothing(browser: Browser) -> None:
    browser.show(price_list_page(list_of([*a_stall(), priced(name="Plank" * 40)], "de_DE")), PHONE)

    assert browser.complaints() == []
    assert browser.overflow == 0
    assert "51,05" in browser.text
