"""Errors of missing rates."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.domain.values.errors import PugmillError


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingRate:
    """A resource without a rate on a date, and the day on which its first rate begins, if any."""

    resource: str
    first_valid_from: date | None = None


class MissingRatesError(PugmillError, LookupError):
    """Resources of a bill have no rate in force on the date."""

    def __init__(self, as_of: date, missing: Sequence[MissingRate]) -> None:
        names = ", ".join(
            each.resource + (f" (first rate from {each.first_valid_from})" if each.first_valid_from else "")
            for each in missing
        )
        super().__init__(f"no rate in force on {as_of} for {names}")
        self.as_of = as_of
        self.missing = tuple(missing)
