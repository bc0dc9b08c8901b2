"""Text for a terminal: wrapped and set in columns by display width, for any script."""

import re
import shutil
import unicodedata
from collections.abc import Iterator, Sequence
from itertools import zip_longest

_LEAST, _MOST = 40, 100
_LEAST_OF_A_TEXT, _NARROW = 5, 10
_WITHOUT_ROOM = frozenset({"Cf", "Mn", "Me"})
_TURNING = frozenset({"R", "AL", "AN", "LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})


def width() -> int:
    """Columns to write in: the terminal's, within limits; 80 if the output is not a terminal."""
    return max(_LEAST, min(shutil.get_terminal_size().columns, _MOST))


def room(text: str) -> int:
    """Display width of the text in columns: combining marks take none, full-width characters two."""
    return sum(
        0 if unicodedata.category(each) in _WITHOUT_ROOM else 2 if unicodedata.east_asian_width(each) in "WF" else 1
        for each in text
    )


def isolated(text: str) -> str:
    """The text, isolated so that it does not reverse neighbouring text (Unicode Standard Annex #9)."""
    is_turning = any(unicodedata.bidirectional(each) in _TURNING for each in text)
    return f"\u2068{text}\u2069" if is_turning else text


def wrapped(text: str, columns: int) -> list[str]:
    """The text in lines of at most this width; longer words are broken."""
    lines = [""]
    for word in text.replace(" %", "\u00a0%").split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if room(joined) <= columns:
            lines[-1] = joined
        else:
            lines += _broken(word, columns)
    return [line.replace("\u00a0%", " %") for line in (lines if lines[0] else lines[1:])] or [""]


def _broken(word: str, columns: int) -> list[str]:
    """The word in parts, broken after hyphens if possible, otherwise anywhere."""
    parts = [""]
    for each in re.findall(r"[^-]*-|[^-]+", word):
        for bit in (each,) if room(each) <= columns else each:
            if room(parts[-1] + bit) > columns:
                parts.append("")
            parts[-1] += bit
    return parts


def paragraph(text: str, columns: int, first: str = "", indent: str = "") -> Iterator[str]:
    """The text in lines: the first after a mark, the others indented."""
    for number, line in enumerate(wrapped(text, columns - room(first))):
        yield f"{indent if number else first}{line}".rstrip()


def heading(text: str, right: str, columns: int) -> Iterator[str]:
    """A text and another at the right end, below it if there is no room, with a rule below."""
    is_wide = room(text) + room(right) + 2 <= columns
    yield from [padded(text, columns - room(right)) + right] if is_wide else [*wrapped(text, columns), right]
    yield "=" * columns


def padded(text: str, columns: int, *, is_figure: bool = False) -> str:
    """The text padded to the width: on the right, or for a figure on the left."""
    missing = " " * (columns - room(text))
    return missing + text if is_figure else text + missing


def row(text: str, figure: str, columns: int) -> Iterator[str]:
    """A text on the left, wrapped and indented, with a figure on the right of its first line."""
    figures = max(room(figure), min(14, columns // 4)) + 2
    first, *more = wrapped(text, columns - figures - 4)
    yield f"  {padded(first, columns - figures - 2)}{padded(figure, figures, is_figure=True)}"
    yield from (f"    {line}" for line in more)


def table(
    rows: Sequence[Sequence[str]], columns: int, figures: int, notes: Sequence[str] | None = None
) -> Iterator[str]:
    """Rows in columns; if there is too little room, the widest text is wrapped.

    If that would leave nearly nothing of the texts, every cell has a line of its own.

    Args:
        rows: rows with the same number of cells; the first is the heading.
        columns: width of the terminal.
        figures: number of columns at the end that hold figures, right-aligned and never broken.
        notes: one for each row, printed below it unless empty.
    """
    widths = [max(map(room, cells)) for cells in zip(*rows, strict=True)]
    texts = range(len(widths) - figures)
    if (
        sum(min(each, _NARROW) for each in widths[: len(texts)]) + sum(2 + each for each in widths[len(texts) :])
        > columns
    ):
        yield from _listed(rows, columns, notes)
        return
    while sum(widths) + 2 * (len(widths) - 1) > columns and max(widths[text] for text in texts) > _LEAST_OF_A_TEXT:
        widths[max(texts, key=lambda text: widths[text])] -= 1
    for number, cells in enumerate(rows):
        if number == 1:
            yield "  ".join("-" * each for each in widths)
        parts = [wrapped(cell, each) for cell, each in zip(cells, widths, strict=True)]
        for line in zip_longest(*parts, fillvalue=""):
            shown = [
                padded(part, each, is_figure=place not in texts)
                for place, (part, each) in enumerate(zip(line, widths, strict=True))
            ]
            yield "  ".join(shown).rstrip()
        if notes and notes[number]:
            yield from paragraph(notes[number], columns, "    ", "    ")


def _listed(rows: Sequence[Sequence[str]], columns: int, notes: Sequence[str] | None) -> Iterator[str]:
    """The rows below each other: the first cell, and under it the others with their headings."""
    names, *others = rows
    for number, (first, *cells) in enumerate(others, start=1):
        yield from paragraph(first, columns)
        for name, cell in zip(names[1:], cells, strict=True):
            yield from row(name, cell, columns) if cell else ()
        if notes and notes[number]:
            yield from paragraph(notes[number], columns, "    ", "    ")
