"""English texts that keep their facts, so that they can be translated later; and warnings made of them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Self

_NAMED = re.compile(r"\{(\w+)\}")
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
        text = super().__new__(cls, filled(template, {name: _in_english(fact) for name, fact in facts.items()}))
        text.template, text.facts = template, facts
        return text


def filled(template: str, facts: Mapping[str, str]) -> str:
    """The template with each "{name}" replaced by the fact of that name; everything else stands as it is.

    Templates are stored and moved with quotations, so one is not trusted with the format language of Python.
    """
    return _NAMED.sub(lambda found: facts.get(found[1], found[0]), template)


def _in_english(fact: Fact) -> str:
    if isinstance(fact, tuple):
        return ", ".join(map(_in_english, fact))
    return fact if isinstance(fact, str) else f"{fact:f}"


COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlausibilityWarning:
    """Something that is probably wrong.

    Attributes:
        code: short name of the warning.
        product: code of the product or sub-assembly; null where it is about none.
        text: what was found, with its figures.
        source: where the expectation comes from.
    """

    code: str
    product: str | None
    text: Message
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RateWarning:
    """Something about rates, or prices, that is probably wrong.

    Attributes:
        code: short name of the warning.
        resources: what the rates price, for instance "machines/press"; or the listings.
        text: what was found, with its figures.
        source: where the expectation comes from.
    """

    code: str
    resources: tuple[str, ...]
    text: Message
    source: str
