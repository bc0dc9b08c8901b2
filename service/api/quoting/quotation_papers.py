"""A quotation as the customer reads it: page, PDF, UBL and text, each at a plain link too."""

from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, NAMED
from service.api.http.answers import fonts, locale_for, tagged
from service.api.http.auth import workspace
from service.api.http.forms import FILES, HTML, PDF, QUOTATION_FORMS, TEXT, XML
from service.api.http.operations import current, operation
from service.api.http.problems import ProblemError
from service.documents.quoting.quotation_page import quotation_page, quotation_pdf
from service.documents.quoting.quotation_paper import QuotationPaper, QuotationView
from service.documents.quoting.quotation_text import quotation_text
from service.documents.quoting.quotation_ubl import quotation_ubl
from service.documents.quoting.quotation_view import quotation_view
from service.domain.selling.channels import Display
from service.domain.values.declared import declared
from service.domain.values.forms import LocaleCode
from service.store.quoting.quotations import Quotation
from service.workflows.entity_tags import tag
from service.workflows.quoting import quotations

blueprint = Blueprint(
    "quotation-papers",
    __name__,
    tag="quotations",
    url_prefix="/v1/quotations",
    description="Quotations as customers read them.",
)
_VERSION = version("pugmill")  # another version may lay the same quotation out differently


@declared
class PaperQuery:
    """Which language.

    Attributes:
        locale: CLDR locale for words, numbers and dates of the document; the quotation's own if left out.
    """

    locale: LocaleCode | None = None


@dataclass(frozen=True, slots=True)
class _Writer:
    """Writes one form."""

    content_type: str
    write: Callable[[QuotationPaper, QuotationView], bytes]


_WRITERS = {
    PDF: _Writer(PDF, lambda _, view: quotation_pdf(view, fonts())),
    HTML: _Writer(f"{HTML}; charset=utf-8", lambda _, view: quotation_page(view).encode()),
    XML: _Writer(f"{XML}; charset=utf-8", quotation_ubl),
    TEXT: _Writer(f"{TEXT}; charset=utf-8", lambda _, view: quotation_text(view).encode()),
}


def _forms(quotation: Quotation) -> tuple[str, ...]:
    """The media types that the quotation has: UBL states net prices, which a quotation for a consumer has not."""
    has_net_prices = quotation.request.display is Display.TAX_EXCLUSIVE
    return tuple(form for form in QUOTATION_FORMS if form != XML or has_net_prices)


def paper_of(quotation: Quotation, media_type: str, locale: str | None) -> flask.Response:
    """The quotation in a media type, or 304 if the client has it; raises a problem 404 if it is not in this one."""
    if media_type not in _forms(quotation):
        told = (
            "a quotation whose prices contain the tax has no UBL, which states net prices; take its PDF, page or text"
        )
        raise ProblemError(404, "not-found", told)
    writer, ending = _WRITERS[media_type], FILES[media_type].ending

    def make() -> flask.Response:
        paper = quotations.quotation_paper(workspace(), quotation)
        view = quotation_view(paper, locale_for(media_type, locale or paper.letterhead.locale))
        response = flask.Response(writer.write(paper, view), content_type=writer.content_type)
        # The name is ASCII, so that no encoded form of it is needed (RFC 6266).
        response.headers["Content-Disposition"] = f'inline; filename="{_name(quotation)}.{ending}"'
        return response

    return tagged(tag(_VERSION, quotations.tag_of(quotation), ending, locale or ""), make)


def _name(quotation: Quotation) -> str:
    return quotation.number or f"draft-{quotation.id}"


def alternatives(quotation: Quotation) -> str:
    """Links to the other forms of the quotation (RFC 8288)."""
    address = f"/v1/quotations/{quotation.number or quotation.id}/quotation"
    return ", ".join(f'<{address}.{FILES[form].ending}>; rel="alternate"; type="{form}"' for form in _forms(quotation))


@blueprint.route("/<quotation_id>/quotation")
class QuotationPapers(MethodView):
    """A quotation in each form, at plain links."""

    @operation("getQuotation", forms=(), documents=QUOTATION_FORMS)
    @blueprint.arguments(schema_of(PaperQuery)(), location="query")
    @blueprint.response(200, {"type": "string"}, headers=ETAG | NAMED)
    def get(self, query: PaperQuery, quotation_id: UUID | int) -> flask.Response:
        """The quotation as the customer reads it, at a link that a browser can open.

        A draft says that it is one. `locale` chooses the language of its words.
        """
        quotation = quotations.find_quotation(workspace(), quotation_id)
        return paper_of(quotation, current().media_type, query.locale)
