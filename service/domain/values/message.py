"""What is told to people: English, with the facts in it, so that it can be told in another language."""

from decimal import Decimal
from typing import Self

Fact = Decimal | str | tuple["Fact", ...]
"""A figure; a name, which is the same in every language; a message; or several of these."""


class Message(str):
    """An English text that remembers what it was put together from.

    Attributes:
        template: the text with its facts named in braces, or the text itself if it has none; the key of translations.
        facts: by name.
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
