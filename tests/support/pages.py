"""The pages of the project's documentation, and what stands in them."""

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_SPAN = re.compile(r"`([^`]+)`")
_NOT_OURS = {".venv", "mutants", "var", "build", "dist"}


@dataclass(frozen=True, slots=True)
class Block:
    """Text between fences: its language, and what it says."""

    language: str
    text: str


@dataclass(frozen=True, slots=True)
class Page:
    """A file of Markdown, by its name from the top of the project."""

    name: str

    @property
    def path(self) -> Path:
        return ROOT / self.name

    @property
    def text(self) -> str:
        return self.path.read_text()

    @property
    def blocks(self) -> list[Block]:
        return [Block(language, text) for language, text in _FENCED.findall(self.text)]

    @property
    def prose(self) -> str:
        """What stands between the blocks, tables too."""
        return _FENCED.sub("", self.text)

    @property
    def spans(self) -> list[str]:
        """What stands in backticks, each in one line."""
        return [" ".join(found.split()) for found in _SPAN.findall(self.prose)]

    @property
    def headings(self) -> set[str]:
        """As a link names them: small letters, hyphens for spaces, nothing else but words."""
        titles = re.findall(r"^#+ (.+)$", self.prose, re.MULTILINE)
        return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}

    def section(self, title: str) -> str:
        """What stands under a heading of the second level."""
        _, found, rest = f"{self.text}\n## ".partition(f"\n## {title}\n")
        assert found, title
        return rest.partition("\n## ")[0]

    def file(self, name: str) -> str:
        """The file that a block shows under its name."""
        (found,) = [block.text for block in self.blocks if block.text.startswith(f"# {name}\n")]
        return found


def pages() -> list[Page]:
    """Every page of ours."""
    names = [path.relative_to(ROOT) for path in ROOT.rglob("*.md")]
    ours = [name for name in names if name.parts[0] not in _NOT_OURS and not name.parts[0].startswith(".")]
    return [Page(name.as_posix()) for name in sorted(ours)]


FEEDS = Page("service/feeds/README.md")
SERVING = Page("service/serving/README.md")
THREATS = Page("tests/THREATS.md")
