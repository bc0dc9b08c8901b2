"""The figures and names of a month in the workshop's language, and the tables that contain them."""

from collections.abc import Callable
from decimal import Decimal

from service.documents.writing.formats import (
    formatted_amount,
    formatted_measure,
    formatted_number,
    formatted_quantity,
    formatted_share,
    formatted_unit_amount,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.tables import Cell
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.month.volume_statement import Milestone, MixVolumeStatement, ProfitAtVolume
from service.domain.values.exact import half_up, readable, whole_down, whole_up
from service.domain.values.money import Money, in_currency, minor_unit_decimals
from service.domain.values.units import Unit

UNKNOWN = "–"
_TENTHS = 3
"""Decimals of a share that is told in tenths of a percent."""


class MonthWriting:
    """Formats the figures of a month in a locale."""

    def __init__(self, statement: MonthStatement, locale: str) -> None:
        self.month, self.locale, self.words = statement, locale, labels_for(locale, "month")

    @property
    def is_of_pieces(self) -> bool:
        """Whether all products are counted in pieces, so that no figure needs a unit beside it."""
        return self.month.unit is Unit.PIECE

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

    def measured(self, quantity: Decimal, unit: Unit) -> str:
        """A quantity of a product with its unit, pieces whole; the number alone if all are counted in pieces."""
        if unit is not Unit.PIECE:
            return formatted_measure(quantity, unit, self.locale)
        number = self.pieces(quantity)
        if self.is_of_pieces:
            return number
        return self.words.several("{number} piece", "{number} pieces", int(half_up(quantity, 0)), number=number)

    def per(self, amount: Money, unit: Unit) -> str:
        """An amount for one of a product with its unit; the amount alone if all are counted in pieces."""
        if self.is_of_pieces:
            return self.money(amount)
        told = self.money(amount) if unit is Unit.PIECE else formatted_unit_amount(amount, self.locale)
        return f"{told} {self.words.per(unit)}"

    def reached(self, volume: MixVolumeStatement) -> str:
        """The first whole pieces of a volume, or part of the plan if products are counted in different units."""
        if self.month.unit is None or volume.whole_pieces is None:
            return self._of_plan(volume.plan_share, whole_up)
        return self.measured(volume.whole_pieces, self.month.unit)

    def volume(self, point: ProfitAtVolume) -> str:
        """The same of a point in the profit by volume; where time is the limit, the last pieces that fit."""
        unit, is_limit = self.month.unit, point.milestone is Milestone.FULL_CAPACITY
        if unit is None or point.pieces is None:
            return self._of_plan(point.plan_share, whole_down if is_limit else whole_up)
        return self.measured(unit.last_within(point.pieces) if is_limit else unit.first_from(point.pieces), unit)

    def _of_plan(self, share: Decimal | None, rounded: Callable[[Decimal], Decimal]) -> str:
        if share is None:
            return UNKNOWN
        return self.words("{share} of the plan", share=self.share(rounded(share.scaleb(_TENTHS)).scaleb(-_TENTHS)))

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


def told_volume(point: ProfitAtVolume, statement: MonthStatement, locale: str) -> str:
    """A volume as the tables tell it."""
    return MonthWriting(statement, locale).volume(point)


def whole_minutes(load: LoadStatement) -> tuple[Decimal, Decimal | None]:
    """Minutes needed and available; where they are too few, rounded apart, so that the two never look alike."""
    needed, available = load.minutes_needed, load.minutes_available
    if load.is_over_full and available is not None:
        return whole_up(needed), whole_down(available)
    return half_up(needed, 0), None if available is None else half_up(available, 0)
