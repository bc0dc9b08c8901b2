"""Enumerations whose members carry data."""

from enum import StrEnum
from typing import Any, Self


class Kind(StrEnum):
    """An enumeration of (value, traits); each one annotates its own `traits: FeeBaseTraits`."""

    def __new__(cls, *entry: Any) -> Self:
        value, traits = entry
        member = str.__new__(cls, value)
        member._value_ = value
        object.__setattr__(member, "traits", traits)
        return member
