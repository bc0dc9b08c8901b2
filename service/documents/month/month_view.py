"""A month as the workshop's owner reads it, before it is laid out: every word and figure in the workshop's language."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_number,
    formatted_share,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.domain.month.best_mix_statement import BestMixStatement, MixOutcome
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.month.volume_statement import Milestone, MixVolumeStatement
from service.domain.safety.cautions import NO_PROMISE
from service.domain.values.exact import exactly, half_up
from service.domain.values.money import Money, in_currency, minor_unit_decimals

_SHARE_DECIMALS, _PIECE_DECIMALS, _UNKNOWN = 3, 2, "–"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView:
    """A month, written.

    Attributes:
        locale: of figures and dates.
        language: of the words.
        title: of the page.
        verdict: whether the month pays.
        intro: the day of the rates, and what a plan is.
        facts: what a figure is, and the figure.
        tables: what was asked, from what is sold to the best mix.
        cautions_title: of the cautions.
        cautions: where the work or the products can hurt someone.
        plot: what the picture is of.
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
    return _Making(statement, locale).view()


class _Making:
    def __init__(self, statement: MonthStatement, locale: str) -> None:
        self.month, self.locale, self.words = statement, locale, labels_for(locale, "month")

    def view(self) -> MonthView:
        month, words = self.month, self.words
        tables = (self._products(), self._fixed_costs(), self._volumes(), self._alone(), self._time(), self._mix())
        return MonthView(
            locale=self.locale,
            language=words.language,
            title=words("Does the month pay?"),
            verdict=self._verdict(),
            intro=words("At the rates of {day}, in {currency}.", day=self._day(), currency=month.currency),
            facts=tuple(self._facts()),
            tables=tuple(table for table in tables if table is not None),
            cautions_title=words("Please note"),
            cautions=tuple((words.rendered(each.text, NO_PROMISE), each.source) for each in month.cautions),
            plot=words("What the month brings in and costs by volume, and the time it takes"),
        )

    def _verdict(self) -> str:
        profit, words = self.month.profit, self.words
        if profit.amount >= 0:
            return words("The month pays: the plan leaves {profit}.", profit=self._money(profit))
        short = in_currency(-profit.amount, profit.currency)
        return words("The month does not pay: the plan is {shortfall} short.", shortfall=self._money(short))

    def _facts(self) -> Iterator[tuple[str, Cell]]:
        month, words = self.month, self.words
        share = self._share(month.contribution_margin_share)
        yield words("Sales"), Cell(text=self._money(month.sales))
        yield words("Contribution"), Cell(text=self._money(month.contribution), note=share)
        yield words("Fixed cost"), Cell(text=self._money(month.fixed_cost))
        yield words("Profit"), Cell(text=self._money(month.profit))
        yield words("Break-even"), self._reached(month.break_even)
        if month.target_profit is not None:
            wanted = words("For a profit of {profit}", profit=self._money(month.target_profit))
            yield wanted, self._reached(month.target)
        if (margin := month.margin_of_safety) is not None:
            pieces = words("{pieces} pieces", pieces=self._pieces(margin.pieces))
            yield (
                words("Margin of safety"),
                Cell(text=self._money(margin.sales), note=self._listed(pieces, margin.share)),
            )
        yield words("Bottleneck"), Cell(text=self._bottleneck() or words("not known"))

    def _reached(self, volume: MixVolumeStatement | None) -> Cell:
        """A volume of the mix that reaches something; where none does, that."""
        if volume is None:
            return Cell(text=self.words("no volume reaches it"))
        pieces = self.words("{pieces} pieces", pieces=self._pieces(volume.whole_pieces))
        return Cell(text=pieces, note=self.words("sales of {amount}", amount=self._money(volume.sales)))

    def _bottleneck(self) -> str:
        return next((isolated(load.name) for load in self.month.loads if load.is_bottleneck), "")

    def _products(self) -> TableView:
        words = self.words
        return TableView(
            title=words("What is sold"),
            notes=(words("Contribution is what a piece brings in after fees, less its variable cost."),),
            columns=(
                words("Product"),
                words("Pieces"),
                words("Price a piece"),
                words("Contribution a piece"),
                words("Contribution"),
            ),
            rows=tuple(map(self._product, self.month.lines)),
        )

    def _product(self, line: MonthLineStatement) -> tuple[Cell, ...]:
        tooling = self.words("of it tools {amount}", amount=self._money(line.tooling)) if line.tooling.amount else ""
        return (
            self._name(line),
            Cell(text=self._pieces(Decimal(line.pieces))),
            Cell(text=self._money(line.price)),
            Cell(text=self._money(line.contribution), note=tooling or self._share(line.contribution_margin_share)),
            Cell(text=self._money(line.month_contribution)),
        )

    def _name(self, line: MonthLineStatement) -> Cell:
        return Cell(text=isolated(line.name), note=line.listing or line.product)

    def _fixed_costs(self) -> TableView:
        words = self.words
        rows = [
            (Cell(text=isolated(cost.name), note=cost.resource or ""), Cell(text=self._money(cost.amount)))
            for cost in self.month.fixed_costs
        ]
        total = (Cell(text=words("Total")), Cell(text=self._money(self.month.fixed_cost)))
        return TableView(
            title=words("What the month costs however much is made"),
            columns=(words("Fixed cost"), words("Amount")),
            rows=(*rows, total),
        )

    def _volumes(self) -> TableView:
        words = self.words
        names = {
            Milestone.NOTHING: words("Nothing sold"),
            Milestone.BREAK_EVEN: words("Break-even"),
            Milestone.TARGET: words("Target profit"),
            Milestone.PLAN: words("The plan"),
            Milestone.FULL_CAPACITY: words("Bottleneck full"),
        }
        return TableView(
            title=words("Profit by volume"),
            notes=(words("All products in the proportion of the plan."),),
            columns=(
                words("Volume"),
                words("Pieces"),
                words("Sales"),
                words("Time of the bottleneck"),
                words("Profit"),
            ),
            rows=tuple(
                (
                    Cell(text=names[point.milestone]),
                    Cell(text=self._pieces(point.pieces)),
                    Cell(text=self._money(point.sales)),
                    Cell(text=self._share(point.bottleneck_share) or _UNKNOWN),
                    Cell(text=self._money(point.profit)),
                )
                for point in self.month.profit_by_volume
            ),
        )

    def _alone(self) -> TableView:
        words, month = self.words, self.month
        in_mix = month.break_even.pieces_of_each if month.break_even else [None] * len(month.lines)
        return TableView(
            title=words("Break-even of each product"),
            columns=(
                words("Product"),
                words("Pieces a set"),
                words("Pieces in the mix"),
                words("Pieces if it were alone"),
            ),
            rows=tuple(
                (
                    self._name(line),
                    Cell(text=self._pieces(Decimal(line.pieces_per_composite_unit))),
                    Cell(text=_UNKNOWN if pieces is None else self._pieces(pieces)),
                    Cell(text=self._pieces(line.alone_break_even.whole_pieces) if line.alone_break_even else _UNKNOWN),
                )
                for line, pieces in zip(month.lines, in_mix, strict=True)
            ),
        )

    def _time(self) -> TableView | None:
        words = self.words
        if not self.month.loads:
            return None
        return TableView(
            title=words("Time"),
            notes=(words("In minutes of a month of {weeks} weeks.", weeks=self._pieces(self.month.weeks)),),
            columns=(words("Machine or labour grade"), words("Needed"), words("Available"), words("Load")),
            rows=tuple(map(self._load, self.month.loads)),
        )

    def _load(self, load: LoadStatement) -> tuple[Cell, ...]:
        words = self.words
        notes = [words("bottleneck")] if load.is_bottleneck else []
        notes += [words("more than there is")] if load.is_over_full else []
        available = words("not known") if load.minutes_available is None else self._minutes(load.minutes_available)
        return (
            Cell(text=isolated(load.name), note=", ".join(notes)),
            Cell(text=self._minutes(load.minutes_needed)),
            Cell(text=available),
            Cell(text=self._share(load.load_share) or _UNKNOWN),
        )

    def _mix(self) -> TableView | None:
        best, words = self.month.best_mix, self.words
        if best is None:
            return None
        title = words("The mix that leaves the most")
        if best.outcome is not MixOutcome.FOUND:
            return TableView(title=title, notes=(self._no_mix(best),))
        rows = zip(self.month.lines, best.lines, strict=True)
        return TableView(
            title=title,
            notes=tuple(self._of_mix(best)),
            columns=(
                words("Product"),
                words("Planned"),
                words("Best mix"),
                words("Hour of the bottleneck"),
                words("Rank"),
            ),
            rows=tuple(
                (
                    self._name(line),
                    Cell(text=self._pieces(Decimal(line.pieces))),
                    Cell(text=self._pieces(Decimal(found.pieces))),
                    Cell(text=self._money(line.contribution_per_hour) if line.contribution_per_hour else _UNKNOWN),
                    Cell(text=_UNKNOWN if line.rank is None else self._pieces(Decimal(line.rank))),
                )
                for line, found in rows
            ),
        )

    def _of_mix(self, best: BestMixStatement) -> Iterator[str]:
        words = self.words
        assert best.profit is not None  # it is found
        assert best.profit_at_most is not None
        profit, planned = self._money(best.profit), self._money(self.month.profit)
        yield words("It leaves {profit}; the plan leaves {planned}.", profit=profit, planned=planned)
        if best.is_proven:
            yield words("No mix that you can make and sell earns more.")
        else:
            yield words(
                "No mix that you can make and sell earns more than {profit}.", profit=self._money(best.profit_at_most)
            )
        for each in best.time_values:
            value = self._money(each.value_of_another_hour)
            yield words("Another hour of {name} would add about {value}.", name=isolated(each.name), value=value)

    def _no_mix(self, best: BestMixStatement) -> str:
        """Why there is none, naming what stands in its way as the tables do."""
        if best.outcome is MixOutcome.NOT_SOLVED:
            return self.words("The best mix could not be computed; everything else here holds.")
        names = {load.resource: load.name for load in self.month.loads}
        names |= {line.product: line.name for line in self.month.lines}
        named = ", ".join(isolated(names[each]) for each in best.limited_by)
        if best.outcome is MixOutcome.TOO_LITTLE_TIME:
            return self.words("Even the least of everything takes more time than there is of: {names}.", names=named)
        return self.words("Neither demand nor known time limits: {names}.", names=named)

    def _day(self) -> str:
        return formatted_date(self.month.as_of, self.locale)

    def _money(self, amount: Money) -> str:
        """At the minor unit."""
        decimals = minor_unit_decimals(amount.currency)
        return formatted_amount(in_currency(half_up(amount.amount, decimals), amount.currency), self.locale)

    def _pieces(self, pieces: Decimal) -> str:
        return formatted_number(_short(half_up(pieces, _PIECE_DECIMALS)), self.locale)

    def _minutes(self, minutes: Decimal) -> str:
        return formatted_number(half_up(minutes, 0), self.locale)

    def _share(self, share: Decimal | None) -> str:
        return "" if share is None else formatted_share(_short(half_up(share, _SHARE_DECIMALS)), self.locale)

    def _listed(self, text: str, share: Decimal | None) -> str:
        return ", ".join(_filled([text, self._share(share)]))


def _filled(texts: Sequence[str]) -> Iterable[str]:
    return (text for text in texts if text)


def _short(figure: Decimal) -> Decimal:
    """Without the zeros behind it."""
    return figure.quantize(Decimal(1)) if figure == figure.to_integral_value() else figure.normalize()
