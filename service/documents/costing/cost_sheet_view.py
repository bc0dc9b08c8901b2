"""A cost sheet in the words and figures of the workshop's locale, before layout."""

import re
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from service.documents.costing.cost_chart import cost_chart
from service.documents.costing.cost_sheet_paper import (
    CostGroup,
    CostRow,
    CostSheetView,
    Remarks,
    WorkingsView,
    WorkingView,
)
from service.documents.drawing.drawing import ImageForm
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_measure,
    formatted_number,
    formatted_share,
    isolated,
    left_to_right,
    unisolated,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.paper import Entry, head_of
from service.domain.costing.cost_statement import CostStatement, StatedLine, Subtotal, for_people
from service.domain.explaining.cost_workings import CostWorkings
from service.domain.explaining.workbook import Section, Working
from service.domain.making.cost_classes import CostClass
from service.domain.safety.cautions import Caution
from service.domain.values.exact import exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.money import in_currency
from service.domain.values.references import whole_of
from service.domain.values.units import Unit

_FIGURE = re.compile(r"\d+(?:\.\d+)?")
_NAME = re.compile(r"\{([^}]+)\}")
_EXCHANGE = re.compile(r"(?P<currency>[A-Z]{3}) for 1 (?P<base>[A-Z]{3})")
_SIGNS = {unit.value: unit.sign for unit in Unit if unit.sign}
_SEVERAL = {"order": "orders", "setup": "setups"}


@exactly
def cost_sheet_view(statement: CostStatement, workings: CostWorkings, *, seller: str, locale: str) -> CostSheetView:
    """The sheet in the words, numbers and dates of a locale and the digits that people read, and its exact workings."""
    return _Making(statement, workings, seller, locale).view()


class _Making:
    def __init__(self, statement: CostStatement, workings: CostWorkings, seller: str, locale: str) -> None:
        self.exact, self.statement = statement, for_people(statement)
        self.workings, self.seller, self.locale = workings, seller, locale
        self.words = labels_for(locale, "cost_sheet")

    def view(self) -> CostSheetView:
        words, statement = self.words, self.statement
        name, word = isolated(statement.name), words("Cost sheet")
        return CostSheetView(
            **head_of(self.locale, words.language, statement.as_of),
            title=f"{word}{words.colon}{name}",
            word=word,
            name=name,
            seller=isolated(self.seller),
            state=words("For the workshop alone: it tells what the work costs, not what to charge."),
            facts=tuple(self._facts()),
            columns=(
                words("Resource"),
                words("Quantity"),
                words("Rate"),
                words("Amount"),
                words.per_heading(statement.unit),
            ),
            groups=tuple(self._groups()),
            sums_title=words("Sums"),
            sums=tuple(self._sums()),
            chart=cost_chart(self.exact, ImageForm.SVG, locale=self.locale).decode(),
            chart_told=self._chart_told(),
            remarks=tuple(each for each in self._remarks() if each.entries),
            workings_title=words("Workings"),
            workings_intro=tuple(self._intro()),
            workings=tuple(self._section(section) for section in self.workings.sections),
        )

    def _facts(self) -> Iterator[Entry]:
        words, statement, full_cost = self.words, self.statement, self.statement.subtotals.full_cost
        batch, cost = words("Quantity of the batch"), words("Full cost {per_unit}", per_unit=words.per(statement.unit))
        if statement.unit is Unit.PIECE:
            batch, cost = words("Good pieces in the batch"), words("Full cost of a piece")
        yield Entry(text=words("Product"), figure=statement.product)
        yield Entry(text=batch, figure=formatted_measure(statement.quantity, statement.unit, self.locale))
        yield Entry(text=words("Rates of"), figure=formatted_date(statement.as_of, self.locale))
        yield Entry(text=words("Full cost of the batch"), figure=formatted_amount(full_cost.per_batch, self.locale))
        yield Entry(text=cost, figure=formatted_amount(full_cost.per_piece, self.locale))

    def _chart_told(self) -> str:
        if self.statement.unit is Unit.PIECE:
            return self.words("What the cost of a piece is made up of; the figures are in the table above.")
        return self.words(
            "What the full cost is made up of, {per_unit}; the figures are in the table above.",
            per_unit=self.words.per(self.statement.unit),
        )

    def _groups(self) -> Iterator[CostGroup]:
        for name, subtotal in self.statement.cost_classes.items():
            rows = [self._line(line) for line in self.statement.lines if line.cost_class is CostClass(name)]
            heading = name.replace("_", " ")
            yield CostGroup(total=self._sum(self.words(heading.capitalize()), subtotal), rows=tuple(rows))

    def _line(self, line: StatedLine) -> CostRow:
        note = self.words("variable") if line.variable else self.words("fixed")
        if line.share_of_full_cost is not None:
            share = formatted_share(line.share_of_full_cost, self.locale)
            note = self.words("{behaviour}, {share} of the full cost", behaviour=note, share=share)
        is_share = line.unit == self.statement.currency
        rate = in_currency(line.rate, self.statement.currency)
        return CostRow(
            text=self.words.told(line.name),
            note=note,
            quantity=self._measured(line.quantity, line.unit),
            rate=formatted_share(line.rate, self.locale) if is_share else formatted_amount(rate, self.locale),
            amount=formatted_amount(line.amount, self.locale),
            per_piece=formatted_amount(line.amount_per_piece, self.locale),
        )

    def _sum(self, text: str, subtotal: Subtotal, note: str = "") -> CostRow:
        return CostRow(
            text=text,
            note=note,
            quantity="",
            rate="",
            amount=formatted_amount(subtotal.per_batch, self.locale),
            per_piece=formatted_amount(subtotal.per_piece, self.locale),
        )

    def _sums(self) -> Iterator[CostRow]:
        words, sums = self.words, self.statement.subtotals
        yield self._sum(words("Prime cost"), sums.prime_cost, words("direct material, packaging and direct labour"))
        yield self._sum(
            words("Conversion cost"), sums.conversion_cost, words("everything but direct material and packaging")
        )
        yield self._sum(words("Variable cost"), sums.variable_cost, words("what rises and falls with the volume"))
        yield self._sum(words("Fixed cost"), sums.fixed_cost, words("the rest"))
        yield self._sum(words("Full cost"), sums.full_cost)

    def _remarks(self) -> Iterator[Remarks]:
        words, statement = self.words, self.statement
        yield Remarks(title=words("What looks wrong"), entries=self._told(statement.warnings))
        yield Remarks(title=words("Where somebody can be hurt"), entries=self._told(statement.cautions))
        yield Remarks(title=words("Exchange rates"), entries=tuple(self._exchange_rates()))
        yield Remarks(title=words("Rates in force"), entries=tuple(self._rates_in_force()))

    def _exchange_rates(self) -> Iterator[Entry]:
        for used in self.statement.exchange_rates:
            source, day = isolated(used.source), self._day(used.published_on)
            published = self.words("{source}, published on {day}", source=source, day=day)
            for currency, rate in used.rates.items():
                figures = f"1 {used.base} = {self._number(rate)} {currency}"
                yield Entry(text=left_to_right(figures, self.locale), note=published)

    def _rates_in_force(self) -> Iterator[Entry]:
        """The resources of the rates, by the day since when they are in force, the latest first."""
        names = {whole_of(line.resource): self.words.told(line.name) for line in reversed(self.statement.lines)}
        days: dict[date, list[str]] = {}
        for resource, day in self.statement.rates_valid_from.items():
            days.setdefault(day, []).append(names[resource])
        for day in sorted(days, reverse=True):
            yield Entry(text=", ".join(days[day]), note=self.words("in force since {day}", day=self._day(day)))

    def _told(self, told: Iterable[Caution | PlausibilityWarning]) -> tuple[Entry, ...]:
        return tuple(Entry(text=self.words.told(each.text), note=isolated(each.source)) for each in told)

    def _intro(self) -> Iterator[str]:
        words = self.words
        yield words(
            "Every figure has its formula, in words and in numbers. Key the numbers into a pocket calculator and you "
            "get the result to the last digit shown; some figures have many digits for that reason."
        )
        yield words(
            "⌈ ⌉ rounds up to the next whole number, Σ adds up all terms that are written alike, ^ means to the power "
            "of, ln the natural logarithm."
        )
        yield words("On the sheet the amounts are rounded so that the lines add up to the total.")

    def _section(self, section: Section) -> WorkingsView:
        title = self._named(section.title)
        since = section.valid_from
        return WorkingsView(
            title=f"{title}{self.words.colon}{self.words.told(section.of)}" if section.of else title,
            note="" if since is None else self.words("in force since {day}", day=self._day(since)),
            workings=tuple(self._working(each) for each in section.workings),
        )

    def _working(self, working: Working) -> WorkingView:
        name = self._named(working.name)
        return WorkingView(
            name=f"{name}, {self.words.told(working.of)}" if working.of else name,
            formula=_NAME.sub(lambda found: self._named(found[1]), working.formula),
            figures=_FIGURE.sub(lambda found: self._number(Decimal(found[0])), working.with_figures),
            result=self._measured(working.result, working.unit),
            note=self._on_sheet(working),
        )

    def _named(self, name: str) -> str:
        if found := _EXCHANGE.fullmatch(name):
            return self.words("{currency} for 1 {base}", **found.groupdict())
        what, per, unit = name.rpartition(" per ")
        if unit in _SIGNS.values():
            template = what + per + "{unit}"
            return self.words(template, unit=unit)
        return self.words(name)

    def _on_sheet(self, working: Working) -> str:
        if working.on_sheet is None:
            return ""
        shown = formatted_amount(in_currency(working.on_sheet, self.statement.currency), self.locale)
        if working.adjusted_by is None:
            return self.words("on the sheet {amount}", amount=shown)
        if working.adjusted_by > 0:
            return self.words("on the sheet {amount}: rounded up, so that the lines add up", amount=shown)
        return self.words("on the sheet {amount}: rounded down, so that the lines add up", amount=shown)

    def _measured(self, quantity: Decimal, unit: str) -> str:
        currency, _, per = unit.partition("/")
        if currency != self.statement.currency:
            number = formatted_number(quantity, self.locale)
            return (
                f"{number}\u00a0{self._unit(unit if quantity == 1 else _SEVERAL.get(unit, unit))}" if unit else number
            )
        amount = formatted_amount(in_currency(quantity, currency), self.locale)
        return f"{amount}/{self._unit(per)}" if per else amount

    def _unit(self, unit: str) -> str:
        return self.words(_SIGNS.get(unit, unit))

    def _number(self, figure: Decimal) -> str:
        return unisolated(formatted_number(figure, self.locale))

    def _day(self, day: date) -> str:
        return formatted_date(day, self.locale)
