"""What the views of all papers share."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A text on the left, a figure on the right, and a note in small below."""

    text: str
    figure: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperView:
    """A paper in finished words, from which its page and its PDF are laid out.

    Attributes:
        language: the locale's, or English if there is no catalogue for it.
        region: of the locale, for instance "AT"; empty if it has none.
        day: year, month and day of the document.
        word: the kind of document.
    """

    locale: str
    language: str
    region: str
    day: tuple[int, int, int]
    title: str
    word: str
