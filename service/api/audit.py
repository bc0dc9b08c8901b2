"""The audit trail: who changed which fact, rate, price or key, when, from what to what."""

from collections.abc import Iterator
from typing import Annotated
from uuid import UUID

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.instants import instant_of, instant_problem
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import LINK
from service.api.http.auth import workshop, workspace
from service.api.http.operations import operation
from service.api.http.paging import PageQuery, page, position
from service.api.registering.registered import listed
from service.domain.audit import Action, RecordedChange
from service.domain.values.declared import Name, Text, declared
from service.domain.values.errors import InvalidValueError
from service.encoding import encoded
from service.store.workshop.audit import Chosen
from service.workflows.workshop.audit import list_changes

blueprint = Blueprint(
    "changes", __name__, url_prefix="/v1/changes", description="The audit trail: who changed what, and when."
)


@declared
class ChangesQuery(PageQuery):
    """Which changes, and which page of them.

    Attributes:
        subject: changes of this subject and of those below it: "tariffs/grid" covers its facts and all its rates,
            "listings" every listing and every price in force. Upper and lower case differ.
        since: made at this time or later; an instant (RFC 3339) or a day in the workshop's time zone.
        until: made before this instant, or up to the end of this day.
        by: made with a key of this name, or "command line".
        action: what was done.
    """

    subject: Annotated[str, Text(max_length=250)] | None = None
    since: Annotated[str, Text(max_length=40)] | None = None
    until: Annotated[str, Text(max_length=40)] | None = None
    by: Name | None = None
    action: Action | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        for name in ("since", "until"):
            text = getattr(self, name)
            if text is not None and (problem := instant_problem(text)) is not None:
                yield InvalidValueError((name,), problem)

    def chosen(self, time_zone: str) -> Chosen:
        """The store's filter for it, with instants."""
        return Chosen(
            subject=None if self.subject is None else self.subject.removesuffix("/"),
            since=None if self.since is None else instant_of(self.since, time_zone),
            until=None if self.until is None else instant_of(self.until, time_zone, is_end=True),
            by=self.by,
            action=self.action,
        )


def _act_and_subject(change_id: str, subject: str) -> tuple[UUID, str]:
    return UUID(change_id), subject


@blueprint.route("")
class Changes(MethodView):
    """All changes."""

    @operation("listChanges")
    @blueprint.arguments(schema_of(ChangesQuery)(), location="query")
    @blueprint.response(200, listed(schema_of(RecordedChange), "RecordedChanges", {}), headers=LINK)
    def get(self, query: ChangesQuery) -> flask.Response:
        """Every change of facts, rates, exchange rates, prices in force and keys, newest first.

        Each entry is written in the same transaction as the change, and can never be altered or deleted.
        """
        before, chosen = position(query, _act_and_subject), query.chosen(workshop().time_zone)
        return page(
            query,
            lambda limit: list_changes(workspace(), chosen, before=before, limit=limit),
            lambda each: [str(each.change_id), each.subject],
            encoded,
        )
