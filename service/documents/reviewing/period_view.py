"""The variances of many batches, of a product or a period, in the words and figures of a locale, before layout."""

from collections.abc import Iterator
from datetime import date

from service.documents.drawing.drawing import ImageForm
from service.documents.reviewing.variance_chart import ChartHead, variance_chart
from service.documents.reviewing.variance_paper import VarianceView
from service.documents.reviewing.variance_writing import VarianceWriting
from service.documents.writing.formats import formatted_date, formatted_number, isolated
from service.documents.writing.paper import Entry, head_of
from service.documents.writing.tables import Cell, TableView
from service.domain.reviewing.period_review import FixedStatement, PeriodReview, SummedStatement
from service.domain.values.exact import exactly


@exactly
def product_view(statement: SummedStatement, today: date, *, seller: str, locale: str) -> VarianceView:
    """The variances of a product in the words, numbers and dates of a locale.

    Args:
        today: the day of a paper about no batch.
    """
    of, name = VarianceWriting(statement, locale), isolated(statement.name)
    word = of.words("Batches")
    return VarianceView(
        **head_of(locale, of.words.language, statement.last_day or today),
        **of.members(seller),
        title=f"{word}{of.words.colon}{name}",
        word=word,
        name=name,
        facts=(Entry(text=of.words("Product"), figure=statement.product), *_facts(of, statement)),
        chart=product_chart(statement, ImageForm.SVG, locale=locale).decode(),
    )


def product_chart(statement: SummedStatement, form: ImageForm, *, locale: str) -> bytes:
    """The variances of a product as a waterfall."""
    return _chart(VarianceWriting(statement, locale), statement, statement.name, form)


@exactly
def period_view(review: PeriodReview, *, seller: str, locale: str) -> VarianceView:
    """The variances of a period, with its products and its fixed cost."""
    of = VarianceWriting(review.together, locale)
    word, members = of.words("Batches"), of.members(seller)
    members["answer"] = (*members["answer"], of.words.told(review.fixed_total.text))
    days = _days(of, review.first_day, review.last_day)
    return VarianceView(
        **head_of(locale, of.words.language, review.last_day),
        **members,
        title=f"{word}{of.words.colon}{days}",
        word=word,
        name=days,
        facts=tuple(_facts(of, review.together)),
        chart=period_chart(review, ImageForm.SVG, locale=locale).decode(),
        tables=tuple(_tables(of, review)),
    )


def period_chart(review: PeriodReview, form: ImageForm, *, locale: str) -> bytes:
    """The variances of a period as a waterfall."""
    of = VarianceWriting(review.together, locale)
    return _chart(of, review.together, _days(of, review.first_day, review.last_day), form)


def _chart(of: VarianceWriting, statement: SummedStatement, name: str, form: ImageForm) -> bytes:
    subtitle = of.words("Each batch at the rates of its day.")
    return variance_chart(statement, ChartHead(name=name, subtitle=subtitle), form, locale=of.locale)


def _days(of: VarianceWriting, first: date, last: date) -> str:
    begin, end = formatted_date(first, of.locale), formatted_date(last, of.locale)
    return begin if first == last else of.words("{first} to {last}", first=begin, last=end)


def _facts(of: VarianceWriting, statement: SummedStatement) -> Iterator[Entry]:
    words = of.words
    yield Entry(text=words("Recorded batches"), figure=formatted_number(statement.batches, of.locale))
    if statement.first_day is not None and statement.last_day is not None:
        yield Entry(text=words("Made"), figure=_days(of, statement.first_day, statement.last_day))
    if statement.earned is not None:
        earned = statement.earned
        yield Entry(text=words("Made for quotations"), figure=formatted_number(earned.batches, of.locale))
        yield Entry(text=words("Earned by these"), figure=of.money(earned.profit))
        yield Entry(text=words("As quoted"), figure=of.money(earned.quoted_profit))


def _tables(of: VarianceWriting, review: PeriodReview) -> Iterator[TableView]:
    words = of.words
    if review.products:
        yield TableView(
            title=words("By product"),
            columns=(words("Product"), words("Batches"), words("should have cost"), words("cost"), words("Difference")),
            rows=tuple(_product(of, each) for each in review.products),
        )
    if review.fixed:
        yield TableView(
            title=words("What these days cost however much is made"),
            notes=(
                words(
                    "The good units of the recorded batches bear a part of it, by what they should have taken. What is "
                    "left, batches took beyond that, or no recorded batch took up."
                ),
            ),
            columns=(
                words("Fixed cost"),
                words("By its rates"),
                words("More spent"),
                words("Borne by good units"),
                words("Taken beyond that"),
                words("Not taken up"),
            ),
            rows=(
                *(_fixed(of, isolated(each.name), each.resource, each) for each in review.fixed),
                _fixed(of, words("Total"), "", review.fixed_total),
            ),
        )


def _product(of: VarianceWriting, each: SummedStatement) -> tuple[Cell, ...]:
    return (
        Cell(text=isolated(each.name), note=each.product),
        Cell(text=formatted_number(each.batches, of.locale)),
        Cell(text=of.money(each.standard_cost)),
        Cell(text=of.money(each.actual_cost)),
        Cell(text=of.signed(each.variance)),
    )


def _fixed(of: VarianceWriting, name: str, note: str, each: FixedStatement) -> tuple[Cell, ...]:
    return (
        Cell(text=name, note=note),
        Cell(text=of.money(each.budget)),
        Cell(text=of.signed(each.budget_variance)),
        Cell(text=of.money(each.applied)),
        Cell(text=of.signed(each.efficiency)),
        Cell(text=of.money(each.capacity)),
    )
