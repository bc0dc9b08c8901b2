"""Everything the domain refuses, each error carrying the facts of its refusal."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal


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
    """A product explodes into more than the service computes, or a question asks for more.

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


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingRate:
    """A resource that has no rate on a date.

    Attributes:
        resource: whose rate is missing, for instance "materials/hdpe-flakes".
        first_valid_from: the day its first rate begins, if it has any.
    """

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


class UnreachableTargetError(PugmillError, ValueError):
    """No price of the grid meets the target and keeps to the floor: fees, tax and shipping take too much of it.

    Attributes:
        target: what was aimed at, for instance "margin".
        wanted: how much of it.
        highest: the most of it that the prices reach; None for a fixed price, and where no price keeps to the floor.
        highest_margin_share: the highest margin that they reach; None where no price keeps to the floor.
        at_price: the price that reaches the highest; None where it is only approached.
    """

    def __init__(
        self,
        target: str,
        wanted: Decimal,
        highest: Decimal | None = None,
        highest_margin_share: Decimal | None = None,
        at_price: Decimal | None = None,
    ) -> None:
        limit = "no price of the grid has it and keeps to the floor"
        if highest is not None and at_price is not None:
            limit = f"the most is {highest:f}, at a price of {at_price:f}"
        elif highest is not None:
            limit = f"the most is {highest:f}, which ever higher prices come near and never reach"
        super().__init__(f"a {target.replace('_', ' ')} of {wanted:f} cannot be reached: {limit}")
        self.target = target
        self.wanted = wanted
        self.highest = highest
        self.highest_margin_share = highest_margin_share
        self.at_price = at_price


class UnknownZoneError(PugmillError, LookupError):
    """A shipping service has no such zone.

    Attributes:
        zone: what was asked for.
        zones: those there are.
        path: the member that names it; put there by whoever knows it.
    """

    def __init__(self, zone: str, zones: Sequence[str]) -> None:
        super().__init__(f"there is no zone '{zone}'; there are {', '.join(zones)}")
        self.zone = zone
        self.zones = tuple(zones)
        self.path: tuple[str | int, ...] = ()


class DoesNotFitError(PugmillError, ValueError):
    """A shipping service takes a product in no way.

    Attributes:
        product: its code.
        reasons: for every box and pallet, or the piece as it is, what speaks against it.
        path: the member that names the product; put there by whoever knows it.
    """

    def __init__(self, product: str, reasons: Sequence[str]) -> None:
        super().__init__(f"the service does not take the product '{product}': {'; '.join(reasons)}")
        self.product = product
        self.reasons = tuple(reasons)
        self.path: tuple[str | int, ...] = ()


class QuotationStateError(PugmillError):
    """A quotation is in a state in which something cannot become of it.

    Attributes:
        state: the one it is in.
    """

    def __init__(self, what: str, state: str, wanted: str, remedy: str) -> None:
        super().__init__(f"{what} is {state} and cannot be {wanted}; {remedy}")
        self.state = state
