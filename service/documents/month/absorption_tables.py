"""What the planned pieces absorb of the fixed costs, and the way from their profits to the month's."""

from collections.abc import Iterator
from decimal import Decimal
from functools import partial

from service.documents.month.month_writing import MonthWriting
from service.documents.writing.formats import isolated
from service.documents.writing.tables import Cell, TableView
from service.domain.month.absorption import AbsorptionStatement
from service.domain.values.exact import ZERO
from service.domain.values.money import Money, in_currency


def absorption_table(of: MonthWriting) -> TableView | None:
    """The fixed cost of each resource and what is absorbed of it; None if there is none."""
    words, rows = of.words, of.month.absorption
    if not rows:
        return None
    totals = (
        sum((each.incurred.amount for each in rows), ZERO),
        sum((each.absorbed.amount for each in rows), ZERO),
        sum((each.under_absorbed.amount for each in rows), ZERO),
    )
    title, absorbed = words("What the planned products absorb"), words("Absorbed by the products")
    note = words(
        "By its cost sheet each product bears a part of the fixed cost. What the plan does not absorb is left to the "
        "month."
    )
    if of.is_of_pieces:
        title, absorbed = words("What the planned pieces absorb"), words("Absorbed by the pieces")
        note = words(
            "By its cost sheet a piece bears fixed cost for the time that it takes. What the plan does not absorb is "
            "left to the month."
        )
    return TableView(
        title=title,
        notes=(note,),
        columns=(words("Fixed cost"), words("Amount"), absorbed, words("Not absorbed")),
        rows=(
            *map(partial(_absorption, of), rows),
            (Cell(text=words("Total")), *(Cell(text=_amount(of, total)) for total in totals)),
        ),
    )


def _absorption(of: MonthWriting, each: AbsorptionStatement) -> tuple[Cell, ...]:
    note = of.words("more than it costs") if each.under_absorbed.amount < 0 else ""
    return (
        Cell(text=isolated(each.name), note=of.words("left out of the plan") if each.is_left_out else each.resource),
        Cell(text=of.money(each.incurred)),
        Cell(text=of.money(each.absorbed)),
        Cell(text=of.money(each.under_absorbed), note="" if each.is_left_out else note),
    )


def reconciliation_table(of: MonthWriting) -> TableView:
    """The profits of the products at full cost, and what makes them the profit of the month."""
    words, told = of.words, of.month.reconciliation
    total = Cell(text=words("Profit")), Cell(text=of.money(told.profit))
    return TableView(
        title=words("From the products' profits to the month's"),
        columns=(words("Step"), words("Amount")),
        rows=(*((Cell(text=name), Cell(text=amount)) for name, amount in _steps(of)), total),
    )


def _steps(of: MonthWriting) -> Iterator[tuple[str, str]]:
    """The profits, then each step that is not 0."""
    words, told = of.words, of.month.reconciliation
    yield words("Profits of the products at full cost"), of.money(told.profit_of_products)
    steps: tuple[tuple[str, Money, int], ...] = (
        (words("less what the plan does not absorb"), told.under_absorbed, -1),
        (words("plus what it absorbs beyond the cost"), told.over_absorbed, 1),
        (words("plus what it absorbs of costs that are left out"), told.left_out, 1),
        (words("less other fixed costs"), told.other_fixed_costs, -1),
    )
    for name, amount, sign in steps:
        if amount.amount:
            yield name, _amount(of, amount.amount * sign)


def _amount(of: MonthWriting, amount: Decimal) -> str:
    return of.money(in_currency(amount, of.month.currency))
