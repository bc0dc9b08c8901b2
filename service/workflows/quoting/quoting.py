"""Quoting: a draft, stored with everything it was computed from."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from uuid import UUID

from service import clock
from service.domain.costing.free_of_charge import zero_price
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.figures import floor_warnings, least_choice_warnings, loss_warnings, quotation_figures
from service.domain.quoting.quotation import QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.letterhead import Letterhead
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.money import currency_problems_on
from service.store.engine.database import Connection
from service.store.quoting import life
from service.store.quoting.quotations import Quotation
from service.store.workshop.workshops import lock_workshop
from service.workflows.quoting.quotation_basis import quotation_basis
from service.workflows.workshop.letterhead import present_letterhead
from service.workflows.workspace import Workspace

VALIDITY = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationPreview:
    """What a quotation would say; nothing is stored.

    Attributes:
        quoted_on: the day of its rates.
        valid_until: the last day its prices would hold.
        letterhead: who quotes.
        request: what was asked for.
        figures: all figures; `kept` and `unit_full_cost` are not for the customer.
        remarks: warnings for the workshop, and cautions for the customer too.
    """

    quoted_on: date
    valid_until: date
    letterhead: Letterhead
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks


def quote(
    workspace: Workspace,
    request: QuotationRequest,
    revises: Quotation | None = None,
    check: Callable[[Connection], object] = lambda _connection: None,
) -> Quotation:
    """Price the request and store a draft with everything it was computed from.

    Args:
        request: the lines, the customer and the terms.
        revises: the quotation that it revises.
        check: runs under the workshop's lock; raises if the draft must not be stored.

    Raises:
        InvalidValuesError: something named is not registered, or an amount is too fine for the currency.
        MissingRatesError: naming every resource without a rate on the day.
        MissingExchangeRateError: an amount cannot be converted on the day.
        UnreachableTargetError: no price meets the policy of a line.
        UnknownZoneError, MissingMeasuresError, DoesNotFitError: it cannot be shipped as asked.
        TooComplexError: it exceeds the limit of one request.
    """
    while True:
        shown, basis = previewed(workspace, request)
        with workspace.writing() as connection:
            if lock_workshop(connection, workspace.workshop_id) == workspace.workshop.revision:
                check(connection)
                quotation = _draft(life.next_quotation_id(connection, workspace.workshop_id), shown, revises)
                life.add_quotation(connection, workspace.workshop_id, quotation, basis, workspace.actor.name)
                return quotation
        # Something has changed meanwhile: computed again, so that a quotation never mixes two states.
        workspace = workspace.now()


def _draft(its_id: UUID, shown: QuotationPreview, revises: Quotation | None) -> Quotation:
    return Quotation(
        id=its_id,
        revision=1 if revises is None else revises.revision + 1,
        revises_id=None if revises is None else revises.id,
        revises_number=None if revises is None else revises.number,
        created_at=clock.now(),
        **{each.name: getattr(shown, each.name) for each in fields(shown)},
    )


def preview(workspace: Workspace, request: QuotationRequest) -> QuotationPreview:
    """Price the request as `quote` does, and raise as it does, but store nothing."""
    while True:
        shown, _ = previewed(workspace, request)
        now = workspace.now()
        if now.workshop.revision == workspace.workshop.revision:
            return shown
        workspace = now  # as in `quote`


def previewed(workspace: Workspace, request: QuotationRequest) -> tuple[QuotationPreview, QuotationBasis]:
    """What the quotation would say, and what it is computed from; raises as `quote` does."""
    quoted_on = request.quoted_on or workspace.workshop.today()
    valid_until = request.valid_until or quoted_on + VALIDITY
    if valid_until < quoted_on:
        raise InvalidValuesError([InvalidValueError(("valid_until",), f"must not be before {quoted_on}")])
    if problems := list(currency_problems_on(request, quoted_on)):
        raise InvalidValuesError(problems)
    basis, remarks = quotation_basis(workspace, request, quoted_on)
    figures = quotation_figures(request, basis)
    with workspace.reading() as connection:
        letterhead = present_letterhead(connection, workspace, request.locale)
    free = (
        each for line in figures.lines for each in zero_price(line.product, line.quoted.unit_price.amount, line.unit)
    )
    below = (*floor_warnings(figures), *least_choice_warnings(request, basis, figures))
    found = (*below, *loss_warnings(figures), *remarks.warnings, *free)
    shown = QuotationPreview(
        quoted_on=quoted_on,
        valid_until=valid_until,
        letterhead=letterhead,
        request=request,
        figures=figures,
        remarks=replace(remarks, warnings=tuple(dict.fromkeys(found))),
    )
    return shown, basis
