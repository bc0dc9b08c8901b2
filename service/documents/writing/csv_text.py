"""CSV in UTF-8 (RFC 4180), streamed, safe to open in a spreadsheet."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any


class _Echo:
    """A file whose write returns the line."""

    def write(self, line: str) -> str:
        return line


def csv_lines(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """A header and the records, streamed. Figures are in plain notation; a missing value is empty.

    A text that a spreadsheet would run as a formula gets an apostrophe in front, which spreadsheets read as the mark of
    a text: any text that begins with = + - @ (or their full-width forms), a tab or a line break, or with apostrophes
    followed by one of these. Readers remove one apostrophe from such a cell; other texts, such as "'t Hof", are
    unchanged.

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
