"""What a batch may come to cost, if it goes as one of the recorded batches went."""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import prod
from operator import attrgetter
from typing import NamedTuple

from service.domain.learning.facts import stated_by, with_facts
from service.domain.learning.learning import LEAST_BATCHES, ObservedBatch
from service.domain.making.products import Catalogue
from service.domain.records.observation import Fact as ProductFact
from service.domain.records.observation import Learnable, Observation
from service.domain.values.exact import ONE, ZERO, exactly, half_up, snapped
from service.domain.values.message import Fact, Message
from service.domain.values.money import Money, minor_unit_decimals

_MOST_SUMS = 20_000
"""Of costs that are added up to count the ways in which several lines can go: some tenths of a second."""


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
        costs: of a batch like each of those that are not lost.
        text: the band in words.
    """

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
    costs: tuple[Decimal, ...]
    text: Message

    @property
    def losing_share(self) -> Decimal | None:
        """The share of batches that would lose money at what is asked; None if none is asked or recorded."""
        return Decimal(self.losing) / self.batches if self.losing is not None and self.batches else None


@exactly
def risk_band(
    costed: Callable[[Catalogue], Money],
    catalogue: Catalogue,
    batches: Iterable[ObservedBatch],
    asked: Decimal | None = None,
) -> RiskBand:
    """The full cost of a batch with each recorded batch's own facts in place of today's.

    No distribution is assumed: every recorded batch is as likely as any other, and what it did not say is as the
    product states today. A batch that says nothing of what the product has today is left out.

    Args:
        costed: the full cost of the batch by these facts, unrounded.
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
            full_cost=costed(with_facts(catalogue, {one.about: one.ratio for one in each.observations})).amount,
        )
        for each in whole
    ]
    likely = [(each.full_cost, ONE / len(costs)) for each in costs]
    lost = len(told) - len(whole)
    band = RiskBand(
        currency=today.currency,
        estimated=today.amount,
        batches=len(told),
        lost=lost,
        lowest=min(costs, key=attrgetter("full_cost"), default=None),
        expected=snapped(expected_value(likely)) if costs else None,
        highest=max(costs, key=attrgetter("full_cost"), default=None),
        deviation=snapped(max(ZERO, variance_of(likely)).sqrt()) if costs else None,
        asked=asked,
        losing=None if asked is None else lost + sum(snapped(each.full_cost) > asked for each in costs),
        costs=tuple(each.full_cost for each in costs),
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
    decimals = minor_unit_decimals(band.currency)
    facts: dict[str, Fact] = {"currency": band.currency, "batches": Decimal(band.batches), "lost": Decimal(band.lost)}
    if band.lowest is None or band.highest is None or band.expected is None:
        if band.lost:
            return Message("All past batches went wholly to scrap, {lost} of them: what it costs is not known", **facts)
        return Message("No recorded batch says what this may cost")
    amounts = {"low": band.lowest.full_cost, "expected": band.expected, "high": band.highest.full_cost}
    facts |= {name: half_up(amount, decimals) for name, amount in amounts.items()}
    if band.batches == 1:
        told = Message("Like the one past batch it costs {low} {currency}", **facts)
    else:
        told = Message(
            "Like {batches} past batches it costs {low} to {high} {currency}, {expected} on average", **facts
        )
    if band.lost:
        told = Message("{told}, without the {lost} that went wholly to scrap", told=told, **facts)
    if band.asked is not None:
        told = _told_of_losing(told, band.asked, band.currency, Ways(band.batches, band.losing or 0))
    if band.batches < LEAST_BATCHES:
        return _of_few(told)
    return told


def _told_of_losing(told: Message, asked: Decimal, currency: str, ways: "Ways") -> Message:
    facts: dict[str, Fact] = {"asked": half_up(asked, minor_unit_decimals(currency)), "currency": currency}
    if ways.number > 1:
        facts |= {"told": told, "losing": Decimal(ways.losing), "batches": Decimal(ways.number)}
        return Message(
            "{told}; at {asked} {currency}, {losing} of {batches} batches like those would lose money", **facts
        )
    if ways.losing:
        return Message("{told}; at {asked} {currency} that loses money", told=told, **facts)
    return Message("{told}; at {asked} {currency} that loses no money", told=told, **facts)


class Ways(NamedTuple):
    """In how many ways recorded batches can come together, one for each line, and how many of these lose money."""

    number: int
    losing: int


@exactly
def ways_together(bands: Iterable[RiskBand], certain: Decimal, asked: Decimal) -> Ways | None:
    """How often lines that are sold together lose money, if each goes as one of its own recorded batches went.

    Every line can go in each of its ways with every way of the others, and each counts once, as if lines did not depend
    on each other. A way with a lost batch loses.

    Args:
        bands: of the lines; those without a batch are left out.
        certain: the cost of these, and of everything else that is sold.
        asked: what all of it is to bring for its cost.

    Returns:
        None if no line has a batch, or if there are too many ways to be counted.
    """
    varied = sorted((each for each in bands if each.batches), key=attrgetter("batches"))
    if not varied or prod(each.batches for each in varied[:-1]) > _MOST_SUMS:
        return None
    *others, longest = varied
    sums = [certain]
    for band in others:
        sums = [before + cost for before in sums for cost in band.costs]
    costs, number = sorted(longest.costs), prod(each.batches for each in varied)
    return Ways(number, number - sum(_within(asked, before, costs) for before in sums))


def _within(asked: Decimal, before: Decimal, costs: Sequence[Decimal]) -> int:
    """How many of the costs, in order, come to no more than what is asked with what stands before them."""
    return bisect_right(costs, asked, key=lambda cost: snapped(before + cost))


class Spread(NamedTuple):
    """The least, the mean and the most that something costs, as shown."""

    lowest: Decimal
    expected: Decimal
    highest: Decimal


def told_together(bands: Sequence[RiskBand], spread: Spread, asked: Money, ways: Ways | None) -> Message:
    """What lines that are sold together may cost, in words.

    Args:
        bands: of all lines.
        spread: of their sum.
    """
    if not any(band.costs for band in bands):
        return Message("No recorded batch says what this may cost")
    low, expected, high = spread
    facts: dict[str, Fact] = {"currency": asked.currency, "low": low, "expected": expected, "high": high}
    if low == high:
        told = Message("As past batches went, all of it costs {low} {currency}", **facts)
    else:
        told = Message(
            "As past batches went, all of it costs {low} to {high} {currency}, {expected} on average", **facts
        )
    if ways is not None and sum(band.batches > 0 for band in bands) == 1:
        told = _told_of_losing(told, asked.amount, asked.currency, ways)
    elif ways is not None:
        told = Message(
            "{told}; at {asked} {currency}, {losing} of {ways} ways in which such batches can come together would lose "
            "money",
            told=told,
            asked=asked.amount,
            currency=asked.currency,
            losing=Decimal(ways.losing),
            ways=Decimal(ways.number),
        )
    if any(band.lost and band.costs for band in bands):
        told = Message("{told}. Batches that went wholly to scrap are in no amount, and count as losing", told=told)
    if any(0 < band.batches < LEAST_BATCHES for band in bands):
        told = _of_few(told)
    if all(band.costs for band in bands):
        return told
    return Message("{told}. What no record tells the cost of counts as quoted", told=told)


def _of_few(told: Message) -> Message:
    return Message("{told}. So few batches do not show how far it can go", told=told)


def told_of_changes(told: Message, now: Money, quoted: Money) -> Message:
    """The same, and what the batch costs by the facts of today, if it was quoted by others."""
    if now == quoted:
        return told
    return Message(
        "{told}. As the product is today it costs {now} {currency}, quoted were {quoted}",
        told=told,
        now=now.amount,
        quoted=quoted.amount,
        currency=quoted.currency,
    )
