"""New facts of a product, as its records propose them, beside today's."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.making.products import Catalogue, Product
from service.domain.records.observation import Fact, Learnable
from service.domain.reviewing.facts import stated, stated_by, with_facts
from service.domain.reviewing.learning import LearntFact
from service.domain.values.exact import exactly, readable
from service.domain.values.message import Message


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedFact:
    """A fact of today beside what the records say of it.

    Attributes:
        learnt: what the records say.
        now: what the product states today; None where several lines of its bill state different figures.
        proposed: what it could state instead, rounded; None if there are too few batches, or no product may state it.
        is_at_odds: whether today's figure is outside the interval, so that the records speak against it.
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
        products: the products that change, and sub-assemblies, with all proposed facts that were asked for.
    """

    facts: tuple[ProposedFact, ...]
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
    taken = {
        each.learnt.about: each.proposed
        for each in facts
        if each.proposed is not None and (each.is_at_odds if chosen is None else each.learnt.about in chosen)
    }
    changed = with_facts(catalogue, taken).products
    before = catalogue.products
    return Proposal(facts=facts, products={code: each for code, each in changed.items() if each != before[code]})


def _proposed(catalogue: Catalogue, learnt: Iterable[LearntFact], *, without_outliers: bool) -> Iterator[ProposedFact]:
    for each in learnt:
        today = list(stated_by(catalogue, each.about))
        if not today:
            continue
        fact, now = each.about.fact, today[0] if len(set(today)) == 1 else None
        value = each.without_outliers if without_outliers and each.without_outliers is not None else each.value
        is_possible = each.is_enough and (fact is not Fact.LOAD_FACTOR or value <= 1)
        proposed = stated(fact, readable(value, fact.traits.decimals)) if is_possible else None
        yield ProposedFact(
            learnt=each,
            now=now,
            proposed=proposed,
            is_at_odds=now is None or not _is_within(now, each),
            text=_said(each, value, now, proposed),
        )


def _is_within(now: Decimal, learnt: LearntFact) -> bool:
    """Whether records do not speak against a figure; a single batch never does."""
    return learnt.low is None or learnt.high is None or learnt.low <= now <= learnt.high


def _said(each: LearntFact, value: Decimal, now: Decimal | None, proposed: Decimal | None) -> Message:
    decimals = each.about.fact.traits.decimals
    told: Message = Message(
        "{what}: {value} by {batches} batches",
        what=each.about.what,
        value=readable(value, decimals),
        batches=Decimal(each.batches),
    )
    if not each.is_enough or each.low is None or each.high is None:
        return Message("{told}; {more} more are needed to propose it", told=told, more=Decimal(each.more_batches))
    low, high = (readable(end, decimals) for end in (each.low, each.high))
    told = Message("{told}, between {low} and {high} (95 % interval)", told=told, low=low, high=high)
    if proposed is None and each.about.fact is Fact.LOAD_FACTOR:
        return Message("{told}; the machine draws more than its rated power: register that anew", told=told)
    if each.about.fact is Fact.PROCESS_LOSS_SHARE and value < 0:
        return Message("{told}; less is issued than the product should contain: check quantity_per_piece", told=told)
    return told if now is None else Message("{told}; the product says {now}", told=told, now=now)
