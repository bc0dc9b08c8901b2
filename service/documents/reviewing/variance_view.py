"""The variances of a batch in the words and figures of a locale, before layout."""

from collections.abc import Iterator

from service.documents.drawing.drawing import ImageForm
from service.documents.reviewing.variance_chart import named, variance_chart
from service.documents.reviewing.variance_paper import CauseRow, VarianceView
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_measure,
    formatted_share,
    formatted_unit_amount,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.paper import Entry, head_of
from service.domain.reviewing.statement import Counted, StatedVariance, VarianceStatement
from service.domain.values.exact import exactly
from service.domain.values.money import Money
from service.domain.values.units import Unit


@exactly
def variance_view(code: str, statement: VarianceStatement, unit: Unit, *, seller: str, locale: str) -> VarianceView:
    """The variances of a batch in the words, numbers and dates of a locale.

    Args:
        unit: what the product is counted in.
    """
    return _Making(code, statement, unit, locale).view(seller)


class _Making:
    def __init__(self, code: str, statement: VarianceStatement, unit: Unit, locale: str) -> None:
        self.code, self.statement, self.unit, self.locale = code, statement, unit, locale
        self.words = labels_for(locale, "variances")

    def view(self, seller: str) -> VarianceView:
        words, statement = self.words, self.statement
        name, word = isolated(statement.name), words("Batch")
        return VarianceView(
            **head_of(self.locale, words.language, statement.made_on),
            title=f"{word} {self.code}{words.colon}{name}",
            word=word,
            name=name,
            seller=isolated(seller),
            state=words("For the workshop alone: it tells what the work costs, not what to charge."),
            answer=words.told(statement.text),
            facts=tuple(self._facts()),
            columns=(words("Cause"), words("Of the standard"), words("Amount")),
            standard=self._total(words("should have cost"), statement.standard_cost),
            rows=tuple(self._cause(each) for each in statement.variances),
            actual=self._total(words("cost"), statement.actual_cost),
            chart=variance_chart(self.code, statement, ImageForm.SVG, locale=self.locale).decode(),
            chart_told=words("From what it should have cost to what it cost; the figures are in the table above."),
            estimated_title=words("What nobody counted, and is taken as estimated"),
            estimated=tuple(self._estimated()),
        )

    def _facts(self) -> Iterator[Entry]:
        words, statement, is_counted = self.words, self.statement, self.unit is Unit.PIECE
        good = words("Good pieces") if is_counted else words("Good quantity")
        yield Entry(text=words("Product"), figure=statement.product)
        yield Entry(text=words("Made on"), figure=formatted_date(statement.made_on, self.locale))
        yield Entry(text=good, figure=formatted_measure(statement.good_units, self.unit, self.locale))
        per = words.per(self.unit)
        for text, cost in (
            (words("Should have cost, {per_unit}", per_unit=per), statement.standard_unit_cost),
            (words("Cost, {per_unit}", per_unit=per), statement.actual_unit_cost),
        ):
            if cost is not None:
                yield Entry(text=text, figure=formatted_unit_amount(cost, self.locale))

    def _cause(self, variance: StatedVariance) -> CauseRow:
        share, amount = variance.share_of_standard, formatted_amount(variance.amount, self.locale)
        return CauseRow(
            text=named(variance, self.words),
            note=self.words.told(variance.text),
            share="" if share is None else formatted_share(share, self.locale),
            amount=f"+{amount}" if variance.amount.amount > 0 else amount,
        )

    def _total(self, text: str, cost: Money) -> CauseRow:
        return CauseRow(text=text, note="", share="", amount=formatted_amount(cost, self.locale))

    def _estimated(self) -> Iterator[Entry]:
        words = self.words
        kinds = {
            Counted.ISSUED: words("taken from stock"),
            Counted.MINUTES: words("minutes"),
            Counted.SCRAP: words("scrap"),
            Counted.HOURS: words("hours"),
            Counted.KWH: words("electricity"),
        }
        for kind, told in kinds.items():
            names = [isolated(each.name) for each in self.statement.taken_as_estimated if each.what is kind]
            if names:
                yield Entry(text=told, figure=", ".join(dict.fromkeys(names)))
