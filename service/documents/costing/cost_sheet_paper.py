"""A cost sheet in finished words and figures, for layout; for the workshop only."""

from dataclasses import dataclass

from service.documents.writing.paper import Entry, PaperView


@dataclass(frozen=True, slots=True, kw_only=True)
class CostRow:
    """A line of the sheet, or a sum, which has no quantity and no rate.

    Attributes:
        note: whether it is fixed or variable, and its share of the full cost, if that is above 0.
        quantity: with its unit.
        amount: for the batch.
        per_piece: for a good piece, or unit.
    """

    text: str
    note: str
    quantity: str
    rate: str
    amount: str
    per_piece: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CostGroup:
    """The lines under a heading; the total has the heading."""

    total: CostRow
    rows: tuple[CostRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingView:
    """A figure and its formula.

    Attributes:
        formula: with names.
        figures: the formula with figures.
        result: with its unit.
        note: the figure on the sheet, if it differs.
    """

    name: str
    formula: str
    figures: str
    result: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingsView:
    """Workings with a heading; the note says since when a rate is in force."""

    title: str
    note: str
    workings: tuple[WorkingView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarks:
    """Texts with their sources under a heading."""

    title: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CostSheetView(PaperView):
    """A cost sheet in finished words; its day is that of the rates.

    Attributes:
        state: says that it is not for customers.
        facts: the batch, the day, the cost.
        columns: headings: resource, quantity, rate, amount, a piece or per unit.
        sums: prime, conversion, variable, fixed and full cost.
        chart: the cost of a piece or unit, as SVG.
        chart_told: alternative text of the chart.
        remarks: warnings, cautions, exchange rates, rates in force.
        workings_intro: how to read the workings.
    """

    name: str
    seller: str
    state: str
    facts: tuple[Entry, ...]
    columns: tuple[str, str, str, str, str]
    groups: tuple[CostGroup, ...]
    sums_title: str
    sums: tuple[CostRow, ...]
    chart: str
    chart_told: str
    remarks: tuple[Remarks, ...]
    workings_title: str
    workings_intro: tuple[str, ...]
    workings: tuple[WorkingsView, ...]
