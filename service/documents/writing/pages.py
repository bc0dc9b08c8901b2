"""HTML pages from templates that escape all values."""

import base64
import hashlib
from functools import lru_cache
from typing import Any

from babel import Locale
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from service.documents.writing.typesetting import TEMPLATES


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


@lru_cache(maxsize=1)
def style() -> str:
    """The style sheet that every page contains."""
    return (TEMPLATES / "page.css").read_text("utf-8")


@lru_cache(maxsize=1)
def content_security_policy() -> str:
    """Allows a page its own style and pictures: no script, nothing from elsewhere.

    Source: W3C, Content Security Policy Level 3.
    """
    digest = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    allowed = f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:"
    return f"{allowed}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def page(template: str, *, language: str, title: str, **values: Any) -> str:
    """A page.

    Args:
        template: file name in `templates`, for instance "quotation.html".
        language: of the words; decides the direction of the page.
        title: of the page.
        values: further values that the template names.
    """
    found = _environment().get_template(template)
    return found.render(style=style(), direction=direction_of(language), language=language, title=title, **values)


def direction_of(language: str) -> str:
    """The direction in which a language is written: ltr or rtl."""
    return "rtl" if Locale.parse(language).character_order == "right-to-left" else "ltr"
