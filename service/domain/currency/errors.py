"""Errors of exchange rates."""

from datetime import date

from service.domain.values.errors import Path, PugmillError


class MissingExchangeRateError(PugmillError, LookupError):
    """No exchange rate between two currencies is recent enough on the date.

    Attributes:
        last: source and day of the newest rate before it, if any.
        replaced: the currency that was replaced after that day, what replaced it, and since when, if that is why.
        needed_by: what is to be converted, for instance "the rate of materials/hdpe from 2026-01-01"; set, like the
            path, by the caller that knows it.
        path: the member that has the amount.
    """

    def __init__(
        self,
        one: str,
        other: str,
        as_of: date,
        max_age_days: int,
        last: tuple[str, date] | None = None,
        replaced: tuple[str, str, date] | None = None,
    ) -> None:
        told = f"on {as_of} or within the {max_age_days} days before it"
        if last is not None and replaced is not None:
            told = f"on {as_of}: the last one is of {last[1]}, and on {replaced[2]} {replaced[1]} came in the place of"
            told += f" {replaced[0]}, at a rate of its own"
        elif last is not None:
            age = (as_of - last[1]).days
            told = f"on {as_of}: the last one, of '{last[0]}', is of {last[1]}, {age} days before, where"
            told += f" {max_age_days} are allowed"
        super().__init__(told)
        self.one = one
        self.other = other
        self.as_of = as_of
        self.max_age_days = max_age_days
        self.path: Path = ()
        self.needed_by = ""
        self.last_source: str | None = last[0] if last else None
        self.last_published_on: date | None = last[1] if last else None

    def __str__(self) -> str:
        needed = f", which {self.needed_by} needs," if self.needed_by else ""
        told = f"no exchange rate between {self.one} and {self.other}{needed} {self.args[0]}"
        wanted = "a newer one" if self.last_published_on else f"one of {self.as_of}, or of a day shortly before it"
        return f"{told}; enter, import or fetch {wanted}"
