"""A logo: a small PNG or SVG that does nothing but show a picture.

Sources: W3C, Portable Network Graphics (PNG) Specification, Third Edition, the signature and the chunk IHDR; W3C,
Scalable Vector Graphics (SVG) 2, names of elements and attributes.
"""

import base64
import binascii
import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated
from xml.etree.ElementTree import Element

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring

from service.domain.values.declared import Text

MAX_BYTES = 100_000
MAX_PIXELS = 2_000
"""Of each side of a PNG: enough for 160 mm in print."""
_MAX_BASE64 = (MAX_BYTES + 2) // 3 * 4
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_HEADER_BYTES = 24
_MOST_LEVELS, _MOST_DRAWN, _MOST_HOPS = 50, 20_000, 5
_SVG = "http://www.w3.org/2000/svg"
_NAMES_OF_ELEMENTS = (
    "svg g defs symbol use title desc metadata style path rect circle ellipse line polyline polygon text tspan "
    "linearGradient radialGradient stop clipPath mask"
)
_DRAWN = frozenset(_NAMES_OF_ELEMENTS.split())
"""Elements that an SVG may have."""
_NOTES_OF_PROGRAMS = (
    "http://www.inkscape.org/namespaces/",
    "http://sodipodi.sourceforge.net/",
    "http://www.w3.org/1999/02/22-rdf-syntax-ns",
    "http://creativecommons.org/ns",
    "http://web.resource.org/cc/",
    "http://purl.org/dc/",
)
"""Namespaces in which drawing programs keep notes, which nobody draws."""
_REFERENCE = re.compile(r"url\(\s*[\"']?\s*([^)\"']*)", re.IGNORECASE)


class PictureForm(StrEnum):
    """The media type of a picture."""

    PNG = "image/png"
    SVG = "image/svg+xml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture whose content has been checked."""

    form: PictureForm
    content: bytes


def picture_of(logo: str) -> Picture:
    """The picture in base64 (RFC 4648, section 4); raises ValueError saying what is wrong with it."""
    try:
        content = base64.b64decode(logo, validate=True)
    except binascii.Error:
        raise ValueError("must be a picture in base64, without line breaks") from None
    if len(content) > MAX_BYTES:
        raise ValueError(f"has {len(content):,} bytes; at most {MAX_BYTES:,} are taken: make the picture smaller")
    if content.startswith(_SIGNATURE):
        _check_png(content)
        return Picture(form=PictureForm.PNG, content=content)
    _check_svg(content)
    return Picture(form=PictureForm.SVG, content=content)


def logo_problem(logo: str) -> str | None:
    """What is wrong with a picture in base64."""
    try:
        picture_of(logo)
    except ValueError as error:
        return str(error)
    return None


Logo = Annotated[str, Text(max_length=_MAX_BASE64, pattern=r"[A-Za-z0-9+/]*={0,2}", form="base64"), logo_problem]


def _check_png(content: bytes) -> None:
    """Raises ValueError if the picture is too large; its size is read without decoding anything."""
    if len(content) < _HEADER_BYTES or content[12:16] != b"IHDR":
        raise ValueError("is no complete PNG")
    width, height = (int.from_bytes(content[at : at + 4], "big") for at in (16, 20))
    if not (0 < width <= MAX_PIXELS and 0 < height <= MAX_PIXELS):
        most = f"{MAX_PIXELS:,} × {MAX_PIXELS:,}"
        raise ValueError(f"has {width:,} × {height:,} pixels; at most {most} are taken: make the picture smaller")


def _check_svg(content: bytes) -> None:
    """Raises ValueError if the content is no SVG, or could do more than show a picture."""
    try:
        content.decode("utf-8")  # what draws it reads no other encoding
        root = fromstring(content, forbid_dtd=True)
    except DefusedXmlException:
        raise ValueError("has a DOCTYPE or entities; save it as plain SVG, without them") from None
    except (ParseError, ValueError, LookupError):
        raise ValueError("must be a PNG, or an SVG in UTF-8") from None
    if root.tag != f"{{{_SVG}}}svg":
        raise ValueError(f"must be a PNG or an SVG; its first element is no svg of {_SVG}")
    if "viewBox" not in root.attrib and not {"width", "height"} <= root.attrib.keys():
        raise ValueError("has no size: give its svg element a viewBox, or width and height")
    for element in _with_its_levels(root):
        _check_element(element)
    _check_work(root)


def _with_its_levels(root: Element) -> Iterator[Element]:
    """Every element; raises ValueError if they are nested too deep for whoever draws them."""
    open_elements = [(root, 1)]
    while open_elements:
        element, level = open_elements.pop()
        if level > _MOST_LEVELS:
            raise ValueError(f"is nested deeper than {_MOST_LEVELS} levels")
        yield element
        open_elements += [(child, level + 1) for child in element]


def _check_element(element: Element) -> None:
    namespace, _, name = element.tag.removeprefix("{").rpartition("}")
    if not namespace.startswith(_NOTES_OF_PROGRAMS) and (namespace != _SVG or name not in _DRAWN):
        raise ValueError(f"has an element '{name[:40]}'; a logo may have shapes, colours and plain text only")
    for attribute, value in element.attrib.items():
        _check_attribute(attribute.rpartition("}")[2].lower(), value)
    if name == "style":
        _check_style("".join(element.itertext()))


def _check_attribute(name: str, value: str) -> None:
    if name.startswith("on"):
        raise ValueError(f"has an event handler, '{name[:40]}'; a logo may not run anything")
    if name == "href" and not value.strip().startswith("#"):
        raise ValueError("refers to something outside itself; a logo may only refer to its own parts")
    if name == "base":
        raise ValueError("has a base address; a logo may only refer to its own parts")
    _check_style(value)


def _check_style(style: str) -> None:
    """Raises ValueError if a style refers to something outside; escapes could hide that."""
    lowered = style.lower()
    hides = any(word in lowered for word in ("@import", "expression(", "javascript:", "\\", "image(", "image-set("))
    if hides or any(not each.startswith("#") for each in _REFERENCE.findall(style)):
        raise ValueError("has a style that refers to something outside itself; a logo may only refer to its own parts")


def _check_work(root: Element) -> None:
    """Raises ValueError if references within the picture repeat its parts too often, or in a circle."""
    parts = {each.attrib["id"]: each for each in root.iter() if "id" in each.attrib}
    drawn = 0

    def draw(part: Element, hops: int) -> None:
        nonlocal drawn
        for element in part.iter():
            drawn += 1
            if drawn > _MOST_DRAWN or hops > _MOST_HOPS:
                raise ValueError("refers to its own parts too often, or in a circle; draw them instead")
            for name in _references(element):
                if name in parts:
                    draw(parts[name], hops + 1)

    draw(root, 0)


def _references(element: Element) -> Iterator[str]:
    """The parts that an element refers to, in attributes; what a style sheet refers to are colours."""
    for attribute, value in element.attrib.items():
        if attribute.rpartition("}")[2] == "href":
            yield value.strip().removeprefix("#")
        yield from (each.removeprefix("#") for each in _REFERENCE.findall(value))
