"""A job sheet in finished words and figures, for layout; for the bench."""

from dataclasses import dataclass

from service.documents.writing.paper import Entry, PaperView


@dataclass(frozen=True, slots=True, kw_only=True)
class FetchView:
    """A material or a part to fetch.

    Attributes:
        where: the step that it enters at; empty where there is none.
    """

    name: str
    quantity: str
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepView:
    """One step.

    Attributes:
        title: its number and its name.
        note: whether it runs while the step before it still runs.
        facts: what with, how long, how many, who, what goes in and what comes back.
        blanks: what is written by hand.
    """

    title: str
    note: str
    facts: tuple[Entry, ...]
    blanks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """One product of the batch; the title is empty if the batch is of one product alone."""

    title: str
    fetched: tuple[FetchView, ...]
    returned: tuple[Entry, ...]
    wasted: tuple[Entry, ...]
    steps: tuple[StepView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSheetView(PaperView):
    """A job sheet in finished words and figures; its day is that of the printing.

    Attributes:
        state: what it is for.
        facts: the batch as a whole.
        columns: headings of what to fetch: what, how much, for which step, what was really taken.
        blanks: of the whole batch, written by hand.
    """

    name: str
    seller: str
    state: str
    facts: tuple[Entry, ...]
    columns: tuple[str, str, str, str]
    fetch_title: str
    returned_title: str
    wasted_title: str
    parts: tuple[PartView, ...]
    blanks_title: str
    blanks: tuple[str, ...]
    cautions_title: str
    cautions: tuple[Entry, ...]
