"""Kinds of something, each with what sets it apart in one entry."""

from enum import StrEnum
from typing import Any, Self


class Kind(StrEnum):
    """An enumeration whose members are written as a value and its traits; one without traits cannot be declared.

    What it is that sets its kinds apart, each enumeration says in an annotation: `traits: FeeBaseTraits`.
    """

    def __new__(cls, *entry: Any) -> Self:
        value, traits = entry
        member = str.__new__(cls, value)
        member._value_ = value
        object.__setattr__(member, "traits", traits)
        return member
