"""What the finished words and figures of every paper have in common."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A text, and a figure beside it.

    Attributes:
        text: on the left.
        figure: on the right; empty where there is none.
        note: in small below it.
    """

    text: str
    figure: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperView:
    """A paper in finished words, which its page and its PDF are laid out from.

    Attributes:
        locale: of them.
        language: of the words: the locale's, or English where there is no catalogue for it.
        region: of the locale, for instance "AT"; empty where it has none.
        day: of the document, year, month and day.
        title: of the document.
        word: what kind of document it is.
    """

    locale: str
    language: str
    region: str
    day: tuple[int, int, int]
    title: str
    word: str
