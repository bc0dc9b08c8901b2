"""What all charts share: texts, colours, and rendering a Vega-Lite specification."""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any
from xml.etree.ElementTree import Element, register_namespace  # makes and writes; defusedxml parses

from defusedxml import ElementTree

from service.documents.writing.formats import isolated

Layer = dict[str, Any]
Datum = Mapping[str, Any]

INK, FAINT, PAPER = "#1a1a1a", "#6b6b6b", "#ffffff"
BLACK, ORANGE, SKY_BLUE, GREEN = "#000000", "#e69f00", "#56b4e9", "#009e73"
YELLOW, BLUE, VERMILION, PURPLE = "#f0e442", "#0072b2", "#d55e00", "#cc79a7"
"""Colours that people with any colour vision can distinguish; words repeat what is not distinct in grey.

Source: M. Okabe and K. Ito, Color Universal Design, 2008 (figures from memory).
"""
TEXT_SIZE = 12
_FONTS = "Liberation Sans, Arial, Helvetica, sans-serif"  # vl-convert contains the first; the next two are as wide
_CONFIG = {
    "font": _FONTS,
    "padding": 16,
    "background": PAPER,
    "view": {"stroke": None},
    "axis": {"disable": True},
    "legend": {"disable": True},
    "text": {"fontSize": TEXT_SIZE, "fill": INK, "baseline": "middle"},
    "title": {"anchor": "start", "frame": "group", "fontSize": 17, "color": INK, "offset": 14}
    | {"subtitleFontSize": TEXT_SIZE + 1, "subtitleColor": FAINT, "subtitlePadding": 6, "subtitleLineHeight": 18},
}
_PNG_SCALE = 2
_SVG = "http://www.w3.org/2000/svg"
_POINTED_AT = ("bar", "point", "text mark")
_JOINED = ("Mn", "Me", "Mc", "Cf", "Sk")
"""Unicode categories of accents, joiners and skin tones."""
_NARROW = frozenset("fijlrtI.,:;'|!()[]-/ \u00a0")
_XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
register_namespace("", _SVG)


class ImageForm(StrEnum):
    """Image formats, by media type."""

    SVG = "image/svg+xml"
    PNG = "image/png"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart to be drawn.

    Attributes:
        title: what it shows.
        heading: the title, shortened to fit above the chart.
        subtitle: further facts, in lines.
        description: everything it shows, for screen readers.
        left: x of the title, in pixels from the origin of the axes.
        body: members of the Vega-Lite specification that draw it.
    """

    title: str
    heading: str
    subtitle: tuple[str, ...]
    description: str
    left: float
    body: Layer


def drawn(chart: Chart, form: ImageForm) -> bytes:
    """The chart as an image; the SVG contains its description."""
    import vl_convert  # noqa: PLC0415  # 80 MB and 0.4 s, only when a chart is needed

    specification = {
        "config": _CONFIG,
        "title": {"text": chart.heading, "subtitle": list(chart.subtitle), "dx": chart.left},
        **chart.body,
    }
    svg = _described(vl_convert.vegalite_to_svg(specification, allowed_base_urls=[]), chart)
    return svg if form is ImageForm.SVG else vl_convert.svg_to_png(svg.decode(), scale=_PNG_SCALE)


def _described(svg: str, chart: Chart) -> bytes:
    """The SVG with a title and a description; the label of each mark becomes its tooltip, and one without is hidden."""
    root: Element = ElementTree.fromstring(svg)
    for mark in [each for each in root.iter() if each.get("role") == "graphics-symbol"]:
        if not mark.get("aria-label"):
            mark.set("aria-hidden", "true")  # samples of lines, which the words beside them explain
        elif mark.get("aria-roledescription") in _POINTED_AT:
            _put(mark, 0, "title", mark.get("aria-label", ""))
    root.set("role", "graphics-document")
    root.set("aria-labelledby", "chart-title chart-description")
    root.set(_XML_LANG, "en")
    _put(root, 0, "title", chart.title, id="chart-title")
    _put(root, 1, "desc", chart.description, id="chart-description")
    found: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return found


def _put(parent: Element, place: int, name: str, text: str, **attributes: str) -> None:
    child = Element(f"{{{_SVG}}}{name}", attributes)
    child.text = text
    parent.insert(place, child)


def literal(text: str) -> str:
    """The text in one line, without characters that XML does not allow."""
    return re.sub(r"\s+", " ", _NOT_IN_XML.sub("\ufffd", text)).strip()


def shortened(text: str, width: float) -> str:
    """The text in one line, cut to the width, and isolated if necessary."""
    text = literal(text)
    if text_width(text) > width:
        kept, room = "", width - text_width("…")
        for part in _parts(text):
            if (room := room - text_width(part)) < 0:
                break
            kept += part
        text = kept.rstrip() + "…"
    return isolated(text)


def text_width(text: str) -> float:
    """The approximate width of a text in pixels; the real one depends on the reader's fonts."""
    return TEXT_SIZE * sum(map(_width_of_one, text))


def _width_of_one(character: str) -> float:
    if unicodedata.category(character) in _JOINED:
        return 0
    if unicodedata.east_asian_width(character) in "WF":
        return 1.25
    if character in _NARROW:
        return 0.31
    return 0.95 if character in "MWmw@%—…" else 0.72 if character.isupper() else 0.56


def _parts(text: str) -> Iterator[str]:
    """The text in parts that must not be cut: a character with its accents, joined emoji."""
    part = ""
    for character in text:
        is_joined = unicodedata.category(character) in _JOINED or part.endswith("\u200d")
        if part and not is_joined:
            yield part
            part = ""
        part += character
    yield part


def layer(mark: Layer, data: Iterable[Datum], **encoding: Any) -> Layer:
    """Marks for some data. Texts in the data are shown as they are, never read as expressions."""
    return {"data": {"values": list(data)}, "mark": mark, "encoding": encoding}


def field(name: str, **members: Any) -> Layer:
    """A quantitative channel."""
    return {"field": name, "type": "quantitative", **members}


def words(name: str) -> Layer:
    """A channel of texts."""
    return {"field": name, "type": "nominal"}


def as_it_is(name: str) -> Layer:
    """A channel of literal values, such as colours."""
    return {"field": name, "type": "nominal", "scale": None}


def in_pixels(name: str) -> Layer:
    """A channel of positions in pixels."""
    return {"field": name, "type": "quantitative", "scale": None}
