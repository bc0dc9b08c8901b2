"""The figures and names of a month in the workshop's language, and the tables that contain them."""

from dataclasses import dataclass
from decimal import Decimal

from service.documents.writing.formats import (
    formatted_amount,
    formatted_number,
    formatted_quantity,
    formatted_share,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.month.volume_statement import Milestone, ProfitAtVolume
from service.domain.values.exact import half_up, readable, whole_down, whole_up
from service.domain.values.money import Money, in_currency, minor_unit_decimals

UNKNOWN = "–"


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


class MonthWriting:
    """Formats the figures of a month in a locale."""

    def __init__(self, statement: MonthStatement, locale: str) -> None:
        self.month, self.locale, self.words = statement, locale, labels_for(locale, "month")

    @property
    def is_empty(self) -> bool:
        """Whether nothing is planned, so that there is no mix whose volume could reach anything."""
        return not any(line.pieces for line in self.month.lines)

    def money(self, amount: Money) -> str:
        """Rounded to the minor unit."""
        decimals = minor_unit_decimals(amount.currency)
        return formatted_amount(in_currency(half_up(amount.amount, decimals), amount.currency), self.locale)

    def pieces(self, pieces: Decimal) -> str:
        """Rounded to whole pieces."""
        return formatted_number(half_up(pieces, 0), self.locale)

    def volume(self, point: ProfitAtVolume) -> str:
        """Whole pieces of a volume."""
        return self.pieces(whole_pieces(point))

    def quantity(self, quantity: Decimal) -> str:
        """With up to three decimals."""
        return formatted_quantity(quantity, self.locale)

    def hours(self, hours: Decimal) -> str:
        """With one decimal."""
        return self.words("{hours} hours", hours=formatted_number(readable(hours, 1), self.locale))

    def minutes(self, load: LoadStatement) -> tuple[str, str]:
        """Needed and available, in whole minutes."""
        needed, available = whole_minutes(load)
        unknown = self.words("not known")
        return formatted_number(needed, self.locale), (
            unknown if available is None else formatted_number(available, self.locale)
        )

    def share(self, share: Decimal | None) -> str:
        """In tenths of a percent; empty if it is not known."""
        return "" if share is None else formatted_share(share, self.locale)

    def name(self, line: MonthLineStatement) -> Cell:
        """The name of a product, and its code."""
        return Cell(text=isolated(line.name), note=line.listing or line.product)


def whole_pieces(point: ProfitAtVolume) -> Decimal:
    """Whole pieces of a volume: the first that reach it, or the last for which there is time."""
    is_limit = point.milestone is Milestone.FULL_CAPACITY
    return whole_down(point.pieces) if is_limit else whole_up(point.pieces)


def whole_minutes(load: LoadStatement) -> tuple[Decimal, Decimal | None]:
    """Minutes needed and available; where they are too few, rounded apart, so that the two never look alike."""
    needed, available = load.minutes_needed, load.minutes_available
    if load.is_over_full and available is not None:
        return whole_up(needed), whole_down(available)
    return half_up(needed, 0), None if available is None else half_up(available, 0)
