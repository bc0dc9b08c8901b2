"""CSV in UTF-8 (RFC 4180), written line by line, with no text that a spreadsheet would run."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, line: str) -> str:
        return line


def csv_lines(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """A header and then a record each, without waiting for the last of them.

    A figure stands in plain notation, and what is not there is empty. A text that a spreadsheet would run as a formula
    has an apostrophe in front, which spreadsheets take for the mark of a text: it is any text that begins with one of
    = + - @ (or their full-width forms), a tab or a line break, or with apostrophes and then one of them. To read it
    back, take one apostrophe from the front of such a cell; every other text, "'t Hof" among them, is as it is.

    Source: RFC 4180, Common Format and MIME Type for Comma-Separated Values (CSV) Files, section 2, 2005;
        CWE-1236, Improper Neutralization of Formula Elements in a CSV File.
    """
    writer: Any = csv.writer(_Echo(), lineterminator="\r\n")
    yield writer.writerow(columns).encode()
    for row in rows:
        yield writer.writerow(row).encode()


_FORMULA = re.compile(r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")


def guarded(text: str) -> str:
    """The text, with an apostrophe in front if a spreadsheet would run it."""
    return f"'{text}" if _FORMULA.match(text) else text
