"""The figures and names of a month in the workshop's language, and the tables that they stand in."""

from dataclasses import dataclass
from decimal import Decimal

from service.documents.writing.formats import formatted_amount, formatted_number, formatted_share, isolated
from service.documents.writing.labels import labels_for
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import MonthStatement
from service.domain.values.exact import half_up
from service.domain.values.money import Money, in_currency, minor_unit_decimals

UNKNOWN = "–"
_SHARE_DECIMALS, _PIECE_DECIMALS = 3, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What stands in one place of a table.

    Attributes:
        text: or figure.
        note: in small below it.
    """

    text: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """A table with a heading.

    Attributes:
        title: of the table.
        notes: what is to be known besides, in paragraphs.
        columns: the first of texts, the others of figures.
        rows: each with as many cells.
    """

    title: str
    notes: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()


class MonthWriting:
    """A month, and how its figures are written.

    Attributes:
        month: itself.
        locale: of figures and dates.
        words: in the language of the locale.
    """

    def __init__(self, statement: MonthStatement, locale: str) -> None:
        self.month, self.locale, self.words = statement, locale, labels_for(locale, "month")

    def money(self, amount: Money) -> str:
        """At the minor unit."""
        decimals = minor_unit_decimals(amount.currency)
        return formatted_amount(in_currency(half_up(amount.amount, decimals), amount.currency), self.locale)

    def pieces(self, pieces: Decimal) -> str:
        """At most to hundredths."""
        return formatted_number(_short(half_up(pieces, _PIECE_DECIMALS)), self.locale)

    def minutes(self, minutes: Decimal) -> str:
        """Whole."""
        return formatted_number(half_up(minutes, 0), self.locale)

    def share(self, share: Decimal | None) -> str:
        """To tenths of a per cent; empty where it is not known."""
        return "" if share is None else formatted_share(_short(half_up(share, _SHARE_DECIMALS)), self.locale)

    def name(self, line: MonthLineStatement) -> Cell:
        """What a product is called, and its code."""
        return Cell(text=isolated(line.name), note=line.listing or line.product)


def _short(figure: Decimal) -> Decimal:
    """Without the zeros behind it."""
    return figure.quantize(Decimal(1)) if figure == figure.to_integral_value() else figure.normalize()
