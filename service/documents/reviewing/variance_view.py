"""The variances of a batch in the words and figures of a locale, before layout."""

from collections.abc import Iterator

from service.documents.drawing.drawing import ImageForm
from service.documents.reviewing.variance_chart import ChartHead, variance_chart
from service.documents.reviewing.variance_paper import VarianceView
from service.documents.reviewing.variance_writing import VarianceWriting
from service.documents.writing.formats import formatted_date, formatted_measure, formatted_unit_amount, isolated
from service.documents.writing.paper import Entry, head_of
from service.domain.reviewing.statement import VarianceStatement
from service.domain.reviewing.uncounted import Counted
from service.domain.values.exact import exactly
from service.domain.values.units import Unit


@exactly
def variance_view(code: str, statement: VarianceStatement, unit: Unit, *, seller: str, locale: str) -> VarianceView:
    """The variances of a batch in the words, numbers and dates of a locale.

    Args:
        unit: what the product is counted in.
    """
    of = VarianceWriting(statement, locale)
    words, name, word = of.words, isolated(statement.name), of.words("Batch")
    members = of.members(seller)
    return VarianceView(
        **head_of(locale, words.language, statement.made_on),
        **{**members, "answer": (*members["answer"], *(words.told(each.text) for each in statement.warnings))},
        title=f"{word} {code}{words.colon}{name}",
        word=word,
        name=name,
        facts=tuple(_facts(of, statement, unit)),
        chart=batch_chart(code, statement, ImageForm.SVG, locale=locale).decode(),
        estimated_title=words("What nobody counted, and is taken as estimated"),
        estimated=tuple(_estimated(of, statement)),
    )


def batch_chart(code: str, statement: VarianceStatement, form: ImageForm, *, locale: str) -> bytes:
    """The variances of a batch as a waterfall."""
    day = formatted_date(statement.made_on, locale)
    subtitle = VarianceWriting(statement, locale).words(
        "Batch {code} of {day}, at the rates of the day.", code=code, day=day
    )
    return variance_chart(statement, ChartHead(name=statement.name, subtitle=subtitle), form, locale=locale)


def _facts(of: VarianceWriting, statement: VarianceStatement, unit: Unit) -> Iterator[Entry]:
    words, locale = of.words, of.locale
    good = words("Good pieces") if unit is Unit.PIECE else words("Good quantity")
    yield Entry(text=words("Product"), figure=statement.product)
    yield Entry(text=words("Made on"), figure=formatted_date(statement.made_on, locale))
    yield Entry(text=good, figure=formatted_measure(statement.good_units, unit, locale))
    per = words.per(unit)
    for text, cost in (
        (words("Should have cost, {per_unit}", per_unit=per), statement.standard_unit_cost),
        (words("Cost, {per_unit}", per_unit=per), statement.actual_unit_cost),
    ):
        if cost is not None:
            yield Entry(text=text, figure=formatted_unit_amount(cost, locale))


def _estimated(of: VarianceWriting, statement: VarianceStatement) -> Iterator[Entry]:
    words = of.words
    kinds = {
        Counted.ISSUED: words("taken from stock"),
        Counted.RETURNED: words("come back to be ground up"),
        Counted.MINUTES: words("minutes"),
        Counted.SCRAP: words("scrap"),
        Counted.HOURS: words("hours"),
        Counted.KWH: words("electricity"),
    }
    for kind, told in kinds.items():
        names = [isolated(each.name) for each in statement.taken_as_estimated if each.what is kind]
        if names:
            yield Entry(text=told, figure=", ".join(dict.fromkeys(names)))
