"""A job sheet in a real browser, on a phone at the bench."""

from service.documents.making.job_sheet_page import job_sheet_page
from tests.documents.making.test_job_sheet import a_product_of_everything, view_of
from tests.support.browser import PHONE, Browser


def test_a_job_sheet_fits_a_phone_and_fetches_nothing(browser: Browser) -> None:
    browser.show(job_sheet_page(view_of(a_product_of_everything(name="Plank" * 40), locale="de_DE")), PHONE)

    assert browser.complaints() == []
    assert browser.overflow == 0
