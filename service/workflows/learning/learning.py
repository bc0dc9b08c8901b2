"""What the records of a product teach about its facts."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, NamedTuple

from service.domain.learning.learning import METHOD, SOURCES, learnt
from service.domain.learning.proposals import Proposal, StatedFact, proposal, stated_facts
from service.domain.making.products import Product
from service.domain.records.observation import Learnable
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.message import Message
from service.encoding import encoded, to_bytes
from service.store.records import batch_records
from service.store.records.batch_records import ChosenRecords
from service.workflows.costing.costing import subject, surroundings_of
from service.workflows.entity_tags import content_tag
from service.workflows.workspace import Workspace

MAX_LEARNT = 20_000
"""Most records that are learnt from for one answer, which takes some seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearningStatement:
    """What the records of a product teach.

    Attributes:
        product: its code.
        name: its name.
        batches: number of records.
        first_day: of the earliest; null if there is no record.
        last_day: of the latest.
        facts: every fact that they say something about, and that the product still has.
        method: how the figures are found, and how sure they are.
        source: of the method.
    """

    product: str
    name: str
    batches: int
    first_day: date | None
    last_day: date | None
    facts: tuple[StatedFact, ...]
    method: Message
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which records are learnt from, and which of their facts are to be taken over.

    Attributes:
        records: those of a period, or all.
        without_outliers: whether batches that stand out are left out of the figures.
        facts: those to be taken over; if None, those that are at odds with today's.
    """

    records: ChosenRecords = field(default_factory=ChosenRecords)
    without_outliers: bool = False
    facts: tuple[Learnable, ...] | None = None


class Lesson(NamedTuple):
    """What records teach in one state of the workshop.

    Attributes:
        revision: of the workshop.
        product: as it is registered.
        before: data of the products that would change.
        days: on which the batches were made, newest first.
        proposal: what it could be registered with.
    """

    revision: int
    product: Product
    before: dict[str, Any]
    days: tuple[date, ...]
    proposal: Proposal

    @property
    def tag(self) -> str:
        """A tag of the products that would change, as they are and as they would be."""
        return content_tag(to_bytes([self.before, encoded(dict(self.proposal.products))]))


def what_records_teach(workspace: Workspace, code: str, wanted: Wanted) -> LearningStatement:
    """What records say about every fact of a product, beside today's.

    Raises:
        NotRegisteredError: there is no such product.
        TooComplexError: there are too many records.
    """
    found = learn(workspace, code, wanted)
    return LearningStatement(
        product=code,
        name=found.product.name,
        batches=len(found.days),
        first_day=min(found.days, default=None),
        last_day=max(found.days, default=None),
        facts=stated_facts(found.proposal.facts),
        method=METHOD,
        source=SOURCES,
    )


def learn(workspace: Workspace, code: str, wanted: Wanted) -> Lesson:
    """What records teach, from one state of the workshop.

    Raises:
        NotRegisteredError: there is no such product.
        InvalidValuesError: a fact that is to be taken over is not proposed.
        TooComplexError: there are too many records.
    """
    with workspace.snapshot() as frozen:
        return learn_within(frozen.now(), code, wanted)


def learn_within(workspace: Workspace, code: str, wanted: Wanted) -> Lesson:
    """The same, in a workspace that sees one state."""
    today = workspace.workshop.today()
    catalogue = surroundings_of(workspace, [subject("products", code)], today).catalogue
    chosen = replace(wanted.records, product=code)
    with workspace.reading() as connection:
        found = batch_records.observed_batches(connection, workspace.workshop_id, chosen, limit=MAX_LEARNT + 1)
    if len(found) > MAX_LEARNT:
        raise TooComplexError("batch records in one answer", MAX_LEARNT, remedy="ask for a shorter period")
    facts = learnt((batch for _, batch in found), catalogue.products)
    proposed = proposal(catalogue, facts, wanted.facts, without_outliers=wanted.without_outliers)
    if problems := list(_not_proposed(proposed, wanted.facts or ())):
        raise InvalidValuesError(problems)
    days = tuple(day for day, _ in found)
    before = {each: encoded(catalogue.products[each]) for each in proposed.products}
    return Lesson(workspace.workshop.revision, catalogue.products[code], before, days, proposed)


def _not_proposed(proposed: Proposal, wanted: tuple[Learnable, ...]) -> Iterator[InvalidValueError]:
    """A problem for each wanted fact of which nothing is proposed, with the reason."""
    known = {each.learnt.about: each for each in proposed.facts}
    for place, about in enumerate(wanted):
        found = known.get(about)
        if found is None:
            taught = "; ".join(f"{each.what} ({each.product})" for each in known) or "nothing"
            yield InvalidValueError(("facts", place), f"the records do not teach this; they teach: {taught}")
        elif found.proposed is None:
            yield InvalidValueError(("facts", place), f"is not proposed. {found.text}")
