"""Taxes on sales and their dated rates."""

import re
from collections.abc import Iterable, Iterator
from decimal import Decimal
from enum import StrEnum

from service.domain.values.declared import Line, ProperShare, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import plain
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning

_PERCENTAGE = re.compile(r"(\d+(?:[.,]\d+)?)\s*[%٪]|[%٪]\s*(\d+(?:[.,]\d+)?)")
_PER_CENT = Decimal(100)
_SHOWN_DECIMALS = 6


class TaxCategory(StrEnum):
    """The tax categories of EN 16931 (UNTDID 5305, the codes that EN 16931-1 admits)."""

    STANDARD = "S"
    ZERO = "Z"
    EXEMPT = "E"
    REVERSE_CHARGE = "AE"
    INTRA_COMMUNITY = "K"
    EXPORT = "G"
    OUT_OF_SCOPE = "O"
    CANARY_ISLANDS = "L"
    CEUTA_MELILLA = "M"


TAXED_CATEGORIES = frozenset({TaxCategory.STANDARD, TaxCategory.CANARY_ISLANDS, TaxCategory.CEUTA_MELILLA})


@declared
class Tax:
    """A tax on sales, under its category of EN 16931. Built-in rates are illustrations: ask a tax adviser.

    Attributes:
        name: what it is called on a quotation, for instance "VAT 21 %"; if left out, it is called by its category and
            rate, in the quotation's language.
        category: the EN 16931 category code.
        exemption_reason: why no tax is due; required for every category but S, Z, L and M.
        note: anything worth knowing.
    """

    name: Line = ""
    category: TaxCategory = TaxCategory.STANDARD
    exemption_reason: Line = ""
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if not self.exemption_reason and self.category not in {*TAXED_CATEGORIES, TaxCategory.ZERO}:
            yield InvalidValueError(("exemption_reason",), f"is required for category {self.category.value}")


def untaxed(registered: Iterable[Decimal], product: str) -> Iterator[PlausibilityWarning]:
    """A warning about a price for which no tax is named, if a tax above 0 is registered.

    Args:
        registered: the shares of the workshop's taxes.
    """
    if any(registered):
        text = Message(
            "No tax is taken from this price, because none is named, though the workshop has registered a tax above "
            "0 %. Name the tax that is due, or one of 0 % if none is due."
        )
        yield PlausibilityWarning(code="no-tax", product=product, text=text, source=COMMON_PRACTICE)


def misnamed(name: str, rate_share: Decimal, product: str | None = None) -> Iterator[PlausibilityWarning]:
    """A warning if the name of a tax holds percentages, and none of them is its rate."""
    found = [one or other for one, other in _PERCENTAGE.findall(name)]
    if found and all(Decimal(each.replace(",", ".")) != rate_share * _PER_CENT for each in found):
        text = Message(
            "The tax '{tax}' is called by another percentage than its rate, which is {rate} %. Rename it, or leave its "
            "name out: it is then called by its rate.",
            tax=name,
            rate=plain(rate_share * _PER_CENT, _SHOWN_DECIMALS),
        )
        yield PlausibilityWarning(code="tax-name", product=product, text=text, source=COMMON_PRACTICE)


@declared
class TaxRate:
    """The rate of a tax.

    Attributes:
        rate_share: the tax as a share of the net price, for instance "0.21".
    """

    rate_share: ProperShare

    def problems_with(self, tax: Tax) -> Iterator[InvalidValueError]:
        """A rate other than 0 in an untaxed category (EN 16931: BR-Z-05, -E-05, -AE-05, -IC-05, -G-05, -O-05)."""
        if self.rate_share and tax.category not in TAXED_CATEGORIES:
            yield InvalidValueError(("rate_share",), f"must be 0 for category {tax.category.value}")
