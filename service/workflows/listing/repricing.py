"""Repricing of listings when rates change: preview and application."""

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from typing import IO, Any
from uuid import UUID

from service import clock
from service.domain.listing.price_change import RepricingBasis, RepricingFigures
from service.domain.listing.repricing import COMING_INTO_FORCE, STAYING, Decision, RepricingRequest
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.encoding import plain_data, to_bytes, to_text
from service.spool import new_spool
from service.store.engine.database import Connection
from service.store.listing import prices_in_force, repricings
from service.store.listing.repricings import Repricing
from service.store.workshop.workshops import Workshop, lock_workshop
from service.workflows.costing.supposing import WhatIf
from service.workflows.entity_tags import Precondition, content_tag
from service.workflows.errors import ChangedMeanwhileError, NothingPricedError, StalePreviewError
from service.workflows.listing.price_changes import Found, Look
from service.workflows.listing.repricing_scope import narrowing, scope_of
from service.workflows.workspace import Workspace

_ATTEMPTS = 3
_FEW = 2_000
"""Listings that are looked at within some tenths of a second: for so long, others may wait for the lock."""
_REASONS = 5


class Preview:
    """What a repricing would do, computed from one state of the workshop.

    Attributes:
        workspace: with the workshop in that state.
        request: with the day of the rates filled in.
        valid_from: the first day of the prices: that of the rates, or today if that is later.
        tag: of the state, the request and that day; an application with this tag does just this or nothing.
    """

    def __init__(self, workspace: Workspace, request: RepricingRequest, what_if: WhatIf | None) -> None:
        self.workspace = workspace.now()
        today = self.workspace.workshop.today()
        as_of = request.as_of or today
        self.request, self.valid_from = replace(request, as_of=as_of), max(as_of, today)
        self.tag = _tag(self.workspace.workshop, self.request, self.valid_from, what_if)
        self._look = Look(self.workspace, request, as_of, self.valid_from, what_if)
        self._narrowing = narrowing(self.workspace, scope_of(request, what_if), self._look.card)
        with self.workspace.reading() as connection:
            later = repricings.days_set_after(connection, self.workspace.workshop_id, self.valid_from)
        self._later_days = tuple(later)

    def changes(self, after: str = "") -> Generator[tuple[str, str], None, None]:
        """Each listing whose price changes, or all if the request includes them, with its `PriceChange` as JSON text.

        Args:
            after: only listings after this code. The figures are complete only if it is empty.

        Raises:
            InvalidValuesError: the scope selects no listing.
            NothingPricedError: no listing in the scope can be priced.
        """
        found = self._look.found(self._narrowing, after) if after else self.found()
        return ((each.listing, each.change) for each in found if self.is_shown(each))

    def is_shown(self, found: Found) -> bool:
        return found.decision not in STAYING or self.request.include_unchanged

    def found(self) -> Generator[Found, None, None]:
        """The result for each listing in the scope; raises as `changes` does."""
        reasons: list[str] = []
        for found in self._look.found(self._narrowing):
            if found.decision is Decision.UNPRICED and len(reasons) < _REASONS:
                reasons.append(f"{found.listing}: {found.problem}")
            yield found
        summary = self.figures().summary
        if summary.listings and summary.listings == summary.unpriced:
            raise NothingPricedError(summary.listings, reasons)
        if not summary.listings:
            self._check_not_empty()

    def _check_not_empty(self) -> None:
        """A scope of changed rates may select nothing; a channel, product or tag without listings is a mistake."""
        scope = self.request.scope
        if scope is None or not (scope.channel or scope.product or scope.tag):
            return
        bare = replace(self._narrowing, things=None)
        assert self.request.as_of is not None  # filled in at the beginning
        look = Look(self.workspace, self.request, self.request.as_of, self.valid_from)
        if next(look.found(bare), None) is None:
            raise InvalidValuesError([InvalidValueError(("scope",), "selects no listing at all; check its members")])

    def figures(self) -> RepricingFigures:
        """The figures of all listings so far."""
        return replace(self._look.figures(), later_days=self._later_days)

    def basis(self) -> RepricingBasis:
        """The rates used so far."""
        return self._look.basis()


@contextmanager
def preview(workspace: Workspace, request: RepricingRequest, what_if: WhatIf | None = None) -> Iterator[Preview]:
    """What applying the request would do; nothing is stored.

    Raises:
        InvalidValuesError: the scope names something that is not registered, or a what-if rate does not fit.
        MissingRatesError: a resource that the scope names has no rate on the day.
    """
    with workspace.snapshot() as frozen:
        yield Preview(frozen, request, what_if)


def _tag(workshop: Workshop, request: RepricingRequest, valid_from: date, what_if: WhatIf | None) -> str:
    """A tag of the state, the request, its day and the what-if rates, regardless of what is confirmed or shown."""
    asked = replace(request, confirmed=(), confirm_all=False, include_unchanged=False)
    supposed = {resource: to_text(terms) for resource, terms in sorted((what_if or {}).items())}
    told = to_bytes([str(workshop.workshop_id), workshop.revision, to_text(asked), str(valid_from), supposed])
    return content_tag(told)


@dataclass(frozen=True, slots=True, kw_only=True)
class Application:
    """The result of applying a request.

    Attributes:
        request: with the day of the rates filled in.
        valid_from: the first day of the prices.
        figures: of all listings together.
        repricing: what was recorded; None if no price changed.
    """

    request: RepricingRequest
    valid_from: date
    figures: RepricingFigures
    repricing: Repricing | None


def apply(workspace: Workspace, request: RepricingRequest, expected: Precondition) -> Application:
    """Put the prices that the request finds in force from their day on, all or none, with a record of every change.

    They replace what is in force on that day; what is set for a later day stays.

    Prices are computed without the workshop's lock, which on SQLite all workshops share, and again if the workshop has
    changed meanwhile. After some attempts few listings are looked at under the lock; many are not.

    Args:
        request: the listings and the rules.
        expected: whether the tag is the one that the caller saw in the preview.

    Raises:
        StalePreviewError: the tag is a different one.
        InvalidValuesError: the scope names something that is not registered, or no listing.
        MissingRatesError: a resource that the scope names has no rate on the day.
        NothingPricedError: no listing in the scope can be priced.
        ChangedMeanwhileError: the workshop changed during each attempt.
    """
    listings = 0
    for _ in range(_ATTEMPTS):
        with _looked(workspace, request, expected) as looked:
            with workspace.writing() as connection:
                if lock_workshop(connection, workspace.workshop_id) == looked.workspace.workshop.revision:
                    return looked.record(connection)
            workspace.let_others_write()
            listings = looked.figures.summary.listings
    if listings > _FEW:
        raise ChangedMeanwhileError
    with workspace.changing() as connection:
        inside = replace(workspace, database=workspace.database.seen_through(connection))
        with _looked(inside, request, expected) as looked:
            return looked.record(connection)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """A preview ready to be recorded.

    Attributes:
        rows: three lines for each change to be stored: its columns, the change as it is shown, and its bill or nothing.
        bills: a line for each new bill of a price that stays.
    """

    workspace: Workspace
    request: RepricingRequest
    valid_from: date
    tag: str
    figures: RepricingFigures
    basis: RepricingBasis
    rows: IO[bytes]
    bills: IO[bytes]

    def record(self, connection: Connection) -> Application:
        """Record it, if any price comes into force."""
        summary, workshop_id, by = self.figures.summary, self.workspace.workshop_id, self.workspace.actor
        recorded = None
        prices_in_force.keep_bills(connection, workshop_id, self._kept_bills())
        if summary.first or summary.changed:
            recorded = self._repricing(repricings.next_act(connection, workshop_id), by.name)
            repricings.add_repricing(connection, workshop_id, by, recorded, self.basis, self._stored_rows())
        return Application(request=self.request, valid_from=self.valid_from, figures=self.figures, repricing=recorded)

    def _stored_rows(self) -> Iterator[dict[str, Any]]:
        self.rows.seek(0)
        for columns in self.rows:
            row: dict[str, Any] = plain_data(columns)
            row["change"] = self.rows.readline().decode()[:-1]
            row["bill"] = self.rows.readline().decode()[:-1] or None
            yield row

    def _kept_bills(self) -> Iterator[dict[str, str]]:
        self.bills.seek(0)
        return (plain_data(line) for line in self.bills)

    def _repricing(self, its_id: UUID, by: str) -> Repricing:
        return Repricing(
            id=its_id,
            tag=self.tag,
            valid_from=self.valid_from,
            applied_at=clock.now(),
            applied_by=by,
            rolled_back_at=None,
            rolled_back_by=None,
            request=self.request,
            figures=self.figures,
        )


@contextmanager
def _looked(workspace: Workspace, request: RepricingRequest, expected: Precondition) -> Iterator[_Looked]:
    with new_spool() as rows, new_spool() as bills:
        with preview(workspace, request) as seen:
            if not expected(seen.tag):
                raise _stale(workspace, expected)
            for found in seen.found():
                if seen.is_shown(found):
                    rows.write(_row(found))
                if kept := _kept_bill(found):
                    bills.write(to_bytes(kept) + b"\n")
            looked = _Looked(
                workspace=seen.workspace,
                request=seen.request,
                valid_from=seen.valid_from,
                tag=seen.tag,
                figures=seen.figures(),
                basis=seen.basis(),
                rows=rows,
                bills=bills,
            )
        yield looked


def _row(found: Found) -> bytes:
    """What is stored of a change; the documents have lines of their own, so that they need not be decoded."""
    columns = {
        "listing": found.listing,
        "decision": found.decision.value,
        "previous_id": found.previous_id,
        "price": None if found.price is None else f"{found.price:f}",
        "currency": found.currency,
        "base_quantity": found.base_quantity,
        "unit_cost": None if found.unit_cost is None else f"{found.unit_cost:f}",
        "margin_share": found.margin_share,
    }
    bill = found.bill.text if found.bill is not None and found.decision in COMING_INTO_FORCE else ""
    return b"\n".join((to_bytes(columns), found.change.encode(), bill.encode(), b""))


def _kept_bill(found: Found) -> dict[str, str] | None:
    """The new bill of a listing whose price stays, if it has both."""
    bill = found.bill
    if bill is None or not bill.is_new or found.previous_id is None or found.decision in COMING_INTO_FORCE:
        return None
    return {"listing": found.listing, "repricing": found.previous_id, "bill": bill.text}


def _stale(workspace: Workspace, expected: Precondition) -> StalePreviewError:
    """The error for an unknown tag; the newest repricings show whether it was applied already."""
    with workspace.reading() as connection:
        for each in repricings.page_of_repricings(connection, workspace.workshop_id, before=None, limit=100):
            if expected(each.tag):
                return StalePreviewError(str(each.id), each.applied_at)
    return StalePreviewError(None)
