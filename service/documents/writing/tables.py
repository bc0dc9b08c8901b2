"""Tables of pages and papers, in finished words and figures."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell of a table, with a note in small below its text."""

    text: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """A table with a heading.

    Attributes:
        notes: paragraphs above it.
        columns: the first of texts, the others of figures.
        rows: each with as many cells.
    """

    title: str
    notes: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
