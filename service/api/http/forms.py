"""The media types in which the interface answers."""

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
QUOTATION_FORMS = {"pdf": PDF, "html": HTML, "xml": XML, "txt": TEXT}
"""The forms that a quotation has for its customer, by the ending of a plain link to each."""
