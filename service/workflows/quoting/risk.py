"""What the batches of a quotation may come to cost, by the records of their products; for the workshop alone."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.costing.rate_card import DatedRate, unit_rates
from service.domain.learning.learning import ObservedBatch
from service.domain.learning.risk import RiskBand, Spread, risk_band, told_of_changes, told_together, ways_together
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Catalogue
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.figures import chosen_figures
from service.domain.quoting.lines import QuotedLines
from service.domain.quoting.quotation import QuotationFigures, QuotedLine
from service.domain.quoting.request import QuotationRequest
from service.domain.values.exact import ZERO, exactly, share_of
from service.domain.values.message import Message
from service.domain.values.money import Money, in_currency, rounded
from service.domain.values.references import Thing
from service.domain.values.shown import Quantity, ShownShare, shown
from service.domain.values.units import Unit
from service.store.engine.database import Connection
from service.store.quoting import quotations as stored
from service.store.records.batch_records import ChosenRecords, observed_batches
from service.store.registering.surroundings import surroundings
from service.time_limit import next_step
from service.workflows.currency.exchange import Exchange
from service.workflows.quoting.quotations import Address, get_quotation
from service.workflows.quoting.quoting import previewed
from service.workflows.workspace import Workspace

MAX_RECORDS, MAX_SHEETS = 1_000, 5_000
"""Most records of a line, the latest; and most cost sheets of one answer, which take some seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastBatchCost:
    """What a line would cost if it went as a recorded batch went.

    Attributes:
        code: of the record.
        full_cost: of the quantity of the line.
    """

    code: str
    full_cost: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRisk:
    """What a line may come to cost; never for the customer.

    Attributes:
        product: its code; null for an item that is none.
        description: what the customer reads.
        quantity: that is counted in the totals, or that was accepted.
        unit: of the quantity.
        quoted: full cost as quoted.
        asked: what the line brings without tax.
        batches: recorded batches of the product that say something of its facts, the latest.
        lost: of these, those that went wholly to scrap, and are in no amount.
        lowest: the least that the line would cost, as one of the others went; null if there are none.
        expected: their mean.
        highest: the most.
        losing: of all batches, those like which the line would cost more than it brings.
        losing_share: the same as a share; null if there are no batches.
        text: all of it in words.
    """

    product: str | None
    description: str
    quantity: Quantity
    unit: Unit
    quoted: Money
    asked: Money
    batches: int
    lost: int
    lowest: PastBatchCost | None
    expected: Money | None
    highest: PastBatchCost | None
    losing: int
    losing_share: ShownShare | None
    text: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationRisk:
    """What a quotation may come to cost, by the records of its products; never for the customer.

    Attributes:
        currency: of every amount.
        lines: in the order of the quotation.
        quoted: full cost as quoted, the sum of the lines.
        asked: what all of it brings without tax, allowances, charges and shipping counted.
        lowest: the sum of the lines, each as quoted if no record says what it costs; null if none of them does.
        expected: likewise.
        highest: likewise.
        ways: in how many ways recorded batches can come together, one for each line; null if none, or too many to
            count.
        losing: of these ways, those that would cost more than is asked.
        losing_share: the same as a share.
        text: all of it in words.
    """

    currency: str
    lines: tuple[LineRisk, ...]
    quoted: Money
    asked: Money
    lowest: Money | None
    expected: Money | None
    highest: Money | None
    ways: int | None
    losing: int | None
    losing_share: ShownShare | None
    text: Message


def risk_of_quotation(workspace: Workspace, address: Address) -> QuotationRisk:
    """What a quotation may come to cost, of the quantities accepted, or else of those counted in its totals.

    Each recorded batch's own facts are put into the product of today, and that is costed at the quotation's rates.

    Raises:
        NotRegisteredError: there is no such quotation.
        MissingRatesError: the product has changed, and now needs something without a rate on the quotation's day.
    """
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        found = get_quotation(connection, frozen, address)
        basis = stored.get_basis(connection, workspace.workshop_id, found.id)
        request, figures = found.request, found.figures
        if found.acceptance is not None:
            quantities = found.acceptance.quantities
            request, figures = request.choosing(quantities), chosen_figures(request, basis, quantities)
        return _Risk(connection, frozen, request, basis).told(figures)


def risk_of_preview(workspace: Workspace, request: QuotationRequest) -> QuotationRisk:
    """The same of the quotation that a request would get; nothing is stored. Raises as `quote` does."""
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        preview, basis = previewed(frozen.now(), request)
        return _Risk(connection, frozen, request, basis).told(preview.figures)


class _Risk:
    """Costs the lines of a quotation as recorded batches went."""

    def __init__(
        self, connection: Connection, workspace: Workspace, request: QuotationRequest, basis: QuotationBasis
    ) -> None:
        self.connection, self.workspace, self.request = connection, workspace, request
        self.currency = basis.currency
        things = [Thing("products", line.product) for line in request.lines if line.product is not None]
        around = surroundings(workspace.database, workspace.workshop_id, things, basis.as_of)
        pools = {Thing.of(resource).code: pool for resource, pool in basis.pools.items()}
        self.catalogue = replace(around.catalogue, overheads=pools)
        self.priced = QuotedLines(request.lines, self._with_rates(basis, around.rates), request.display)
        self.limit = min(MAX_RECORDS, MAX_SHEETS // max(1, len(things)))
        self.limited: set[str] = set()
        self.batches: dict[str, list[ObservedBatch]] = {}

    def _with_rates(self, basis: QuotationBasis, rates: Mapping[str, DatedRate]) -> QuotationBasis:
        """The basis, with the rates of its day for what products have come to need since."""
        known = basis.card.rates
        since = {each: rates[each] for each in rates if each not in known and not each.startswith("overheads/")}
        if not since:
            return basis
        card, exchange = replace(basis.card, rates={**known, **since}), Exchange(self.workspace, basis.as_of)
        unit_rates(card, since, basis.pools, exchange)  # so that the exchange rates they need are counted as used
        days = (*basis.exchange.days, *exchange.used.days)
        return replace(basis, card=card, exchange=replace(basis.exchange, days=days))

    @exactly
    def told(self, figures: QuotationFigures) -> QuotationRisk:
        """The risk of each line and of all of them."""
        bands = [self._band(place, line) for place, line in enumerate(figures.lines)]
        lines = tuple(self._line(*each) for each in zip(figures.lines, bands, range(len(bands)), strict=True))
        certain = sum((self._quoted(place) for place, band in enumerate(bands) if not band.batches), ZERO)
        asked = figures.kept.asked
        ways = ways_together(bands, certain, asked.amount)
        sums = {name: _sum(lines, name) for name in ("lowest", "expected", "highest")}
        is_known = any(band.costs for band in bands)
        return shown(
            QuotationRisk,
            self.currency,
            ways,
            lines=lines,
            currency=self.currency,
            quoted=sum((line.quoted.amount for line in lines), ZERO),
            asked=asked,
            **(sums if is_known else dict.fromkeys(sums)),
            ways=None if ways is None else ways.number,
            losing=None if ways is None else ways.losing,
            losing_share=None if ways is None else share_of(Decimal(ways.losing), Decimal(ways.number)),
            text=told_together(bands, Spread(**sums), asked, ways),
        )

    def _line(self, line: QuotedLine, band: RiskBand, place: int) -> LineRisk:
        kept = line.quoted.kept
        return shown(
            LineRisk,
            self.currency,
            band,
            line,
            quantity=line.quoted.quantity,
            quoted=kept.full_cost,
            asked=kept.asked,
            losing=band.losing or 0,
            text=self._told(line, band, place),
        )

    def _told(self, line: QuotedLine, band: RiskBand, place: int) -> Message:
        """The band in words, and what its figures do not show."""
        if line.product is None:
            return Message("Only products have records")
        if line.product not in self.catalogue.products:
            return Message("The product is not registered any more, so nothing can be tried with its records")
        now, quoted = rounded(band.estimated, self.currency), rounded(self._quoted(place), self.currency)
        told = told_of_changes(band.text, now, quoted)
        if line.product in self.limited:
            return Message("{told}. Only the latest {limit} records count", told=told, limit=Decimal(self.limit))
        return told

    def _quoted(self, place: int) -> Decimal:
        """The full cost of a line as quoted, unrounded."""
        return self.priced.abroad(self.priced.costs(place, self.request.lines[place].quantity).line.full)

    def _band(self, place: int, line: QuotedLine) -> RiskBand:
        asked, quantity, code = line.quoted.kept.asked, line.quoted.quantity, line.product or ""
        is_made = code in self.catalogue.products
        as_quoted = in_currency(self._quoted(place), self.currency)
        tooling = self.request.lines[place].tooling.tooling

        def costed(facts: Catalogue) -> Money:
            if not is_made:
                return as_quoted
            next_step()
            sheet = self.priced.sheet_of(place, bill_of_resources(code, quantity, facts, tooling))
            return in_currency(self.priced.abroad(sheet.full_cost), self.currency)

        return risk_band(costed, self.catalogue, self._batches(code) if is_made else (), asked.amount)

    def _batches(self, product: str) -> list[ObservedBatch]:
        """The latest records of a product, read once."""
        if product not in self.batches:
            chosen, limit = ChosenRecords(product=product), self.limit + 1
            observed = observed_batches(self.connection, self.workspace.workshop_id, chosen, limit=limit)
            found = [batch for _, batch in observed]
            if len(found) > self.limit:
                self.limited.add(product)
            self.batches[product] = found[: self.limit]
        return self.batches[product]


def _sum(lines: Iterable[LineRisk], name: str) -> Decimal:
    """The sum of what the lines show, each as quoted where it shows nothing."""
    total = ZERO
    for line in lines:
        found: PastBatchCost | Money = getattr(line, name) or line.quoted
        total += (found.full_cost if isinstance(found, PastBatchCost) else found).amount
    return total
