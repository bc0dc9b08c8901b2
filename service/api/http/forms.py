"""The media types of answers."""

from dataclasses import dataclass

from service.documents.drawing.drawing import ImageForm

JSON = "application/json"
TEXT = "text/plain"
CSV = "text/csv"
JSON_LD = "application/ld+json"
NDJSON = "application/x-ndjson"
PDF = "application/pdf"
HTML = "text/html"
XML = "application/xml"
IMAGES = tuple(form.value for form in ImageForm)
PAPERS = (PDF, *IMAGES)
"""Typeset and drawn by libraries that keep much memory."""
QUOTATION_FORMS = (PDF, HTML, XML, TEXT)
"""Media types of a quotation as the customer reads it."""


@dataclass(frozen=True, slots=True)
class File:
    """How a form is told at an address of its own.

    Attributes:
        ending: of the address.
        words: what follows 'as' in a sentence.
    """

    ending: str
    words: str


FILES = {
    PDF: File("pdf", "PDF"),
    HTML: File("html", "a page"),
    XML: File("xml", "an invoice program reads it (UBL 2.1)"),
    TEXT: File("txt", "plain text"),
    CSV: File("csv", "CSV (RFC 4180)"),
    NDJSON: File("ndjson", "JSON lines"),
    JSON_LD: File("jsonld", "JSON-LD of schema.org's products and offers"),
    ImageForm.SVG.value: File("svg", "a picture (SVG)"),
    ImageForm.PNG.value: File("png", "a picture (PNG)"),
}
"""Every form that has addresses of its own."""
