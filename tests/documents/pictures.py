"""Reads images for tests: the words and marks of an SVG, the size of a PNG."""

import re
import struct
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from defusedxml import ElementTree

_SVG = "{http://www.w3.org/2000/svg}"
_BAR = re.compile(r"M(?P<x>[-\d.e]+),(?P<y>[-\d.e]+)h(?P<width>[-\d.e]+)v")
_PLACE = re.compile(r"translate\(([-\d.e]+),([-\d.e]+)\)")
ALLOWED = {"svg", "title", "desc", "rect", "g", "path", "line", "text", "tspan"}


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A bar or a point: its description, and its place in the plot in pixels."""

    about: str
    x: float
    y: float
    width: float = 0


class Picture:
    """A parsed SVG."""

    def __init__(self, svg: bytes) -> None:
        self.root: Element = ElementTree.fromstring(svg)
        hidden = {each for group in self.root.iter() if group.get("aria-hidden") for each in group.iter()}
        self.seen = [each for each in self.root.iter() if each not in hidden]

    @property
    def title(self) -> str:
        return self.root.findtext(f"{_SVG}title") or ""

    @property
    def description(self) -> str:
        return self.root.findtext(f"{_SVG}desc") or ""

    @property
    def size(self) -> tuple[int, int]:
        return int(self.root.attrib["width"]), int(self.root.attrib["height"])

    @property
    def words(self) -> list[str]:
        """Every visible text, in the order of the file."""
        return [each.text for each in self.seen if each.tag in (f"{_SVG}text", f"{_SVG}tspan") and each.text]

    def bars(self) -> list[Mark]:
        found = []
        for each in self._marks("bar"):
            place = _BAR.match(each.attrib["d"])
            assert place is not None
            x, y, width = (float(place[name]) for name in ("x", "y", "width"))
            found.append(Mark(about=each.attrib["aria-label"], x=x, y=y, width=width))
        return sorted(found, key=lambda bar: bar.y)

    def points(self) -> list[Mark]:
        found = []
        for each in self._marks("point"):
            place = _PLACE.match(each.attrib["transform"])
            assert place is not None
            found.append(Mark(about=each.attrib["aria-label"], x=float(place[1]), y=float(place[2])))
        return found

    def _marks(self, kind: str) -> list[Element]:
        return [each for each in self.root.iter() if each.get("aria-roledescription") == kind]

    def dangers(self) -> list[str]:
        """Elements that draw nothing, event handlers, and references out of the file."""
        found = [each.tag for each in self.root.iter() if each.tag.removeprefix(_SVG) not in ALLOWED]
        for each in self.root.iter():
            found += [
                f"{name}={value}"
                for name, value in each.attrib.items()
                if name.startswith("on") or "href" in name or ("url(" in value.lower() and name != "aria-label")
            ]
        return found


def png_size(image: bytes) -> tuple[int, int]:
    """Width and height of a PNG (ISO/IEC 15948, section 11.2.2); asserts its signature and end."""
    assert image.startswith(b"\x89PNG\r\n\x1a\n")
    assert image.endswith(b"IEND\xaeB`\x82")
    width, height = struct.unpack(">II", image[16:24])
    return width, height
