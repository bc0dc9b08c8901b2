"""The media types of answers."""

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
QUOTATION_FORMS = {"pdf": PDF, "html": HTML, "xml": XML, "txt": TEXT}
"""Media types of a quotation as the customer reads it, by the file ending of a plain link."""
