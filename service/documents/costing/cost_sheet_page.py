"""A cost sheet with its workings as an HTML page and as PDF."""

import base64
from pathlib import Path

from service.documents.costing.cost_sheet_paper import CostSheetView
from service.documents.writing.pages import direction_of, page
from service.documents.writing.typesetting import typeset
from service.encoding import encoded


def cost_sheet_page(view: CostSheetView) -> str:
    """The sheet as HTML, with its chart."""
    chart = "data:image/svg+xml;base64," + base64.b64encode(view.chart.encode()).decode()
    return page("cost_sheet.html", language=view.language, title=view.title, view=view, chart=chart)


def cost_sheet_pdf(view: CostSheetView, fonts: Path | None = None) -> bytes:
    """The sheet as PDF, reproducible to the byte."""
    return typeset("cost_sheet.typ", {**encoded(view), "direction": direction_of(view.language)}, fonts)
