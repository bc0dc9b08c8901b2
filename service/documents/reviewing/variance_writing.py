"""The words and figures that the variances of a batch, a product and a period share."""

from collections.abc import Iterator
from typing import Any

from service.documents.reviewing.variance_chart import Waterfall, named
from service.documents.reviewing.variance_paper import CauseRow
from service.documents.writing.formats import formatted_amount, formatted_share, isolated
from service.documents.writing.labels import labels_for
from service.domain.reviewing.statement import StatedVariance
from service.domain.values.money import Money


class VarianceWriting:
    """Formats what was compared in a locale."""

    def __init__(self, compared: Waterfall, locale: str) -> None:
        self.compared, self.locale, self.words = compared, locale, labels_for(locale, "variances")

    def members(self, seller: str) -> dict[str, Any]:
        """The members of a view that do not depend on how many batches it is about."""
        words, compared = self.words, self.compared
        return {
            "seller": isolated(seller),
            "state": words("For the workshop alone: it tells what the work costs, not what to charge."),
            "answer": tuple(self._answer()),
            "columns": (words("Cause"), words("Of the standard"), words("Amount")),
            "standard": self._total(words("should have cost"), compared.standard_cost),
            "rows": tuple(self._cause(each) for each in compared.variances),
            "actual": self._total(words("cost"), compared.actual_cost),
            "chart_told": words("From what it should have cost to what it cost; the figures are in the table above."),
        }

    def _answer(self) -> Iterator[str]:
        yield self.words.told(self.compared.text)
        if self.compared.earned is not None:
            yield self.words.told(self.compared.earned.text)

    def _cause(self, variance: StatedVariance) -> CauseRow:
        share = variance.share_of_standard
        return CauseRow(
            text=named(variance, self.words),
            note=self.words.told(variance.text),
            share="" if share is None else formatted_share(share, self.locale),
            amount=self.signed(variance.amount),
        )

    def _total(self, text: str, cost: Money) -> CauseRow:
        return CauseRow(text=text, note="", share="", amount=self.money(cost))

    def money(self, amount: Money) -> str:
        return formatted_amount(amount, self.locale)

    def signed(self, amount: Money) -> str:
        """With a sign where it is more."""
        return f"+{self.money(amount)}" if amount.amount > 0 else self.money(amount)
