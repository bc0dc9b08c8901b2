"""A month in the owner's language, before layout."""

from collections.abc import Iterator
from dataclasses import dataclass

from service.documents.month.best_mix_table import best_mix_table
from service.documents.month.month_tables import (
    alone_table,
    fixed_costs_table,
    products_table,
    time_table,
    volumes_table,
)
from service.documents.month.month_writing import Cell, MonthWriting, TableView
from service.documents.writing.formats import formatted_date, isolated
from service.domain.month.statement import MonthStatement
from service.domain.month.volume_statement import MixVolumeStatement
from service.domain.values.exact import exactly
from service.domain.values.money import in_currency

_TABLES = (products_table, fixed_costs_table, volumes_table, alone_table, time_table, best_mix_table)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView:
    """A month in words.

    Attributes:
        verdict: whether the month pays.
        intro: the day of the rates.
        facts: names and figures.
        plot: alternative text of the chart.
    """

    locale: str
    language: str
    title: str
    verdict: str
    intro: str
    facts: tuple[tuple[str, Cell], ...]
    tables: tuple[TableView, ...]
    cautions_title: str
    cautions: tuple[tuple[str, str], ...]
    plot: str


@exactly
def month_view(statement: MonthStatement, locale: str) -> MonthView:
    """The month in the words, numbers and dates of a locale."""
    of = MonthWriting(statement, locale)
    words = of.words
    return MonthView(
        locale=locale,
        language=words.language,
        title=words("Does the month pay?"),
        verdict=_verdict(of),
        intro=words(
            "At the rates of {day}, in {currency}.",
            day=formatted_date(statement.as_of, locale),
            currency=statement.currency,
        ),
        facts=tuple(_facts(of)),
        tables=tuple(found for table in _TABLES if (found := table(of)) is not None),
        cautions_title=words("Please note"),
        cautions=tuple((words.told(each.text), each.source) for each in statement.cautions),
        plot=words("What the month brings in and costs by volume, and the time it takes"),
    )


def _verdict(of: MonthWriting) -> str:
    profit, words = of.month.profit, of.words
    if profit.amount >= 0:
        return words("The month pays: the plan leaves {profit}.", profit=of.money(profit))
    short = in_currency(-profit.amount, profit.currency)
    return words("The month does not pay: the plan is {shortfall} short.", shortfall=of.money(short))


def _facts(of: MonthWriting) -> Iterator[tuple[str, Cell]]:
    month, words = of.month, of.words
    share = of.share(month.contribution_margin_share)
    yield words("Sales"), Cell(text=of.money(month.sales))
    yield words("Contribution"), Cell(text=of.money(month.contribution), note=share)
    yield words("Fixed cost"), Cell(text=of.money(month.fixed_cost))
    yield words("Profit"), Cell(text=of.money(month.profit))
    yield words("Break-even"), _reached(of, month.break_even)
    if month.target_profit is not None:
        wanted = words("For a profit of {profit}", profit=of.money(month.target_profit))
        yield wanted, _reached(of, month.target)
    if (margin := month.margin_of_safety) is not None:
        pieces = words("{pieces} pieces", pieces=of.pieces(margin.pieces))
        note = ", ".join(filter(None, (pieces, of.share(margin.share))))
        yield words("Margin of safety"), Cell(text=of.money(margin.sales), note=note)
    bottleneck = next((isolated(load.name) for load in month.loads if load.is_bottleneck), "")
    yield words("Bottleneck"), Cell(text=bottleneck or words("not known"))


def _reached(of: MonthWriting, volume: MixVolumeStatement | None) -> Cell:
    """A volume of the mix; if it is None, that no volume reaches it."""
    if volume is None:
        return Cell(text=of.words("no volume reaches it"))
    pieces = of.words("{pieces} pieces", pieces=of.pieces(volume.whole_pieces))
    return Cell(text=pieces, note=of.words("sales of {amount}", amount=of.money(volume.sales)))
