"""PDF: archivable, tagged, its fonts within; the same data makes the same bytes, and whatever is text stays text."""

import io
from pathlib import Path
from typing import Any

import pytest
import typst
from pypdf import PdfReader

from service.documents.writing import typesetting
from service.documents.writing.typesetting import STAND_IN, typeset

PAPER = '#set document(title: "t")\n#let data = json(bytes(sys.inputs.data))\n#set text(lang: "en")\n#data.text\n'


@pytest.fixture
def templates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A template that writes one text."""
    (tmp_path / "paper.typ").write_text(PAPER)
    monkeypatch.setattr(typesetting, "TEMPLATES", tmp_path)
    return tmp_path


def written(text: str) -> str:
    return " ".join(PdfReader(io.BytesIO(typeset("paper.typ", {"text": text}))).pages[0].extract_text().split())


def reader(data: Any) -> PdfReader:
    return PdfReader(io.BytesIO(typeset("paper.typ", data)))


class TestText:
    @pytest.mark.parametrize(
        "text",
        ["#panic()", "$x$ *bold* _it_ `raw` @ref <label>", '"quoted" \\u{41}', '#read("/etc/passwd")', "Größe ½ €"],
    )
    def test_stays_text(self, templates: Path, text: str) -> None:
        assert written(text) == text

    @pytest.mark.parametrize("text", ["你好", "brick 砖 brick", "emoji 😀", "zero\x00width", '中"中\\中'])
    def test_that_no_font_has_is_seen_to_be_missing(self, templates: Path, text: str) -> None:
        kept = "".join(each if each.isascii() and each.isprintable() else STAND_IN for each in text)

        assert written(text) == kept

    def test_of_many_scripts_at_once_is_written(self, templates: Path) -> None:
        found = written("Ελληνικά Привет שלום مرحبا 你 ½")

        assert STAND_IN in found
        assert "Ελληνικά Привет" in found

    def test_that_is_wrong_in_the_template_is_not_hidden(self, templates: Path) -> None:
        (templates / "wrong.typ").write_text("#nothing")

        with pytest.raises(typst.TypstError, match="unknown variable"):
            typeset("wrong.typ", {})

    def test_of_a_file_outside_of_the_templates_cannot_be_read(self, templates: Path) -> None:
        (templates / "reading.typ").write_text('#read("/etc/passwd")')

        with pytest.raises(typst.TypstError, match="not found"):
            typeset("reading.typ", {})

    def test_of_a_font_that_is_brought_is_written_with_it(self, templates: Path, tmp_path: Path) -> None:
        assert typeset("paper.typ", {"text": "x"}, tmp_path).startswith(b"%PDF-")


class TestForm:
    def test_is_archivable_and_tagged_in_its_language(self, templates: Path) -> None:
        found = reader({"text": "brick"})
        root = found.trailer["/Root"]
        metadata = root["/Metadata"].get_data().decode()

        assert "<pdfaid:part>3</pdfaid:part>" in metadata
        assert "<pdfaid:conformance>B</pdfaid:conformance>" in metadata
        assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
        assert root["/MarkInfo"]["/Marked"] is True or bool(root["/MarkInfo"]["/Marked"])
        assert root["/Lang"] == "en"
        assert found.metadata is not None
        assert found.metadata.title == "t"

    def test_is_the_same_to_the_byte(self, templates: Path) -> None:
        assert typeset("paper.typ", {"text": "brick"}) == typeset("paper.typ", {"text": "brick"})
