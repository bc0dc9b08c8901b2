"""New facts of a product, as its records propose them, beside today's."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.learning.facts import can_be, stated, stated_by, with_facts
from service.domain.learning.learning import LEAST_BATCHES, LearntFact
from service.domain.making.products import Catalogue, Product
from service.domain.records.observation import Fact, Learnable
from service.domain.values.exact import exactly, readable
from service.domain.values.message import Message
from service.domain.values.shown import Figure, shown

_CANNOT_BE: Mapping[Fact, str] = {
    Fact.LOAD_FACTOR: "{told}; the machine draws more than its rated power: register that anew",
    Fact.PROCESS_LOSS_SHARE: (
        "{told}; no share can be below 0: less is counted as issued than good units contain. Count all that is issued, "
        "or check quantity_per_piece"
    ),
}
"""What to do about figures that no product may state."""
_NOT_COUNTED = "{told}; that cannot be: something was not counted, or another fact is wrong"
"""The same of other facts. Counts that would make them so are refused or teach nothing; observations are imported."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedFact:
    """A fact of today beside what the records say of it.

    Attributes:
        learnt: what the records say.
        now: what the product states today; None where several lines of its bill state different figures.
        proposed: what it could state instead, rounded; None if there are too few batches, or no product may state it.
        is_at_odds: whether today's figure is outside the interval, so that the records speak against it; not if what
            they say cannot be, for then something was not counted, or another fact is wrong.
        text: both in words.
    """

    learnt: LearntFact
    now: Decimal | None
    proposed: Decimal | None
    is_at_odds: bool
    text: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a product could be registered with.

    Attributes:
        facts: every fact that records say something about and that the product still has.
        taken: those of them that the products below have, and the product of today has not.
        products: the products that change, and sub-assemblies, with all proposed facts that were asked for.
    """

    facts: tuple[ProposedFact, ...]
    taken: tuple[ProposedFact, ...]
    products: Mapping[str, Product]


@exactly
def proposal(
    catalogue: Catalogue,
    learnt: Iterable[LearntFact],
    chosen: Collection[Learnable] | None = None,
    *,
    without_outliers: bool = False,
) -> Proposal:
    """The product of today with the facts that its records propose.

    Args:
        catalogue: of today.
        chosen: the facts that are to be taken over; if left out, those that are at odds with today's.
        without_outliers: whether batches that stand out are left out of the figures.
    """
    facts = tuple(_proposed(catalogue, learnt, without_outliers=without_outliers))
    wanted = [each for each in facts if (each.is_at_odds if chosen is None else each.learnt.about in chosen)]
    values = {each.learnt.about: each.proposed for each in wanted if each.proposed is not None}
    changed, before = with_facts(catalogue, values).products, catalogue.products
    return Proposal(
        facts=facts,
        taken=tuple(each for each in wanted if each.proposed not in (None, each.now)),
        products={code: each for code, each in changed.items() if each != before[code]},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedOutlier:
    """A batch that stands out.

    Attributes:
        code: of its record.
        value: the fact as it had it.
    """

    code: str
    value: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedFact:
    """What records say about a fact of a product, beside today's.

    Attributes:
        fact: which one: a yield, minutes of a cycle, a share lost and so on.
        product: code of the product, or of the sub-assembly.
        item: name of the operation, or code of the material.
        grade: code of the labour grade; empty where the fact is about none.
        text: all of it in a sentence.
        now: what the product states today; null if lines of its bill state different figures.
        proposed: what it could state instead; null if there are too few batches, or no product may state it.
        is_at_odds: whether today's figure is outside the interval, and what the records say can be.
        batches: that say something about it.
        value: pooled over all of them, outliers included.
        low: lower end of the 95 % interval; null with a single batch.
        high: its upper end.
        lowest: the least of a single batch.
        highest: the greatest of a single batch.
        deviation: standard deviation of single batches about the pooled figure; null with a single batch.
        outliers: batches that stand out.
        without_outliers: the figure pooled over the others; null if none stands out.
        more_batches: how many more like these are needed to know it well enough; 0 if it is known so.
    """

    fact: Fact
    product: str
    item: str
    grade: str
    text: Message
    now: Figure | None
    proposed: Figure | None
    is_at_odds: bool
    batches: int
    value: Figure
    low: Figure | None
    high: Figure | None
    lowest: Figure
    highest: Figure
    deviation: Figure | None
    outliers: tuple[StatedOutlier, ...]
    without_outliers: Figure | None
    more_batches: int


@exactly
def stated_facts(facts: Iterable[ProposedFact]) -> tuple[StatedFact, ...]:
    """The facts as shown."""
    return tuple(shown(StatedFact, "", each, each.learnt, each.learnt.about) for each in facts)


def _proposed(catalogue: Catalogue, learnt: Iterable[LearntFact], *, without_outliers: bool) -> Iterator[ProposedFact]:
    for each in learnt:
        today = list(stated_by(catalogue, each.about))
        if not today:
            continue
        fact, now = each.about.fact, today[0] if len(set(today)) == 1 else None
        value = each.without_outliers if without_outliers and each.without_outliers is not None else each.value
        is_possible = can_be(fact, value)
        proposed = stated(fact, readable(value, fact.traits.decimals)) if is_possible and each.is_enough else None
        yield ProposedFact(
            learnt=each,
            now=now,
            proposed=proposed,
            is_at_odds=is_possible and (now is None or not _is_within(now, each)),
            text=_said(each, value, now, proposed),
        )


def _is_within(now: Decimal, learnt: LearntFact) -> bool:
    """Whether records do not speak against a figure; a single batch never does."""
    return learnt.low is None or learnt.high is None or learnt.low <= now <= learnt.high


def _said(each: LearntFact, value: Decimal, now: Decimal | None, proposed: Decimal | None) -> Message:
    decimals, out = each.about.fact.traits.decimals, len(each.outliers) if value != each.value else 0
    figures: dict[str, Message | Decimal] = {"what": each.about.what, "value": readable(value, decimals)}
    if each.batches - out == 1:
        told = Message("{what}: {value} by a single batch", **figures)
    else:
        told = Message("{what}: {value} by {batches} batches", **figures, batches=Decimal(each.batches - out))
    if out:
        told = Message("{told}, leaving {out} out", told=told, out=Decimal(out))
    if not each.is_enough or each.low is None or each.high is None:
        return Message("{told}; it takes {least} to propose it", told=told, least=Decimal(LEAST_BATCHES))
    low, high = (readable(end, decimals) for end in (each.low, each.high))
    ends = {"low": low, "high": high}
    if out:
        told = Message("{told}, between {low} and {high} (95 % interval of all)", told=told, **ends)
    else:
        told = Message("{told}, between {low} and {high} (95 % interval)", told=told, **ends)
    if not can_be(each.about.fact, value):
        return Message(_CANNOT_BE.get(each.about.fact, _NOT_COUNTED), told=told)
    return told if now is None else Message("{told}; the product says {now}", told=told, now=now)
