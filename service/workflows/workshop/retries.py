"""A repeated request is carried out once and gets the same answer."""

from datetime import timedelta
from math import ceil

from service import clock
from service.store.engine import metering
from service.store.workshop import retries
from service.store.workshop.retries import Claim, StoredAnswer
from service.workflows.errors import KeyUsedOtherwiseError, StillRunningError
from service.workflows.workspace import Workspace

KEPT = timedelta(hours=24)
"""How long an answer is kept for retries."""
CUT_OFF = timedelta(seconds=10)
"""Time after which an unanswered request may be begun again. If the first is still running, only the one that stores
its answer first takes effect."""


def claim(workspace: Workspace, key: str, fingerprint: str) -> Claim:
    """Begin a request under a key; the claim holds the answer if it was given before.

    Raises:
        KeyUsedOtherwiseError: the key was sent with a different request.
        StillRunningError: the first request with it has not been answered yet.
    """
    now = clock.now()
    ours = Claim(key=key, fingerprint=fingerprint, claimed_at=now)
    with workspace.writing() as connection:
        metering.exempt(connection)  # it is freed if the request is refused, and forgotten after a day
        retries.forget_claims(connection, workspace.workshop_id, now - KEPT)
        if retries.add_claim(connection, workspace.workshop_id, ours):
            return ours
        found = retries.find_claim(connection, workspace.workshop_id, key)
        if found is None:  # it has just failed and freed the key
            raise StillRunningError(1)
        if found.fingerprint != fingerprint:
            raise KeyUsedOtherwiseError
        if found.answer is not None:
            return found
        left = CUT_OFF - (now - found.claimed_at)
        if left > timedelta(0) or not retries.renew_claim(connection, workspace.workshop_id, found, now):
            raise StillRunningError(max(1, ceil(left.total_seconds())))
        return ours


def keep(workspace: Workspace, claim: Claim, answer: StoredAnswer) -> None:
    """Store the answer to a request; raises StillRunningError if it was begun again and answered meanwhile."""
    with workspace.writing() as connection:
        if not retries.keep_answer(connection, workspace.workshop_id, claim, answer):
            raise StillRunningError(1)


def release(workspace: Workspace, claim: Claim) -> None:
    """Free the key for another try: nothing was done."""
    with workspace.writing() as connection:
        retries.release_claim(connection, workspace.workshop_id, claim)
