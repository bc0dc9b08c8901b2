"""A logo on paper and on a page."""

from typing import Any

from service.documents.writing.typesetting import is_the_typesetters, typeset
from service.domain.selling.logo import PictureForm, picture_of


def logo_of_page(picture: str | None) -> str:
    """The logo as the address of an image that contains it (RFC 2397); empty if there is none."""
    return "" if picture is None else f"data:{picture_of(picture).form};base64,{picture}"


def logo_of_paper(picture: str | None) -> dict[str, Any] | None:
    """The logo as a template for typesetting takes it."""
    if picture is None:
        return None
    found = picture_of(picture)
    return {"format": "svg" if found.form is PictureForm.SVG else "png", "bytes": list(found.content)}


def check_drawn(picture: str) -> None:
    """Raises ValueError if the logo cannot be drawn on paper, so that no quotation fails for it later."""
    try:
        typeset("logo.typ", {"logo": logo_of_paper(picture)})
    except BaseException as fault:
        if not is_the_typesetters(fault):
            raise
        raise ValueError("cannot be drawn: the picture is damaged; save it anew") from None
