"""Reading quotations: one, a page, the events of one, and its recomputation."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from uuid import UUID

from service.documents.quoting.quotation_paper import QuotationPaper
from service.domain.quoting.figures import chosen_figures, quotation_figures
from service.domain.quoting.life import Status, number_of, status_on
from service.domain.quoting.quotation import QuotationFigures
from service.domain.values.shown import shown
from service.encoding import encoded, filled, trusted
from service.store.engine.database import Connection
from service.store.quoting import life, quotations
from service.store.quoting.life import QuotationEvent
from service.store.quoting.quotations import Quotation, QuotationSummary
from service.store.workshop.letterheads import find_logo
from service.store.workshop.workshops import Workshop
from service.workflows.entity_tags import tag
from service.workflows.errors import NotRegisteredError
from service.workflows.workspace import Workspace

Address = UUID | int
"""A quotation's id, or the digits of its number as an integer."""


def tag_of(quotation: Quotation) -> str:
    """The tag of its state; it changes when the quotation expires."""
    return tag(quotation.id, quotation.version, quotation.status.value)  # other workshops use the same numbers


def find_quotation(workspace: Workspace, address: Address) -> Quotation:
    """The quotation, in the state that it is in today; raises NotRegisteredError if there is none."""
    with workspace.reading() as connection:
        return get_quotation(connection, workspace, address)


def newest_quotation(workspace: Workspace, status: Status | None = None) -> UUID:
    """The id of the quotation made last, or of those in a state today; raises NotRegisteredError if there is none."""
    with workspace.reading() as connection:
        found = quotations.find_newest(connection, workspace.workshop_id, status, workspace.workshop.today())
    if found is None:
        raise NotRegisteredError(f"quotation that is {status or 'the newest'}")
    return found


def get_quotation(connection: Connection, workspace: Workspace, address: Address) -> Quotation:
    """The same, in an open transaction."""
    found = quotations.find_quotation(connection, workspace.workshop_id, address)
    if found is None:
        raise NotRegisteredError(f"quotation {number_of(address) if isinstance(address, int) else address}")
    return _today(found, workspace.workshop)


def _today(quotation: Quotation, workshop: Workshop) -> Quotation:
    return replace(quotation, status=status_on(quotation.status, quotation.valid_until, workshop.today()))


def list_quotations(
    workspace: Workspace, *, after: UUID | None, limit: int, status: Status | None = None
) -> list[QuotationSummary]:
    """A page of quotations, oldest first, in any state or in one."""
    with workspace.reading() as connection:
        found = quotations.page_of_quotations(
            connection, workspace.workshop_id, after=after, limit=limit, status=status, today=workspace.workshop.today()
        )
    today = workspace.workshop.today()
    return [replace(each, status=status_on(each.status, each.valid_until, today)) for each in found]


def list_events(workspace: Workspace, address: Address) -> list[QuotationEvent]:
    """The events of a quotation, in order; raises NotRegisteredError if there is no such quotation."""
    with workspace.reading() as connection:
        found = get_quotation(connection, workspace, address)
        return life.events_of(connection, workspace.workshop_id, found.id)


def quotation_paper(workspace: Workspace, quotation: Quotation) -> QuotationPaper:
    """The part of the quotation that the customer sees."""
    with workspace.reading() as connection:
        logo = find_logo(connection, workspace.workshop_id, quotation.letterhead.logo)
    return shown(
        QuotationPaper,
        "",
        quotation,
        reference=quotation.number or str(quotation.id),
        revises=quotation.revises_number,
        superseded_by=quotation.superseded_by_number,
        logo=logo,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputation:
    """A quotation computed again from what was stored with it.

    Attributes:
        id: of the quotation.
        number: of the quotation, if it is issued.
        agrees: whether all figures are the same, including those that the customer accepted.
        stored: the figures as they were given.
        recomputed: the figures as they are computed now.
    """

    id: UUID
    number: str | None
    agrees: bool
    stored: QuotationFigures
    recomputed: QuotationFigures


def recompute(workspace: Workspace, address: Address) -> Recomputation:
    """Compute the quotation again from its request and its stored basis; raises NotRegisteredError."""
    with workspace.reading() as connection:
        found = get_quotation(connection, workspace, address)
        basis = quotations.get_basis(connection, workspace.workshop_id, found.id)
        given = quotations.get_given(connection, workspace.workshop_id, found.id)
    again, taken = quotation_figures(found.request, basis), found.acceptance
    # Figures added to quotations later, such as the saving of a larger batch, were not given and cannot differ.
    agrees = trusted(filled(given, encoded(again)), QuotationFigures) == again
    if taken is not None:
        figures = chosen_figures(found.request, basis, taken.quantities)
        chosen = figures.totals, figures.kept
        agrees = agrees and (taken.totals, taken.kept) == chosen
    return Recomputation(id=found.id, number=found.number, agrees=agrees, stored=found.figures, recomputed=again)


def recompute_all(workspace: Workspace) -> Iterator[Recomputation]:
    """Every quotation of the workshop, computed again."""
    with workspace.reading() as connection:
        ids = list(quotations.quotation_ids(connection, workspace.workshop_id))
    for quotation_id in ids:
        yield recompute(workspace, quotation_id)
