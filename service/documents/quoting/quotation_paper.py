"""The content of a quotation, and the same in finished words and figures, for layout."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from service.documents.writing.paper import Entry, PaperView
from service.domain.quoting.life import Status
from service.domain.quoting.quotation import Acceptance, QuotationFigures, QuotedTax, QuotedTaxSubtotal, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.letterhead import Letterhead


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationPaper:
    """The content of a quotation.

    Attributes:
        letterhead: who quotes, and in which locale.
        reference: number, or id of a draft.
        revision: 1, or 1 more than that of the quotation it revises.
        revises: reference of the quotation it revises.
        superseded_by: reference of the quotation that revises it.
        valid_until: the last day its prices hold.
        acceptance: what the customer took; what is for the workshop only is not shown.
        figures: all figures; those for the workshop only are not shown.
        remarks: only cautions about the product are shown.
        logo: the seller's, in base64.
    """

    letterhead: Letterhead
    reference: str
    status: Status
    revision: int = 1
    revises: str | None = None
    superseded_by: str | None = None
    quoted_on: date
    issued_on: date | None = None
    valid_until: date
    acceptance: Acceptance | None = None
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks
    logo: str | None = None

    @property
    def tax_subtotals(self) -> tuple[QuotedTaxSubtotal, ...]:
        """Those of the totals, with every reason why no tax is due: taxes of one category may each have their own."""
        figures = self.figures
        charged = (each.tax for each in (*figures.charges, *figures.allowances) if each.tax is not None)
        reasons: dict[tuple[str, Decimal], dict[str, None]] = {}
        lines = (line.tax for line in figures.lines)
        told: tuple[QuotedTax | QuotedTaxSubtotal, ...] = (*figures.totals.tax_subtotals, *lines, *charged)
        for each in told:
            reasons.setdefault((each.category, each.rate_share), {})[each.exemption_reason] = None
        return tuple(
            replace(total, exemption_reason="; ".join(filter(None, reasons[total.category, total.rate_share])))
            for total in figures.totals.tax_subtotals
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityView:
    """A batch size.

    Attributes:
        unit_price: of a piece or unit, or of the base quantity.
        saving: told as a percentage of the unit price; empty if there is none.
        amount: net.
    """

    quantity: str
    unit_price: str
    saving: str
    amount: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineView:
    """A line of the quotation.

    Attributes:
        code: of the product; empty for an item.
        quoted: the quantity in the total, before adjustments.
        adjustments: allowances and charges, and the adjusted amount.
        others: other batch sizes.
    """

    number: str
    description: str
    code: str
    quoted: QuantityView
    adjustments: tuple[Entry, ...]
    notes: tuple[str, ...]
    others_title: str
    others: tuple[QuantityView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading with paragraphs."""

    title: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationView(PaperView):
    """A quotation in finished words.

    Attributes:
        state: shown first; empty if it is simply issued.
        is_binding: whether it is issued and still holds.
        seller_address: in lines.
        seller_contact: telephone, e-mail and web site.
        logo: in base64; empty if there is none.
        foot: what stands at the foot of every page, in lines.
        customer: name, contact and address in lines.
        facts: dates and references.
        intro: what applies to all figures.
        columns: headings: description, pieces, a piece, amount.
        totals: up to the total without tax, and the taxes; up to the total, if prices contain the tax.
        contained: then the taxes in the total.
        sections: delivery, shipping, payment, note.
        cautions: about the product, each with its source.
    """

    reference: str
    state: str
    is_binding: bool
    seller: str
    seller_address: tuple[str, ...]
    seller_contact: tuple[str, ...]
    logo: str
    foot: tuple[str, ...]
    customer: tuple[str, ...]
    facts: tuple[Entry, ...]
    intro: str
    columns: tuple[str, str, str, str]
    lines: tuple[LineView, ...]
    totals: tuple[Entry, ...]
    total: Entry
    contained: tuple[Entry, ...]
    sections: tuple[Section, ...]
    cautions_title: str
    cautions: tuple[Entry, ...]
