"""Quoting a customer, and checking years later that a quotation still comes out the same."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from uuid_utils.compat import uuid7

from service.documents import quotation_text as paper
from service.documents.quotation_text import QuotationPaper
from service.domain.errors import InvalidValueError, InvalidValuesError
from service.domain.plausibility import cautions_of, warnings
from service.domain.quotation import QuotationBasis, QuotationFigures, Remarks
from service.domain.quotation_figures import quotation_figures
from service.domain.quotation_request import QuotationRequest
from service.domain.rates import RateCard
from service.store import quotations
from service.store.database import Database
from service.store.quotations import DRAFT, Quotation
from service.store.workshops import Workshop, lock_workshop
from service.workflows.costing import costed, pools_of, prepare
from service.workflows.errors import NotRegisteredError

VALIDITY = timedelta(days=30)


def quote(database: Database, workshop: Workshop, request: QuotationRequest) -> Quotation:
    """Price what is asked for and keep the draft with everything it was computed from.

    Raises:
        InvalidValuesError: a product or tax is not registered, or an amount is too fine for the currency.
        MissingRatesError: naming every resource without a rate on the day.
    """
    quoted_on = request.quoted_on or workshop.today()
    valid_until = request.valid_until or quoted_on + VALIDITY
    if valid_until < quoted_on:
        raise InvalidValuesError([InvalidValueError(("valid_until",), f"must not be before {quoted_on}")])
    while True:
        basis, remarks = _basis(database, workshop, request, quoted_on)
        quotation = _draft(request, basis, remarks, valid_until)
        with database.writing() as connection:
            revision = lock_workshop(connection, workshop.workshop_id)
            if revision == workshop.revision:
                quotations.add_quotation(connection, workshop.workshop_id, quotation, basis)
                return quotation
        # A rate or a fact has changed in the meantime: a quotation must not mix two states, so it is made anew.
        workshop = replace(workshop, revision=revision)


def _draft(request: QuotationRequest, basis: QuotationBasis, remarks: Remarks, valid_until: date) -> Quotation:
    return Quotation(
        id=uuid7(),
        status=DRAFT,
        created_at=datetime.now(UTC),
        quoted_on=basis.as_of,
        valid_until=valid_until,
        request=request,
        figures=quotation_figures(request, basis),
        remarks=remarks,
    )


def _basis(
    database: Database, workshop: Workshop, request: QuotationRequest, quoted_on: date
) -> tuple[QuotationBasis, Remarks]:
    """Everything outside the request that the figures follow from, and what has to be said beside them."""
    products = [(("lines", index, "product"), "products", line.product) for index, line in enumerate(request.lines)]
    taxes = [(path, "taxes", code) for path, code in request.taxes_named()]
    costing = prepare(database, workshop, [*products, *taxes], quoted_on)
    tax_codes = dict.fromkeys(code for _, _, code in taxes)
    tax_resources = [f"taxes/{code}" for code in tax_codes]
    batches = dict.fromkeys((line.product, quantity) for line in request.lines for quantity in line.quantities)
    bills = [bill for bill, _ in costed(database, workshop, costing, batches, also=tax_resources)]
    catalogue = costing.surroundings.catalogue
    used = [*(resource for bill in bills for resource in bill.resources), *tax_resources]
    quoted = {(line.product, line.quantity) for line in request.lines}
    basis = QuotationBasis(
        as_of=quoted_on,
        currency=workshop.currency,
        card=RateCard(
            as_of=quoted_on,
            currency=workshop.currency,
            rates={resource: costing.card.rates[resource] for resource in used},
        ),
        exchange=costing.exchange.used,
        pools=pools_of(costing.surroundings),
        taxes={code: costing.surroundings.facts["taxes"][code] for code in tax_codes},
        bills=tuple(bills),
    )
    shown = [bill for bill in bills if (bill.product, bill.quantity) in quoted]
    remarks = Remarks(
        warnings=tuple(dict.fromkeys(each for bill in shown for each in warnings(bill, catalogue))),
        cautions=tuple(dict.fromkeys(each for bill in shown for each in cautions_of(bill, catalogue))),
        exchange_rates=costing.exchange.used.stated(),
    )
    return basis, remarks


def find_quotation(database: Database, workshop: Workshop, quotation_id: UUID) -> Quotation:
    """The quotation as it was given.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
    """
    with database.reading() as connection:
        found = quotations.find_quotation(connection, workshop.workshop_id, quotation_id)
    if found is None:
        raise NotRegisteredError(f"quotation {quotation_id}")
    return found


def list_quotations(database: Database, workshop: Workshop, *, after: UUID | None, limit: int) -> list[Quotation]:
    """A page of quotations, oldest first."""
    with database.reading() as connection:
        return quotations.page_of_quotations(connection, workshop.workshop_id, after=after, limit=limit)


def quotation_text(workshop: Workshop, quotation: Quotation) -> str:
    """The quotation as the customer reads it."""
    return paper.quotation_text(
        QuotationPaper(
            seller=workshop.name,
            seller_address=workshop.address,
            reference=str(quotation.id),
            status=quotation.status,
            quoted_on=quotation.quoted_on,
            valid_until=quotation.valid_until,
            locale=workshop.locale,
            request=quotation.request,
            figures=quotation.figures,
            remarks=quotation.remarks,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputation:
    """A quotation computed once more from what was stored with it.

    Attributes:
        id: of the quotation.
        agrees: whether every figure is the same.
        stored: the figures as they were given.
        recomputed: the figures as they come out now.
    """

    id: UUID
    agrees: bool
    stored: QuotationFigures
    recomputed: QuotationFigures


def recompute(database: Database, workshop: Workshop, quotation_id: UUID) -> Recomputation:
    """Compute the quotation again from its request and its basis; no current rate is read.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
    """
    quotation = find_quotation(database, workshop, quotation_id)
    with database.reading() as connection:
        basis = quotations.get_basis(connection, workshop.workshop_id, quotation_id)
    again = quotation_figures(quotation.request, basis)
    return Recomputation(id=quotation_id, agrees=again == quotation.figures, stored=quotation.figures, recomputed=again)


def recompute_all(database: Database, workshop: Workshop) -> Iterator[Recomputation]:
    """Every quotation of the workshop, computed again."""
    with database.reading() as connection:
        ids = list(quotations.quotation_ids(connection, workshop.workshop_id))
    for quotation_id in ids:
        yield recompute(database, workshop, quotation_id)
