"""A month in the owner's language, before layout."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

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
from service.documents.month.month_writing import MonthWriting
from service.documents.month.resources_tables import energy_and_work_table, materials_table
from service.documents.writing.formats import formatted_date, formatted_number, formatted_rate, isolated
from service.documents.writing.tables import Cell, TableView
from service.domain.currency.exchange_rates import UsedRates
from service.domain.month.statement import MonthStatement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import MixVolumeStatement
from service.domain.safety.cautions import Caution
from service.domain.values.exact import exactly
from service.domain.values.message import RateWarning

_OF_COSTS = (fixed_costs_table, absorption_table, reconciliation_table)
_TAKEN = (materials_table, energy_and_work_table)
_TABLES = (products_table, *_OF_COSTS, volumes_table, alone_table, time_table, best_mix_table, *_TAKEN)
_TABLES_OF_WHAT_FITS = (best_mix_table, time_table, products_table, *_OF_COSTS, volumes_table, alone_table, *_TAKEN)
"""For a plan that cannot be made: first the mix that fits, and the time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView:
    """A month in words.

    Attributes:
        verdict: whether the plan can be made, and then whether it pays.
        intro: the day of the rates, how amounts are converted, and what is supposed.
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
        intro=" ".join(_intro(of)),
        facts=tuple(_facts(of)),
        tables=tuple(found for table in tables if (found := table(of)) is not None),
        remarks=(
            (words("What looks wrong"), _told(of, statement.warnings)),
            (words("Please note"), _told(of, statement.cautions)),
        ),
        plot=words("What the month brings in and costs by volume, and the time it takes"),
    )


def _intro(of: MonthWriting) -> Iterator[str]:
    month, words = of.month, of.words
    day = formatted_date(month.as_of, of.locale)
    yield words("At the rates of {day}, in {currency}.", day=day, currency=month.currency)
    if month.exchange_rates:
        rates = "; ".join(_exchange_rates(of, each) for each in month.exchange_rates)
        if month.converted_on < month.as_of:
            yield words("No exchange rates of that day are known yet; the last ones are used: {rates}.", rates=rates)
        else:
            yield words("Exchange rates: {rates}.", rates=rates)
    if month.supposed:
        things = ", ".join(month.supposed)
        yield words("Supposed, not registered, are rates or facts of: {things}.", things=isolated(things))


def _exchange_rates(of: MonthWriting, used: UsedRates) -> str:
    """Who published them, when, and how old they are on the day of the conversion if they are of another day."""
    told = f"{isolated(used.source)}, {formatted_date(used.published_on, of.locale)}"
    if not used.age_days:
        return told
    is_one, days = used.age_days == 1, formatted_number(used.age_days, of.locale)
    return f"{told}, {of.words('one day old') if is_one else of.words('{days} days old', days=days)}"


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
    yield from _after_tax_and_an_hour(of, supposed)
    yield words("Break-even"), _reached(of, month.break_even)
    if month.target_profit is not None:
        wanted = words("For a profit of {profit}", profit=of.money(month.target_profit))
        yield wanted, _reached(of, month.target)
    if (margin := month.margin_of_safety) is not None:
        note = ", ".join(filter(None, (_safely(of, margin.pieces), of.share(margin.share), supposed)))
        yield words("Margin of safety"), Cell(text=of.money(margin.sales), note=note)
    bottleneck = next((isolated(load.name) for load in month.loads if load.is_bottleneck), "")
    none = words("nothing is planned") if of.is_empty else words("not known")
    yield words("Bottleneck"), Cell(text=bottleneck or none)


def _after_tax_and_an_hour(of: MonthWriting, supposed: str) -> Iterator[tuple[str, Cell]]:
    """What an income tax leaves of the profit, and what an hour of work earns, as far as they are known."""
    words, taxed, used = of.words, of.month.after_income_tax, of.month.resources_used
    if taxed is not None:
        told = words("Profit after income tax of {share}", share=formatted_rate(taxed.income_tax_share, of.locale))
        illustration = words("an illustration; ask a tax adviser")
        note = ", ".join(filter(None, (illustration, supposed)))
        yield told, Cell(text=of.money(taxed.profit_after_tax), note=note)
    if used.contribution_per_hour_worked is not None and used.profit_per_hour_worked is not None:
        note = ", ".join(filter(None, (of.hours(used.hours_worked), supposed)))
        yield words("Contribution an hour worked"), Cell(text=of.money(used.contribution_per_hour_worked), note=note)
        yield words("Profit an hour worked"), Cell(text=of.money(used.profit_per_hour_worked), note=supposed)


def _safely(of: MonthWriting, pieces: Decimal | None) -> str:
    """Pieces of the margin of safety; nothing if they do not add up."""
    unit = of.month.unit
    if unit is None or pieces is None:
        return ""
    told = of.measured(unit.last_within(pieces), unit)
    return of.words("{pieces} pieces", pieces=told) if of.is_of_pieces else told


def _reached(of: MonthWriting, volume: MixVolumeStatement | None) -> Cell:
    """A volume of the mix; if it is None, that no volume reaches it."""
    if volume is None or of.is_empty:
        return Cell(text=of.words("nothing is planned") if of.is_empty else of.words("no volume reaches it"))
    reached = of.reached(volume)
    pieces = of.words("{pieces} pieces", pieces=reached) if of.is_of_pieces else reached
    beyond = of.words("not reachable with the hours there are") if volume.is_beyond_capacity else ""
    sales = of.words("sales of {amount}", amount=of.money(volume.sales))
    return Cell(text=pieces, note=", ".join(filter(None, (beyond, sales))))
