"""A month as a page for a browser."""

import base64

from service.documents.drawing.drawing import ImageForm
from service.documents.month.month_chart import month_chart
from service.documents.month.month_view import month_view
from service.documents.writing.pages import page
from service.domain.month.statement import MonthStatement


def month_page(statement: MonthStatement, locale: str) -> str:
    """The month as HTML, with its chart."""
    view = month_view(statement, locale)
    picture = base64.b64encode(month_chart(statement, ImageForm.SVG, locale=locale)).decode()
    return page(
        "month.html",
        language=view.language,
        title=view.title,
        view=view,
        picture=f"data:{ImageForm.SVG.value};base64,{picture}",
    )
