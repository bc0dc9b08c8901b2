"""A job sheet as an HTML page and as PDF."""

from pathlib import Path

from service.documents.making.job_sheet_paper import JobSheetView
from service.documents.writing.pages import direction_of, page
from service.documents.writing.typesetting import typeset
from service.encoding import encoded


def job_sheet_page(view: JobSheetView) -> str:
    """The sheet as HTML."""
    return page("job_sheet.html", language=view.language, title=view.title, view=view)


def job_sheet_pdf(view: JobSheetView, fonts: Path | None = None) -> bytes:
    """The sheet as PDF, reproducible to the byte."""
    return typeset("job_sheet.typ", {**encoded(view), "direction": direction_of(view.language)}, fonts)
