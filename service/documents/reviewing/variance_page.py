"""The variances of a batch as an HTML page and as PDF."""

import base64
from pathlib import Path

from service.documents.reviewing.variance_paper import VarianceView
from service.documents.writing.pages import direction_of, page
from service.documents.writing.typesetting import typeset
from service.encoding import encoded


def variance_page(view: VarianceView) -> str:
    """The variances as HTML, with their picture."""
    chart = "data:image/svg+xml;base64," + base64.b64encode(view.chart.encode()).decode()
    return page("variances.html", language=view.language, title=view.title, view=view, chart=chart)


def variance_pdf(view: VarianceView, fonts: Path | None = None) -> bytes:
    """The variances as PDF, reproducible to the byte."""
    return typeset("variances.typ", {**encoded(view), "direction": direction_of(view.language)}, fonts)
