"""A month in the owner's language, before layout."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from service.documents.month.absorption_tables import absorption_table, reconciliation_table
from service.documents.month.best_mix_table import best_mix_table
from service.documents.month.month_tables import (
    alone_table,
    fixed_costs_table,
    products_table,
    time_table,
    volumes_table,
)
from service.documents.month.month_verdict import verdict
from service.documents.month.month_writing import Cell, MonthWriting, TableView
from service.documents.writing.formats import formatted_date, isolated
from service.domain.costing.hours_stated_twice import RateWarning
from service.domain.month.statement import MonthStatement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import MixVolumeStatement
from service.domain.safety.cautions import Caution
from service.domain.values.exact import exactly

_OF_COSTS = (fixed_costs_table, absorption_table, reconciliation_table)
_TABLES = (products_table, *_OF_COSTS, volumes_table, alone_table, time_table, best_mix_table)
_TABLES_OF_WHAT_FITS = (best_mix_table, time_table, products_table, *_OF_COSTS, volumes_table, alone_table)
"""For a plan that cannot be made: first the mix that fits, and the time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView:
    """A month in words.

    Attributes:
        verdict: whether the plan can be made, and then whether it pays.
        intro: the day of the rates.
        facts: names and figures.
        remarks: warnings and cautions, under a heading each, with their sources.
        plot: alternative text of the chart.
    """

    locale: str
    language: str
    title: str
    verdict: str
    intro: str
    facts: tuple[tuple[str, Cell], ...]
    tables: tuple[TableView, ...]
    remarks: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    plot: str


@exactly
def month_view(statement: MonthStatement, locale: str) -> MonthView:
    """The month in the words, numbers and dates of a locale."""
    of = MonthWriting(statement, locale)
    words, cannot_be_made = of.words, statement.verdict is Verdict.CANNOT_BE_MADE
    tables = _TABLES_OF_WHAT_FITS if cannot_be_made else _TABLES
    return MonthView(
        locale=locale,
        language=words.language,
        title=words("Does the month pay?"),
        verdict=verdict(of),
        intro=words(
            "At the rates of {day}, in {currency}.",
            day=formatted_date(statement.as_of, locale),
            currency=statement.currency,
        ),
        facts=tuple(_facts(of)),
        tables=tuple(found for table in tables if (found := table(of)) is not None),
        remarks=(
            (words("What looks wrong"), _told(of, statement.warnings)),
            (words("Please note"), _told(of, statement.cautions)),
        ),
        plot=words("What the month brings in and costs by volume, and the time it takes"),
    )


def _told(of: MonthWriting, told: Iterable[RateWarning | Caution]) -> tuple[tuple[str, str], ...]:
    return tuple((of.words.told(each.text), each.source) for each in told)


def _facts(of: MonthWriting) -> Iterator[tuple[str, Cell]]:
    month, words = of.month, of.words
    share = of.share(month.contribution_margin_share)
    supposed = words("if the plan could be made") if month.verdict is Verdict.CANNOT_BE_MADE else ""
    yield words("Sales"), Cell(text=of.money(month.sales))
    yield words("Contribution"), Cell(text=of.money(month.contribution), note=share)
    yield words("Fixed cost"), Cell(text=of.money(month.fixed_cost))
    if month.paid_idle is not None:
        yield words("Pay for idle time"), Cell(text=of.money(month.paid_idle))
    yield words("Profit"), Cell(text=of.money(month.profit), note=supposed)
    yield words("Break-even"), _reached(of, month.break_even)
    if month.target_profit is not None:
        wanted = words("For a profit of {profit}", profit=of.money(month.target_profit))
        yield wanted, _reached(of, month.target)
    if (margin := month.margin_of_safety) is not None:
        pieces = words("{pieces} pieces", pieces=of.pieces(margin.pieces))
        note = ", ".join(filter(None, (pieces, of.share(margin.share), supposed)))
        yield words("Margin of safety"), Cell(text=of.money(margin.sales), note=note)
    bottleneck = next((isolated(load.name) for load in month.loads if load.is_bottleneck), "")
    yield words("Bottleneck"), Cell(text=bottleneck or words("not known"))


def _reached(of: MonthWriting, volume: MixVolumeStatement | None) -> Cell:
    """A volume of the mix; if it is None, that no volume reaches it."""
    if volume is None:
        return Cell(text=of.words("no volume reaches it"))
    pieces = of.words("{pieces} pieces", pieces=of.pieces(volume.whole_pieces))
    beyond = of.words("not reachable with the hours there are") if volume.is_beyond_capacity else ""
    sales = of.words("sales of {amount}", amount=of.money(volume.sales))
    return Cell(text=pieces, note=", ".join(filter(None, (beyond, sales))))
