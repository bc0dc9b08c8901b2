"""What a document of the register says, and what becomes of each of its entries."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import RateTerms
from service.domain.currency.exchange_rates import DayRates
from service.domain.values.references import Registered, Thing


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What a document says about a thing.

    Attributes:
        facts: its facts; None if it says nothing about them.
        rates: its terms by first day; None if it says nothing about them.
    """

    facts: Registered | None = None
    rates: Mapping[date, RateTerms] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterDocument:
    """Any part of what a workshop registers.

    Attributes:
        collections: what is written of each thing, by collection and code.
        exchange_rates: entered by hand, by the name of their day in the document.
    """

    collections: Mapping[str, Mapping[str, Written]]
    exchange_rates: Mapping[str, DayRates]

    @property
    def things(self) -> Iterator[tuple[Thing, Written]]:
        """Everything in it that is registered under a code."""
        for collection, entries in self.collections.items():
            for code, written in entries.items():
                yield Thing(collection, code), written

    @property
    def size(self) -> int:
        """Number of facts and rates."""
        sizes = ((each.facts is not None) + len(each.rates or ()) for _, each in self.things)
        return sum(sizes) + len(self.exchange_rates)


class Outcome(StrEnum):
    """What becomes of an entry of a document."""

    CREATED = "created"
    REPLACED = "replaced"
    UNCHANGED = "unchanged"
    RETIRED = "retired"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What has become of an entry.

    Attributes:
        subject: its name in the audit trail.
        thing: what it is about; None for exchange rates.
        written: its facts, its rate or the exchange rates; None for what is retired or withdrawn.
    """

    subject: str
    outcome: Outcome
    thing: Thing | None = None
    written: Registered | DatedRate | DayRates | None = None
