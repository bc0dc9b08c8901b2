"""Takes over what records teach: tried first, with what it would do to costs, prices and quotations; and undone."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.audit import Action, Change, RecordedChange, learning_subject
from service.domain.learning.proposals import StatedFact, stated_facts
from service.domain.making.products import Product
from service.domain.values.exact import ONE
from service.domain.values.references import Thing
from service.encoding import encoded, trusted
from service.store.engine.database import Connection
from service.store.records import batch_records
from service.store.registering import registrations
from service.store.workshop import audit
from service.store.workshop.audit import Chosen
from service.workflows.entity_tags import Precondition, always, expect, revision_tag
from service.workflows.errors import NotRegisteredError, NotUndoneError
from service.workflows.learning.effects import (
    CostEffect,
    QuotationEffect,
    asked_today,
    cost_effect,
    cost_of,
    open_quotations,
)
from service.workflows.learning.learning import Lesson, Wanted, learn, learn_within
from service.workflows.register import Prices, inside_of, prices_after
from service.workflows.register_document import Act
from service.workflows.registering.document import RegisterDocument, Written
from service.workflows.registering.registering import find_one
from service.workflows.workspace import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOver:
    """What is taken over from records, or would be.

    Attributes:
        status: preview, applied, nothing_to_change or undone.
        product: whose records they are.
        name: its name.
        products: codes of the products that change: it, or sub-assemblies.
        facts: those that are taken over; of an undone act none.
        cost: of a piece; in a preview that changes something.
        quotations: drafts, and issued ones that still hold, with what changes; newest first, in a preview.
        more_quotations: how many others there are.
    """

    status: str
    product: str
    name: str
    products: tuple[str, ...] = ()
    facts: tuple[StatedFact, ...] = ()
    cost: CostEffect | None = None
    quotations: tuple[QuotationEffect, ...] = ()
    more_quotations: int = 0


class Preview(NamedTuple):
    """What taking over would do; prices as in the dry run of a register document."""

    taken: TakenOver
    tag: str
    prices: Prices | None = None
    prices_problem: str | None = None


def preview(workspace: Workspace, code: str, wanted: Wanted, quantity: Decimal | None = None) -> Preview:
    """What taking over would do to the cost of a piece, to prices and to open quotations; nothing is stored.

    Args:
        quantity: of the batch that is costed; as many as the newest record has good ones if left out.

    Raises:
        NotRegisteredError, InvalidValuesError, TooComplexError: as `learn`.
    """
    lesson = learn(workspace, code, wanted)
    if not lesson.proposal.products:
        return Preview(_taken(code, lesson, "nothing_to_change"), lesson.tag)
    with workspace.rehearsing() as connection:
        inside = inside_of(workspace, connection)
        lesson = _current(inside, code, wanted, lesson)
        if quantity is None:
            quantity = _last_made(connection, workspace, code, wanted)
        before = cost_of(inside, code, quantity)
        affected = open_quotations(connection, inside, lesson.proposal.products)
        asked = asked_today(connection, inside, affected)
        act = Act(connection, workspace, _document(lesson.proposal.products))
        act.carry_out(prune=False)
        inside = inside_of(workspace, connection)
        cost = cost_effect(lesson.product.unit, quantity, before, cost_of(inside, code, quantity))
        prices, problem = prices_after(connection, inside, act.done)
        effects = tuple(each.effect_in(inside) for each in asked)
    taken = replace(
        _taken(code, lesson, "preview"), cost=cost, quotations=effects, more_quotations=len(affected) - len(effects)
    )
    return Preview(taken, lesson.tag, prices, problem)


def take_over(workspace: Workspace, code: str, wanted: Wanted, expected: Precondition) -> TakenOver:
    """Register the products with the facts that records propose, in one act, with the records as its reason.

    Prices in force stay; the next repricing finds what has changed.

    Raises:
        NotRegisteredError, InvalidValuesError, TooComplexError: as `learn`.
        PreconditionFailedError: other products would change than the caller saw.
    """
    lesson = learn(workspace, code, wanted)
    with workspace.changing() as connection:
        lesson = _current(inside_of(workspace, connection), code, wanted, lesson)
        expect(lesson.tag, expected, f"what the records of product '{code}' propose")
        if not lesson.proposal.products:
            return _taken(code, lesson, "nothing_to_change")
        because = _reason(code, lesson, wanted)
        Act(connection, workspace, _document(lesson.proposal.products), because).carry_out(prune=False)
    return _taken(code, lesson, "applied")


def undo(workspace: Workspace, code: str, expected: Precondition = always) -> TakenOver:
    """Register the products as they were before the last facts were taken over.

    Args:
        expected: whether the tag of the product is the one that the caller saw.

    Raises:
        NotRegisteredError: there is no such product, or nothing was taken over from its records.
        PreconditionFailedError: the product has changed since the caller read it.
        NotUndoneError: it was undone already, or one of the products has changed since.
    """
    workshop_id, subject, thing = workspace.workshop_id, learning_subject(code), Thing("products", code)
    with workspace.changing() as connection:
        there = find_one(inside_of(workspace, connection), thing)
        expect(revision_tag(workspace.workshop, there.revision), expected, f"product '{code}'")
        last = audit.page_of_changes(connection, workshop_id, Chosen(subject=subject), before=None, limit=1)
        if not last:
            raise NotRegisteredError(f"product '{code}' that has taken over anything from its records")
        if last[0].action is not Action.LEARNT:
            raise NotUndoneError(code, f"it was undone already, at {last[0].at:%Y-%m-%dT%H:%M:%SZ}")
        made = audit.changes_of_act(connection, workshop_id, last[0].change_id)
        before = _before(connection, workspace, code, [each for each in made if each.subject != subject])
        because = Change(subject=subject, action=Action.ROLLED_BACK, before=last[0].after, after=None)
        Act(connection, workspace, _document(before), because).carry_out(prune=False)
    return TakenOver(status="undone", product=code, name=there.facts.name, products=tuple(before))


def _before(connection: Connection, workspace: Workspace, code: str, made: list[RecordedChange]) -> dict[str, Product]:
    """The products before they were changed; raises NotUndoneError if one has changed again."""
    things = {Thing.of(each.subject): each for each in made}
    there = registrations.find_registrations(connection, workspace.workshop_id, things)
    for thing, each in things.items():
        now = there[thing]
        if now.retired_at is not None or now.facts != trusted(each.after, Product):
            reason = f"product '{thing.code}' has changed since; register it as you want it with PUT /v1/{thing}"
            raise NotUndoneError(code, reason)
    return {thing.code: trusted(each.before, Product) for thing, each in things.items()}


def _current(inside: Workspace, code: str, wanted: Wanted, lesson: Lesson) -> Lesson:
    """The lesson, learnt again if the workshop has changed before it was locked."""
    return lesson if inside.workshop.revision == lesson.revision else learn_within(inside, code, wanted)


def _document(products: Mapping[str, Product]) -> RegisterDocument:
    written = {code: Written(facts=product) for code, product in products.items()}
    return RegisterDocument(collections={"products": written}, exchange_rates={})


def _taken(code: str, lesson: Lesson, status: str) -> TakenOver:
    return TakenOver(
        status=status,
        product=code,
        name=lesson.product.name,
        products=tuple(sorted(lesson.proposal.products)),
        facts=stated_facts(lesson.proposal.taken),
    )


def _reason(code: str, lesson: Lesson, wanted: Wanted) -> Change:
    """What the audit trail says beside the products: which facts, from which records."""
    taken, days = lesson.proposal.taken, lesson.days
    told = [encoded(each.learnt.about._asdict()) for each in taken]
    records = {"batches": len(days), "first_day": str(min(days)), "last_day": str(max(days))}
    facts = [{**about, "value": encoded(each.now)} for about, each in zip(told, taken, strict=True)]
    after = [
        {**about, "value": encoded(each.proposed), "text": str(each.text)}
        for about, each in zip(told, taken, strict=True)
    ]
    return Change(
        subject=learning_subject(code),
        action=Action.LEARNT,
        before={"facts": facts},
        after={"facts": after, "records": {**records, "without_outliers": wanted.without_outliers}},
    )


def _last_made(connection: Connection, workspace: Workspace, code: str, wanted: Wanted) -> Decimal:
    chosen = replace(wanted.records, product=code)
    (newest,) = batch_records.page_of_records(connection, workspace.workshop_id, chosen, before=None, limit=1)
    return newest.record.good_units or ONE
