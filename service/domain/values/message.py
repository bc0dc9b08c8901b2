"""English texts that keep their facts, so that they can be translated later."""

from decimal import Decimal
from typing import Self

Fact = Decimal | str | tuple["Fact", ...]
"""A figure; a name, which is the same in every language; a message; or several of these."""


class Message(str):
    """An English text that remembers its template and its facts.

    Attributes:
        template: the text with its facts named in braces, or the text itself if it has none; the key of translations.
    """

    __slots__ = ("facts", "template")

    template: str
    facts: dict[str, Fact]

    def __new__(cls, template: str, /, **facts: Fact) -> Self:
        shown = {name: _in_english(fact) for name, fact in facts.items()}
        text = super().__new__(cls, template.format(**shown) if facts else template)
        text.template, text.facts = template, facts
        return text


def _in_english(fact: Fact) -> str:
    if isinstance(fact, tuple):
        return ", ".join(map(_in_english, fact))
    return fact if isinstance(fact, str) else f"{fact:f}"
