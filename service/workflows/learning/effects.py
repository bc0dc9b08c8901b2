"""What taking over facts would do: to the cost of a piece, and to open quotations."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from uuid import UUID

from service.domain.quoting.quotation import QuotationFigures
from service.domain.values.errors import PugmillError
from service.domain.values.message import Message
from service.domain.values.money import Money, in_currency
from service.domain.values.shown import Quantity, UnitAmount, shown
from service.domain.values.units import Unit
from service.store.engine.database import Connection
from service.store.quoting import quotations
from service.store.quoting.quotations import Quotation
from service.store.registering import registrations
from service.time_limit import next_step
from service.workflows.costing.cost_sheets import Batch, cost_product
from service.workflows.quoting import quoting
from service.workflows.quoting.quotations import get_quotation
from service.workflows.workspace import Workspace

MAX_QUOTATIONS = 50
"""Most quotations that are computed anew, each twice, for one answer, which takes some seconds."""
_BY_FACTS = "profit {after} {currency} instead of {before}, at the price that was given"
_BY_BOTH = (
    "profit {after} {currency} instead of {before}, at the price that was given; as quoted it was {quoted}, and what "
    "was registered since, rates of its day or the product, makes it {before} without these facts"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CostEffect:
    """What a piece, or unit, costs today, and with the facts taken over.

    Attributes:
        unit: of the product.
        quantity: of the batch.
        before: today; null if it cannot be told, like after.
        after: with the facts taken over.
        text: both in a sentence, or why they cannot be told.
    """

    unit: Unit
    quantity: Quantity
    before: UnitAmount | None
    after: UnitAmount | None
    text: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationEffect:
    """What becomes of an open quotation, which itself stays as it is.

    Attributes:
        quotation: its number, or id of a draft.
        status: draft or issued.
        customer: who asked.
        price: net, as it was given.
        asked_anew: net, as it would be asked now; null if that cannot be told, like all that follows but the text.
        full_cost: as it was quoted.
        full_cost_today: without these facts, by what is registered now: the product, and the rates of its day.
        full_cost_after: with the facts taken over, otherwise by the same.
        profit: as it was quoted.
        profit_today: at the price that was given; it differs from profit by what was registered since.
        profit_after: at the price that was given; it differs from profit_today by these facts alone.
        text: the profit in a sentence, or why it cannot be told.
    """

    quotation: str
    status: str
    customer: str
    price: Money
    asked_anew: Money | None
    full_cost: Money
    full_cost_today: Money | None
    full_cost_after: Money | None
    profit: Money
    profit_today: Money | None
    profit_after: Money | None
    text: Message


def cost_of(workspace: Workspace, code: str, quantity: Decimal) -> Money | Message:
    """The full cost of a piece today, or why it cannot be told."""
    try:
        found = cost_product(workspace, Batch(code, quantity), workspace.workshop.today())
    except PugmillError as error:
        return Message(str(error))
    return found.subtotals.full_cost.per_piece


def cost_effect(unit: Unit, quantity: Decimal, before: Money | Message, after: Money | Message) -> CostEffect:
    """Both costs beside each other."""
    if isinstance(before, Message) or isinstance(after, Message):
        text = before if isinstance(before, Message) else after
        return shown(CostEffect, "", unit=unit, quantity=quantity, before=None, after=None, text=text)
    currency = before.currency
    text = Message(
        "{after} {currency} instead of {before}", after=after.amount, before=before.amount, currency=currency
    )
    return shown(CostEffect, currency, unit=unit, quantity=quantity, before=before, after=after, text=text)


def open_quotations(connection: Connection, workspace: Workspace, changed: Iterable[str]) -> list[UUID]:
    """Those with a line of a product that changes, or of one that contains it; newest first."""
    workshop_id, products = workspace.workshop_id, {*changed}
    for code in [*products]:
        above = registrations.product_users(connection, workshop_id, code)
        products.update(user for users in above.values() for user in users)
    return quotations.open_of(connection, workshop_id, products, workspace.workshop.today())


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenQuotation:
    """An open quotation, and what it would say if it were asked for today, or why that cannot be told."""

    quotation: Quotation
    today: QuotationFigures | Message

    def effect_in(self, workspace: Workspace) -> QuotationEffect:
        """What becomes of it, in a workspace where the facts are taken over."""
        return _effect(self.quotation, self.today, _asked_anew(workspace, self.quotation))


def asked_today(connection: Connection, workspace: Workspace, ids: Sequence[UUID]) -> tuple[OpenQuotation, ...]:
    """The first of the quotations, in a workspace where nothing is taken over yet."""
    found = (get_quotation(connection, workspace, each) for each in ids[:MAX_QUOTATIONS])
    return tuple(OpenQuotation(quotation=each, today=_asked_anew(workspace, each)) for each in found)


def _asked_anew(workspace: Workspace, quotation: Quotation) -> QuotationFigures | Message:
    """The figures of the same request by what is registered, at the rates of the same day; or why there are none."""
    next_step()
    asked = replace(quotation.request, quoted_on=quotation.quoted_on, valid_until=quotation.valid_until)
    try:
        return quoting.preview(workspace, asked).figures
    except PugmillError as error:
        return Message(str(error))


def _effect(
    quotation: Quotation, today: QuotationFigures | Message, after: QuotationFigures | Message
) -> QuotationEffect:
    """The two are by the same rates and differ by the facts alone; what was registered since is told apart."""
    if isinstance(today, Message) or isinstance(after, Message):
        return _stated(quotation, today if isinstance(today, Message) else Message(str(after)))
    kept = quotation.figures.kept
    quoted, currency = kept.profit.amount, kept.profit.currency
    before, then = (kept.asked.amount - each.kept.full_cost.amount for each in (today, after))
    template = _BY_FACTS if before == quoted else _BY_BOTH
    text = Message(template, quoted=quoted, before=before, after=then, currency=currency)
    return _stated(quotation, text, (today, after), [in_currency(each, currency) for each in (before, then)])


def _stated(
    quotation: Quotation, text: Message, figures: Sequence[QuotationFigures] = (), profits: Sequence[Money] = ()
) -> QuotationEffect:
    kept, (today, after) = quotation.figures.kept, figures or (None, None)
    profit_today, profit_after = profits or (None, None)
    return QuotationEffect(
        quotation=quotation.number or str(quotation.id),
        status=quotation.status.value,
        customer=quotation.request.customer.name,
        price=quotation.figures.totals.tax_exclusive,
        asked_anew=None if after is None else after.totals.tax_exclusive,
        full_cost=kept.full_cost,
        full_cost_today=None if today is None else today.kept.full_cost,
        full_cost_after=None if after is None else after.kept.full_cost,
        profit=kept.profit,
        profit_today=profit_today,
        profit_after=profit_after,
        text=text,
    )
