"""Typesets data by a template as PDF: tagged, archivable, with embedded fonts; reproducible to the byte."""

import json
import re
from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import typst

from service.documents.writing.formats import PaperLocale
from service.documents.writing.plain_text import STAND_IN, is_ignorable, plain, unmarked, unmarked_if_turning

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"
_NAMED = re.compile(r'(?:the text|codepoint) `"((?:[^"\\]|\\.)+)"`')
"""How the typesetter names what no font has, and what the standards forbid."""
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-f]+)\}|(.))")
_ESCAPED = {"n": "\n", "r": "\r", "t": "\t", "0": "\0"}
_SIMPLIFIED: tuple[Callable[[str], str], ...] = (unmarked_if_turning, unmarked, plain)
"""What texts are reduced to if the typesetter fails on them, one after the other."""
_TRIES = 8


def typeset(template: str, data: Any, fonts: Path | None = None) -> bytes:
    """The data as PDF.

    Text in the data stays text: it is not read as markup, and opens no file or address. A character that no font has is
    shown as a square, since a plain PDF would have a gap; one that shows nothing is left out. If the typesetter fails
    on a text otherwise (it breaks down on some marks in texts of both directions), texts are simplified step by step.

    Args:
        template: file name in `templates`, for instance "quotation.typ".
        data: plain data, which the template reads as JSON.
        fonts: a directory with further font files.
    """
    for simplify in _SIMPLIFIED:
        try:
            return _with_stand_ins(template, data, fonts)
        except BaseException as fault:
            if not is_the_typesetters(fault):
                raise
        data = _changed(data, simplify)
    return _with_stand_ins(template, data, fonts)


def paper_locale(locale: str, fonts: Path | None = None) -> PaperLocale:
    """The locale for a paper in the typesetter's fonts and those of a directory."""
    return PaperLocale(locale, partial(_has_glyphs, fonts=fonts))


def _has_glyphs(text: str, fonts: Path | None) -> bool:
    """Whether the fonts have glyphs for all that the text shows; the typesetter alone knows, so it is asked once."""
    known = _glyphs(fonts)
    if unknown := {each for each in text if not each.isascii()} - known.keys():
        try:
            _compiled("glyphs.typ", sorted(each for each in unknown if not is_ignorable(each)), fonts)
        except typst.TypstError as error:
            lacking = {each for named in _NAMED.findall(error.diagnostic) for each in _unescaped(named)}
            if not lacking & unknown:
                raise
            known.update(dict.fromkeys(lacking & unknown, False))
        known.update(dict.fromkeys(unknown - known.keys(), True))
    return all(known.get(each, True) for each in text)


@lru_cache(maxsize=8)
def _glyphs(_fonts: Path | None) -> dict[str, bool]:
    """The characters asked about so far, and whether the fonts have a glyph for each."""
    return {}


def is_the_typesetters(fault: BaseException) -> bool:
    """Whether it is an error that the typesetter reports, or a panic, whose class is no Exception and has no module."""
    return isinstance(fault, typst.TypstError) or type(fault).__name__ == "PanicException"


def _with_stand_ins(template: str, data: Any, fonts: Path | None) -> bytes:
    """The data as PDF, with replacements for what the typesetter refuses by name."""
    for _ in range(_TRIES):
        try:
            return _compiled(template, data, fonts)
        except typst.TypstError as error:
            refused = {_unescaped(each) for each in _NAMED.findall(error.diagnostic)}
            if not refused:
                raise
            data = _changed(data, partial(_replaced, refused=refused))
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


def _unescaped(quoted: str) -> str:
    """The text without escapes."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else _ESCAPED.get(found[2], found[2]), quoted)


def _replaced(text: str, refused: set[str]) -> str:
    for each in sorted(refused, key=lambda each: (-len(each), each)):  # the longest first, and always the same
        text = text.replace(each, "" if is_ignorable(each) else STAND_IN)
    return text


def _changed(data: Any, change: Callable[[str], str]) -> Any:
    """The data with every text changed."""
    if isinstance(data, dict):
        return {name: _changed(each, change) for name, each in data.items()}
    if isinstance(data, list):
        return [_changed(each, change) for each in data]
    return change(data) if isinstance(data, str) else data
