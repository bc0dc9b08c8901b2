"""The same request again is done once, and answered alike."""

from datetime import timedelta
from math import ceil

from service import clock
from service.store.workshop import retries
from service.store.workshop.retries import Claim, StoredAnswer
from service.workflows.errors import KeyUsedOtherwiseError, StillRunningError
from service.workflows.workspace import Workspace

KEPT = timedelta(hours=24)
"""How long an answer is kept for whoever asks again."""
CUT_OFF = timedelta(seconds=10)
"""After which a request that has not been answered may be begun anew. Should the first still be at it, only one of
them is done: whoever keeps its answer first."""


def claim(workspace: Workspace, key: str, fingerprint: str) -> Claim:
    """Begin a request under a key; the claim has the answer if it was given before.

    Raises:
        KeyUsedOtherwiseError: the key came with another request.
        StillRunningError: the first request with it is still being worked on.
    """
    now = clock.now()
    ours = Claim(key=key, fingerprint=fingerprint, claimed_at=now)
    with workspace.writing() as connection:
        retries.forget_claims(connection, workspace.workshop_id, now - KEPT)
        if retries.add_claim(connection, workspace.workshop_id, ours):
            return ours
        found = retries.find_claim(connection, workspace.workshop_id, key)
        if found is None:  # it has just failed, and left the key free
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
    """Keep the answer to a request.

    Raises:
        StillRunningError: it was begun anew meanwhile, and has been answered there.
    """
    with workspace.writing() as connection:
        if not retries.keep_answer(connection, workspace.workshop_id, claim, answer):
            raise StillRunningError(1)


def release(workspace: Workspace, claim: Claim) -> None:
    """Leave the key free for another try: nothing was done."""
    with workspace.writing() as connection:
        retries.release_claim(connection, workspace.workshop_id, claim)
