"""Variances in finished words and figures, for layout; for the workshop only."""

from dataclasses import dataclass

from service.documents.writing.paper import Entry, PaperView
from service.documents.writing.tables import TableView


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseRow:
    """A cause, or one of the two totals.

    Attributes:
        note: what happened.
        share: of what the good units should have cost of the resource.
    """

    text: str
    note: str
    share: str
    amount: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceView(PaperView):
    """The variances of a batch, or several, in finished words; its day is that of the batch, or the last of them.

    Attributes:
        state: says that it is not for customers.
        answer: the batch in a sentence, and what it earned.
        facts: product, days, good units, costs.
        columns: headings: cause, share of the standard, amount.
        rows: the causes, the largest first.
        chart: the waterfall, as SVG.
        chart_told: alternative text of the chart.
        tables: of the products of a period, and of its fixed cost.
        estimated_title: heading of what nobody counted.
    """

    name: str
    seller: str
    state: str
    answer: tuple[str, ...]
    facts: tuple[Entry, ...]
    columns: tuple[str, str, str]
    standard: CauseRow
    rows: tuple[CauseRow, ...]
    actual: CauseRow
    chart: str
    chart_told: str
    tables: tuple[TableView, ...] = ()
    estimated_title: str = ""
    estimated: tuple[Entry, ...] = ()
