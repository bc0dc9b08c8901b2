"""Documents of the register: sent to the service, and what it refuses in them."""

from typing import Any

from service.client.ends import RefusedError
from service.client.http import Service
from service.client.members import steps_of
from service.client.progress import waiting_shown

ADDRESS = "/v1/register"


def register_tag(service: Service) -> str:
    """The entity tag of the register as it is now."""
    # As one that knows every state: nothing has to be read for the answer.
    answer = service.send("GET", ADDRESS, headers={"If-None-Match": "*"})
    return answer.headers["ETag"]


def sent_document(
    service: Service, document: dict[str, Any], query: dict[str, str], headers: dict[str, str]
) -> tuple[dict[str, Any], str]:
    """The answer to a document, and the tag of the register; raises RefusedError."""
    with waiting_shown("registering"):
        answer = service.send("POST", ADDRESS, document, query=query, headers=headers)
    return answer.json(), answer.headers["ETag"]


def tried(
    service: Service, collection: str, code: str, written: dict[str, Any], *, as_of: str | None = None
) -> dict[str, Any]:
    """The answer to a document of one thing that is tried and not stored; raises RefusedError as if it were.

    Args:
        written: its facts, its rates by first day, or both.
        as_of: the day of the rates for prices; today if left out.
    """
    query = {"dry_run": "true", **({"as_of": as_of} if as_of else {})}
    answer, _ = sent_document(service, {collection: {code: written}}, query, {})
    return answer


def refused_places(error: RefusedError) -> list[tuple[list[str], str]]:
    """Where in the document the service refuses what; empty if it refuses something else."""
    errors = error.problem.get("errors", ())
    if not all("pointer" in each for each in errors):
        return []
    return [(steps_of(each["pointer"]), each["detail"]) for each in errors]
