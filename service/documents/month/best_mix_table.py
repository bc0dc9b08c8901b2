"""The best mix of a month: its table and profit, or why there is none."""

from collections.abc import Iterator
from decimal import Decimal

from service.documents.month.month_writing import UNKNOWN, MonthWriting
from service.documents.writing.formats import isolated
from service.documents.writing.tables import Cell, TableView
from service.domain.month.best_mix_statement import BestMixStatement, MixOutcome
from service.domain.month.verdict import Verdict


def best_mix_table(of: MonthWriting) -> TableView | None:
    """The best mix beside the plan, or why there is none; None if the request did not ask for it."""
    best, words = of.month.best_mix, of.words
    if best is None:
        return None
    title = words("The mix that leaves the most")
    if best.outcome is not MixOutcome.FOUND:
        return TableView(title=title, notes=(_no_mix(of, best),))
    rows = zip(of.month.lines, best.lines, strict=True)
    return TableView(
        title=title,
        notes=tuple(_of_mix(of, best)),
        columns=(words("Product"), words("Planned"), words("Best mix"), words("Hour of the bottleneck"), words("Rank")),
        rows=tuple(
            (
                of.name(line),
                Cell(text=of.measured(line.pieces, line.unit)),
                Cell(text=of.measured(found.pieces, line.unit)),
                Cell(text=of.money(line.contribution_per_hour) if line.contribution_per_hour else UNKNOWN),
                Cell(text=UNKNOWN if line.rank is None else of.pieces(Decimal(line.rank))),
            )
            for line, found in rows
        ),
    )


def _of_mix(of: MonthWriting, best: BestMixStatement) -> Iterator[str]:
    words = of.words
    assert best.profit is not None  # it is found
    assert best.profit_at_most is not None
    profit, planned = of.money(best.profit), of.money(of.month.profit)
    if of.month.verdict is Verdict.CANNOT_BE_MADE:
        yield words("It leaves {profit}; the plan cannot be made.", profit=profit)
    else:
        yield words("It leaves {profit}; the plan leaves {planned}.", profit=profit, planned=planned)
    if best.is_proven:
        yield words("No mix that you can make and sell earns more.")
    else:
        yield words("No mix that you can make and sell earns more than {profit}.", profit=of.money(best.profit_at_most))
    for each in best.time_values:
        value = of.money(each.value_of_another_hour)
        yield words("Another hour of {name} would add about {value}.", name=isolated(each.name), value=value)


def _no_mix(of: MonthWriting, best: BestMixStatement) -> str:
    """Why there is none, with the names of what limits it."""
    if best.outcome is MixOutcome.NOT_SOLVED:
        return of.words("The best mix could not be computed; everything else here holds.")
    names = {load.resource: load.name for load in of.month.loads}
    names |= {line.product: line.name for line in of.month.lines}
    named = ", ".join(isolated(names[each]) for each in best.limited_by)
    if best.outcome is MixOutcome.TOO_LITTLE_TIME:
        return of.words("Even the least of everything takes more time than there is of: {names}.", names=named)
    return of.words("Neither demand nor known time limits: {names}.", names=named)
