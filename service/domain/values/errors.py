"""The base class of all errors that a caller can correct, and the general ones."""

from collections.abc import Sequence
from datetime import date

Path = tuple[str | int, ...]
"""Location of a value, from the outermost member inwards."""


class PugmillError(Exception):
    """Base of every error that a caller can correct."""


class InvalidValueError(PugmillError, ValueError):
    """A value breaks a rule of its field; the reason says what is wrong and what would be right."""

    def __init__(self, path: Sequence[str | int], reason: str) -> None:
        super().__init__(f"{'/'.join(str(step) for step in path)}: {reason}")
        self.path = tuple(path)
        self.reason = reason


class InvalidValuesError(PugmillError, ValueError):
    """Values break rules; all problems are reported at once."""

    def __init__(self, problems: Sequence[InvalidValueError]) -> None:
        super().__init__("; ".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class FigureTooLargeError(PugmillError, ArithmeticError):
    """A figure has more digits than the exact arithmetic carries."""

    def __init__(self) -> None:
        super().__init__("the figures are too large to be computed exactly; use smaller quantities or rates")


class UnknownCurrencyError(PugmillError, ValueError):
    """The code is not a currency in use on the day (ISO 4217)."""

    def __init__(self, code: str, ended_on: date | None = None, successor: str = "", where: str = "") -> None:
        ended = f"{code} is no longer in use; its last day was {ended_on}" + (f"; use {successor}" if successor else "")
        said = ended if ended_on else f"{code} is not an ISO 4217 currency with a minor unit"
        super().__init__(f"{where}: {said}" if where else said)
        self.code = code
        self.ended_on = ended_on
        self.successor = successor


class CurrencyMismatchError(PugmillError, ValueError):
    """Amounts of different currencies were added without an exchange rate."""

    def __init__(self, one: str, other: str) -> None:
        super().__init__(f"{one} and {other} cannot be put together without an exchange rate")
        self.one = one
        self.other = other


class TooComplexError(PugmillError, ValueError):
    """The request exceeds a size limit.

    Attributes:
        what: the things that are too many.
        path: the member that exceeds the limit, if it is known.
    """

    def __init__(
        self, what: str, limit: int, path: Sequence[str | int] = (), *, remedy: str = "split the product"
    ) -> None:
        super().__init__(f"more than {limit} {what}; {remedy}")
        self.what = what
        self.limit = limit
        self.path = tuple(path)
