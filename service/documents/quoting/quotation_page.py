"""A quotation as an HTML page and as PDF."""

from pathlib import Path

from service.documents.quoting.quotation_paper import QuotationView
from service.documents.writing.logos import logo_of_page, logo_of_paper
from service.documents.writing.pages import direction_of, page
from service.documents.writing.typesetting import typeset
from service.encoding import encoded


def quotation_page(view: QuotationView) -> str:
    """The quotation as HTML."""
    logo = logo_of_page(view.logo or None)
    return page("quotation.html", language=view.language, title=view.title, view=view, logo=logo)


def quotation_pdf(view: QuotationView, fonts: Path | None = None) -> bytes:
    """The quotation as PDF, reproducible to the byte."""
    further = {"direction": direction_of(view.language), "logo": logo_of_paper(view.logo or None)}
    return typeset("quotation.typ", {**encoded(view), **further}, fonts)
