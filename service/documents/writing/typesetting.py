"""Typesets data by a template as PDF: tagged, archivable, with embedded fonts; reproducible to the byte."""

import json
import re
from pathlib import Path
from typing import Any

import typst

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"
STAND_IN = "\u25a1"
"""Replaces a character that no font has."""
_MISSING = re.compile(r'the text `"((?:[^"\\]|\\.)+)"` could not be displayed')
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-f]+)\}|(.))")
_ESCAPED = {"n": "\n", "r": "\r", "t": "\t", "0": "\0"}
_TRIES = 3


def typeset(template: str, data: Any, fonts: Path | None = None) -> bytes:
    """The data as PDF.

    Text in the data stays text: it is not read as markup, and opens no file or address. A character that no font has is
    shown as a square, since a plain PDF would have a gap.

    Args:
        template: file name in `templates`, for instance "quotation.typ".
        data: plain data, which the template reads as JSON.
        fonts: a directory with further font files.
    """
    for _ in range(_TRIES):
        try:
            return _compiled(template, data, fonts)
        except typst.TypstError as error:
            missing = {_plain(each) for each in _MISSING.findall(error.diagnostic)}
            if not missing:
                raise
            data = _replaced(data, missing)
    return _compiled(template, data, fonts)


def _compiled(template: str, data: Any, fonts: Path | None) -> bytes:
    return typst.compile(
        TEMPLATES / template,
        root=TEMPLATES,
        font_paths=[fonts] if fonts else [],
        ignore_system_fonts=True,
        format="pdf",
        pdf_standards=["a-3b", "ua-1"],  # ISO 19005-3 and ISO 14289-1
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
    )


def _plain(debugged: str) -> str:
    """The text without escapes."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else _ESCAPED.get(found[2], found[2]), debugged)


def _replaced(data: Any, missing: set[str]) -> Any:
    if isinstance(data, dict):
        return {name: _replaced(each, missing) for name, each in data.items()}
    if isinstance(data, list):
        return [_replaced(each, missing) for each in data]
    if isinstance(data, str):
        for each in missing:
            data = data.replace(each, STAND_IN)
    return data
