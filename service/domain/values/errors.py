"""The base of every refusal, and what is refused whatever the figures are about."""

from collections.abc import Sequence
from datetime import date

Path = tuple[str | int, ...]
"""Where something stands, from the outermost member inwards."""


class PugmillError(Exception):
    """Base of every refusal that a caller can mend."""


class InvalidValueError(PugmillError, ValueError):
    """A value breaks a rule of its field.

    Attributes:
        path: where the value stands, from the outermost member inwards.
        reason: what is wrong and what would be right.
    """

    def __init__(self, path: Sequence[str | int], reason: str) -> None:
        super().__init__(f"{'/'.join(str(step) for step in path)}: {reason}")
        self.path = tuple(path)
        self.reason = reason


class InvalidValuesError(PugmillError, ValueError):
    """Several values break rules; all of them are named at once."""

    def __init__(self, problems: Sequence[InvalidValueError]) -> None:
        super().__init__("; ".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class FigureTooLargeError(PugmillError, ArithmeticError):
    """A figure has more digits than the exact arithmetic carries."""

    def __init__(self) -> None:
        super().__init__("the figures are too large to be computed exactly; use smaller quantities or rates")


class UnknownCurrencyError(PugmillError, ValueError):
    """The code is not a currency in use today (ISO 4217)."""

    def __init__(self, code: str, ended_on: date | None = None) -> None:
        ended = f"{code} is no longer in use; its last day was {ended_on}"
        super().__init__(ended if ended_on else f"{code} is not an ISO 4217 currency with a minor unit")
        self.code = code
        self.ended_on = ended_on


class CurrencyMismatchError(PugmillError, ValueError):
    """Two amounts of different currencies were put together without a rate."""

    def __init__(self, one: str, other: str) -> None:
        super().__init__(f"{one} and {other} cannot be put together without an exchange rate")
        self.one = one
        self.other = other


class TooComplexError(PugmillError, ValueError):
    """The request exceeds a size limit.

    Attributes:
        what: there is too much of.
        limit: the most there may be.
        path: the member that goes too far, if it is known.
    """

    def __init__(
        self, what: str, limit: int, path: Sequence[str | int] = (), *, remedy: str = "split the product"
    ) -> None:
        super().__init__(f"more than {limit} {what}; {remedy}")
        self.what = what
        self.limit = limit
        self.path = tuple(path)
