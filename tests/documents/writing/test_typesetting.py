"""PDF: archivable, tagged, with embedded fonts; the same data gives the same bytes, and text is never run as markup."""

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
    """A folder with a template that writes one text."""
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
    def test_without_a_font_is_shown_by_a_stand_in_character(self, templates: Path, text: str) -> None:
        kept = "".join(each if each.isascii() and each.isprintable() else STAND_IN for each in text)

        assert written(text) == kept

    def test_of_many_scripts_at_once_is_written(self, templates: Path) -> None:
        found = written("Ελληνικά Привет שלום مرحبا 你 ½")

        assert STAND_IN in found
        assert "Ελληνικά Привет" in found

    def test_of_a_faulty_template_raises_its_error(self, templates: Path) -> None:
        (templates / "wrong.typ").write_text("#nothing")

        with pytest.raises(typst.TypstError, match="unknown variable"):
            typeset("wrong.typ", {})

    def test_of_a_file_outside_the_templates_cannot_be_read(self, templates: Path) -> None:
        (templates / "reading.typ").write_text('#read("/etc/passwd")')

        with pytest.raises(typst.TypstError, match="not found"):
            typeset("reading.typ", {})

    def test_is_written_with_additional_fonts(self, templates: Path, tmp_path: Path) -> None:
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
