"""What a record is compared with: how its product was made on its day, and the rates of that day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.making.overheads import Overhead
from service.domain.making.products import Catalogue


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFacts:
    """The facts and rates of a day, stored with the records that are compared with them.

    Exchange rates are not in it: they are published by day, and looked up by it.

    Attributes:
        catalogue: the product, all that it is made of and on, and the overhead pools.
        rates: those in force on the day, by resource; what had none is missing.
    """

    catalogue: Catalogue
    rates: Mapping[str, DatedRate]

    @property
    def pools(self) -> dict[str, Overhead]:
        """The overhead pools by resource."""
        return {f"overheads/{code}": pool for code, pool in self.catalogue.overheads.items()}

    def card(self, as_of: date, currency: str) -> RateCard:
        """The rate card of the day."""
        return RateCard(as_of=as_of, currency=currency, rates=self.rates)
