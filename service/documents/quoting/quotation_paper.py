"""What is written on a quotation, and the finished words and figures that it is laid out from."""

from dataclasses import dataclass
from datetime import date

from service.documents.writing.paper import Entry, PaperView
from service.domain.quoting.life import Status
from service.domain.quoting.quotation import Letterhead, QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationPaper:
    """What is written on a quotation.

    Attributes:
        letterhead: who quotes, and in which locale.
        reference: what the quotation is called.
        status: what state it is in.
        revision: 1, and one more than that of what it revises.
        revises: what it takes the place of, if anything.
        superseded_by: what has taken its place, if anything.
        quoted_on: its day.
        issued_on: the day it was issued.
        valid_until: the last day its prices hold.
        accepted_on: the day the customer took it.
        request: what was asked for.
        figures: every figure; what the workshop keeps is not written.
        remarks: cautions that concern the product are written; what concerns the work is not.
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
    accepted_on: date | None = None
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityView:
    """A batch size.

    Attributes:
        quantity: pieces.
        unit_price: of a piece.
        saving: what a piece saves, as a percentage; empty where it saves nothing.
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
        number: 1 and so on.
        description: what is quoted.
        code: of the product.
        quoted: what is counted in the total; where it is adjusted, the amount before that.
        adjustments: allowances and charges on it, and what they come to.
        notes: what else is to be known of it.
        others_title: above the other batch sizes.
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
    """A heading with paragraphs.

    Attributes:
        title: its heading.
        paragraphs: under it.
    """

    title: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationView(PaperView):
    """A quotation in finished words.

    Attributes:
        reference: what it is called.
        state: what is to be known before all else; empty for what is simply issued.
        is_binding: whether it stands as it was issued.
        seller: the workshop's name.
        seller_address: its lines.
        customer: name, contact and address in lines.
        facts: dates and references, each with what it is.
        intro: what holds for all figures.
        columns: headings: what, pieces, a piece, amount.
        other_columns: headings of the other batch sizes: pieces, a piece, saves, amount.
        lines: what is quoted.
        totals: up to the total without tax, and the taxes.
        total: the sum.
        sections: delivery, payment and the like.
        cautions_title: above the cautions.
        cautions: where the product can hurt someone, each with its source.
    """

    reference: str
    state: str
    is_binding: bool
    seller: str
    seller_address: tuple[str, ...]
    customer: tuple[str, ...]
    facts: tuple[Entry, ...]
    intro: str
    columns: tuple[str, str, str, str]
    other_columns: tuple[str, str, str, str]
    lines: tuple[LineView, ...]
    totals: tuple[Entry, ...]
    total: Entry
    sections: tuple[Section, ...]
    cautions_title: str
    cautions: tuple[Entry, ...]
