"""The pages of the project's documentation, and their contents."""

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_SPAN = re.compile(r"`([^`]+)`")
_NOT_OURS = {".venv", "mutants", "var", "build", "dist"}


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced code block: its language and its text."""

    language: str
    text: str


@dataclass(frozen=True, slots=True)
class Page:
    """A Markdown file; its name is its path from the root of the project."""

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
        """The text outside of code blocks, including tables."""
        return _FENCED.sub("", self.text)

    @property
    def spans(self) -> list[str]:
        """The inline code of the prose, each without line breaks."""
        return [" ".join(found.split()) for found in _SPAN.findall(self.prose)]

    @property
    def headings(self) -> set[str]:
        """The headings as link anchors: lower case, hyphens for spaces, without punctuation."""
        titles = re.findall(r"^#+ (.+)$", self.prose, re.MULTILINE)
        return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}

    def section(self, title: str) -> str:
        """The text under a heading of the second level."""
        _, found, rest = f"{self.text}\n## ".partition(f"\n## {title}\n")
        assert found, title
        return rest.partition("\n## ")[0]

    def file(self, name: str) -> str:
        """The text of a file that the page shows in a block under the file's name."""
        (found,) = [block.text for block in self.blocks if block.text.startswith(f"# {name}\n")]
        return found


def pages() -> list[Page]:
    """All pages of the project."""
    names = [path.relative_to(ROOT) for path in ROOT.rglob("*.md")]
    ours = [name for name in names if name.parts[0] not in _NOT_OURS and not name.parts[0].startswith(".")]
    return [Page(name.as_posix()) for name in sorted(ours)]


FEEDS = Page("service/feeds/README.md")
SERVING = Page("service/serving/README.md")
THREATS = Page("tests/THREATS.md")
