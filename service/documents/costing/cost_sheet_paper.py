"""The finished words and figures that a cost sheet is laid out from; it stays in the workshop."""

from dataclasses import dataclass

from service.documents.writing.paper import Entry, PaperView


@dataclass(frozen=True, slots=True, kw_only=True)
class CostRow:
    """A line of the sheet, or the sum of some.

    Attributes:
        text: the resource, or what is summed.
        note: whether it is fixed or variable, and its share of the full cost.
        quantity: with its unit; empty for a sum.
        rate: what a unit costs; empty for a sum.
        amount: for the batch.
        per_piece: for a good piece.
    """

    text: str
    note: str
    quantity: str
    rate: str
    amount: str
    per_piece: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CostGroup:
    """The lines under one heading.

    Attributes:
        total: the heading, with the sum.
        rows: the lines.
    """

    total: CostRow
    rows: tuple[CostRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingView:
    """A figure and how it came about.

    Attributes:
        name: what it is, and of what.
        formula: with names.
        figures: with figures.
        result: with its unit.
        note: what the sheet shows of it, where that differs.
    """

    name: str
    formula: str
    figures: str
    result: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingsView:
    """Workings that belong together.

    Attributes:
        title: what they are about.
        note: since when a rate holds; empty for what is no rate.
        workings: one by one.
    """

    title: str
    note: str
    workings: tuple[WorkingView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarks:
    """Texts with their sources under a heading.

    Attributes:
        title: the heading.
        entries: the texts, each with its source.
    """

    title: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CostSheetView(PaperView):
    """A cost sheet in finished words; its day is that of the rates.

    Attributes:
        name: of the product.
        seller: the workshop's name.
        state: that it is not for customers.
        facts: the batch, the day, what it costs.
        columns: headings: resource, quantity, rate, amount, a piece.
        groups: the lines under their headings.
        sums_title: above the sums.
        sums: prime, conversion, variable, fixed and full cost.
        chart: what a piece is made up of, as SVG.
        chart_told: what the picture shows, for those who cannot see it.
        remarks: warnings, cautions, exchange rates.
        workings_title: above the workings.
        workings_intro: how they are read.
        workings: how every figure came about.
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
