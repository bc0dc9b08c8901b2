"""Texts reduced to what any typesetter can lay out."""

import re
from unicodedata import category, normalize

from service.documents.writing.formats import is_turning

STAND_IN = "\u25a1"
"""Replaces a character that no font has."""
_IGNORABLE = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u202a-\u202e\u2060-\u206f\u3164"
    "\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufff8\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
)
_DIRECTING = frozenset("\u200e\u200f\u2066\u2067\u2068\u2069")
"""Marks of direction, and isolates, which figures of right-to-left locales have."""
_MOST_DIRECTING = 16
"""In one text; no locale needs as many, and deeply nested isolates break typesetters down."""


def is_ignorable(text: str) -> bool:
    """Whether nothing is shown of the text, and nothing is missing if it is left out.

    Source: Unicode Character Database, DerivedCoreProperties, Default_Ignorable_Code_Point.
    """
    return not _IGNORABLE.sub("", text)


def unmarked_if_turning(text: str) -> str:
    """Without marks, if the text has letters or controls of another direction."""
    return unmarked(text) if is_turning(text) else text


def unmarked(text: str) -> str:
    """Composed, and without what cannot be composed: vowel points, accents, controls.

    Arabic and Hebrew are usually written without them.
    """
    is_simple = sum(map(text.count, _DIRECTING)) <= _MOST_DIRECTING
    kept = _DIRECTING if is_simple else frozenset[str]()
    return "".join(each for each in normalize("NFC", text) if each in kept or category(each) not in ("Mn", "Me", "Cf"))


def plain(text: str) -> str:
    """From left to right alone: letters of another direction are replaced."""
    kept = (each for each in unmarked(text) if each not in _DIRECTING)
    return "".join(STAND_IN if is_turning(each) else each for each in kept)
