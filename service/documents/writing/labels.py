"""The words of documents, from a catalogue for each language; in English if there is none."""

import gettext
import io
from functools import lru_cache
from pathlib import Path
from typing import Any

from babel import Locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from service.documents.writing.formats import formatted_figure, isolated, unit_sign
from service.domain.values.message import Fact, Message, filled
from service.domain.values.units import Unit

CATALOGUES = Path(__file__).resolve().parents[1] / "catalogues"
ENGLISH = "en"
LANGUAGES = (ENGLISH, *sorted(path.stem for path in CATALOGUES.glob("*.po")))


class Labels:
    """Words of one language. The key of a message is its English text, with placeholders in braces.

    Attributes:
        locale: for figures in messages.
        language: of the words, for instance "de".
    """

    def __init__(self, locale: str, language: str, kind: str = "") -> None:
        self.locale, self.language = locale, language
        self._found = _translations(language, kind)

    def __call__(self, message: str, **values: Any) -> str:
        text = self._found.gettext(message) if message else ""
        return text.format(**values) if values else text

    @property
    def colon(self) -> str:
        """Stands between a name and what is said of it; before it French has a space at which no line breaks."""
        return self(": ")

    def per(self, unit: Unit) -> str:
        """Of one unit, behind an amount: a piece, an hour, per kg."""
        if unit is Unit.PIECE:
            return self("a piece")
        return self("an hour") if unit is Unit.HOUR else self("per {unit}", unit=unit_sign(unit, self.locale))

    def per_heading(self, unit: Unit) -> str:
        """The same above a column: A piece, An hour, Per kg."""
        per = self.per(unit)
        return per[:1].upper() + per[1:]

    def several(self, one: str, many: str, count: int, /, **values: Any) -> str:
        """The singular or plural form that the language has for the count."""
        return self._found.ngettext(one, many, count).format(**values)

    def told(self, fact: Fact) -> str:
        """A fact of the domain: a message translated, a figure in the locale's notation, a name as it is."""
        match fact:
            case Message():
                template = self._found.gettext(fact.template) if fact.template else ""
                return filled(template, {name: self.told(each) for name, each in fact.facts.items()})
            case str():
                return isolated(fact)
            case tuple():
                return ", ".join(map(self.told, fact))
        return formatted_figure(fact, self.locale)


def labels_for(locale: str, kind: str = "") -> Labels:
    """The words in the language of a locale, or in English.

    Args:
        locale: decides the language.
        kind: of a document with catalogues of its own, for instance "cost_sheet"; words missing there are taken from
            the catalogue of all documents.
    """
    language = Locale.parse(locale).language
    return Labels(locale, language if _catalogue(language, kind).exists() else ENGLISH, kind)


def _catalogue(language: str, kind: str) -> Path:
    return CATALOGUES / kind / f"{language}.po"


@lru_cache(maxsize=32)
def _translations(language: str, kind: str) -> gettext.NullTranslations:
    """The catalogues, compiled in memory."""
    found = gettext.NullTranslations()
    for path in dict.fromkeys((_catalogue(language, kind), _catalogue(language, ""))):
        if path.exists():
            found.add_fallback(_compiled(path, language))
    return found


def _compiled(path: Path, language: str) -> gettext.GNUTranslations:
    compiled = io.BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)
