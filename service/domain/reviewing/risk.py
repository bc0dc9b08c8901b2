"""What a batch may come to cost, if it goes as one of the recorded batches went."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from operator import attrgetter

from service.domain.costing.cost_sheet import CostSheet
from service.domain.making.products import Catalogue
from service.domain.records.observation import Fact as ProductFact
from service.domain.records.observation import Learnable, Observation
from service.domain.reviewing.facts import stated_by, with_facts
from service.domain.reviewing.learning import LEAST_BATCHES, ObservedBatch
from service.domain.values.exact import ONE, ZERO, exactly, half_up, snapped
from service.domain.values.message import Fact, Message
from service.domain.values.money import minor_unit_decimals


@exactly
def expected_value(outcomes: Iterable[tuple[Decimal, Decimal]]) -> Decimal:
    """The mean of outcomes with their probabilities:  Σ x p.

    Source: Introductory Statistics, Saylor Academy, 2012, section 4.2.
    """
    return sum((value * probability for value, probability in outcomes), ZERO)


@exactly
def variance_of(outcomes: Iterable[tuple[Decimal, Decimal]]) -> Decimal:
    """How much outcomes differ:  Σ x² p − (Σ x p)²; its square root is the standard deviation.

    Source: as in `expected_value`.
    """
    known = list(outcomes)
    return expected_value((value * value, probability) for value, probability in known) - expected_value(known) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PastLike:
    """The full cost of a batch that goes as a recorded one went."""

    code: str
    full_cost: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskBand:
    """The full cost of a batch, if it goes as one of the recorded batches went; never shown to a customer.

    Attributes:
        quantity: good units.
        currency: of every amount.
        estimated: by the facts of today.
        batches: recorded batches that say something of the facts.
        lost: of these, the batches without a good unit; no cost says what such a batch would need, so they are in no
            amount here.
        lowest: the least that a batch like one of the others would cost; None if there are none.
        expected: their mean.
        highest: the most.
        deviation: their standard deviation.
        asked: what the batch is to bring for its cost.
        losing: of all batches, those that would cost more than is asked, the lost ones among them; None if none is
            asked.
        text: the band in words.
    """

    quantity: Decimal
    currency: str
    estimated: Decimal
    batches: int
    lost: int
    lowest: PastLike | None
    expected: Decimal | None
    highest: PastLike | None
    deviation: Decimal | None
    asked: Decimal | None
    losing: int | None
    text: Message

    @property
    def losing_share(self) -> Decimal | None:
        """The share of batches that would lose money at what is asked; None if none is asked or recorded."""
        return Decimal(self.losing) / self.batches if self.losing is not None and self.batches else None


@exactly
def risk_band(
    costed: Callable[[Catalogue], CostSheet],
    catalogue: Catalogue,
    batches: Iterable[ObservedBatch],
    asked: Decimal | None = None,
) -> RiskBand:
    """The full cost of a batch with each recorded batch's own facts in place of today's.

    No distribution is assumed: every recorded batch is as likely as any other, and what it did not say is as the
    product states today. A batch that says nothing of what the product has today is left out.

    Args:
        costed: the cost sheet of the batch, of these facts.
        catalogue: the facts of today.
        asked: what the sale leaves for cost and profit, for the batch.
    """
    today = costed(catalogue)
    known = _Known(catalogue)
    told = [each for each in sorted(batches, key=attrgetter("code")) if any(map(known.has, each.observations))]
    whole = [each for each in told if not _is_lost(each)]
    costs = [
        PastLike(
            code=each.code,
            full_cost=costed(with_facts(catalogue, {one.about: one.ratio for one in each.observations})).full_cost,
        )
        for each in whole
    ]
    likely = [(each.full_cost, ONE / len(costs)) for each in costs]
    lost = len(told) - len(whole)
    band = RiskBand(
        quantity=Decimal(today.quantity),
        currency=today.currency,
        estimated=today.full_cost,
        batches=len(told),
        lost=lost,
        lowest=min(costs, key=attrgetter("full_cost"), default=None),
        expected=snapped(expected_value(likely)) if costs else None,
        highest=max(costs, key=attrgetter("full_cost"), default=None),
        deviation=snapped(max(ZERO, variance_of(likely)).sqrt()) if costs else None,
        asked=asked,
        losing=None if asked is None else lost + sum(snapped(each.full_cost) > asked for each in costs),
        text=Message(""),
    )
    return replace(band, text=_said(band))


class _Known:
    """Which facts the products of today state."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._found: dict[Learnable, bool] = {}

    def has(self, observation: Observation) -> bool:
        about = observation.about
        if about not in self._found:
            self._found[about] = any(True for _ in stated_by(self._catalogue, about))
        return self._found[about]


def _is_lost(batch: ObservedBatch) -> bool:
    """Whether no unit was good after one of the operations."""
    return any(each.fact is ProductFact.YIELD_SHARE and not each.amount for each in batch.observations)


def _said(band: RiskBand) -> Message:
    if band.lowest is None or band.highest is None or band.expected is None:
        return Message("No recorded batch says what this one may cost")
    decimals = minor_unit_decimals(band.currency)
    facts: dict[str, Fact] = {
        "low": half_up(band.lowest.full_cost, decimals),
        "expected": half_up(band.expected, decimals),
        "high": half_up(band.highest.full_cost, decimals),
        "currency": band.currency,
        "batches": Decimal(band.batches),
        "lost": Decimal(band.lost),
    }
    told = Message("Like {batches} past batches it costs {low} to {high} {currency}, {expected} on average", **facts)
    if band.lost:
        told = Message("{told}; {lost} of them gave no good unit and are in no amount", told=told, **facts)
    if band.asked is not None:
        asked, losing = half_up(band.asked, decimals), Decimal(band.losing or 0)
        template = "{told}; at {asked} {currency}, {losing} of {batches} would lose money"
        told = Message(template, told=told, asked=asked, losing=losing, **facts)
    if band.batches < LEAST_BATCHES:
        return Message("{told}. So few batches do not show how far it can go", told=told)
    return told
