"""Further processes that use the service; a test starts them, waits for them and kills them."""

import os
import random
import signal
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context
from typing import Any
from uuid import UUID, uuid4

import sqlalchemy as sa

from service.app import create_app
from service.config import Settings
from service.domain.audit import Actor
from service.domain.listing.repricing import RepricingRequest
from service.store.engine.database import Database
from service.store.workshop.workshops import Workshop, find_workshop, lock_workshop
from service.workflows.errors import StalePreviewError
from service.workflows.listing import repricing
from service.workflows.workspace import Workspace
from tests.domain.examples import TODAY

# Not "fork": a copy of the test process would share its threads and connections. The fork server imports the modules
# once for all processes.
context = get_context("forkserver")
context.set_forkserver_preload([__name__, "service.app"])

SECONDS = 600
"""Time limit for processes that hang; long enough for everything that works, even on a slow machine."""
CLIENTS = 4
"""Concurrent clients of each process that runs the application itself."""
BUSY = 503
OTHER = Actor(name="another process", key_id=None)


def workshop_of(database: Database, workshop_id: UUID) -> Workshop:
    """The workshop in its present state."""
    with database.reading() as connection:
        found = find_workshop(connection, workshop_id)
    assert found is not None
    return found


def reprice(database: Database, workshop_id: UUID, tag: str | None = None) -> str | None:
    """Apply a repricing; returns the id of the recorded one, None if none was recorded, or 'stale: …'."""
    workspace = Workspace(database=database, workshop=workshop_of(database, workshop_id), actor=OTHER)
    asked = RepricingRequest(as_of=TODAY)
    try:
        done = repricing.apply(workspace, asked, lambda found: tag in (None, found))
    except StalePreviewError as error:
        return f"stale: {error.applied_as}"
    return None if done.repricing is None else str(done.repricing.id)


def die_at(database: Database, moment: int) -> None:
    """Kill this process, as a power failure would, before its next statement or commit after `moment` of them."""
    left = moment

    def count(*_: Any) -> None:
        nonlocal left
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left -= 1

    sa.event.listen(database.engine, "before_cursor_execute", count)
    sa.event.listen(database.engine, "commit", count)


def reprice_and_die(url: str, workshop_id: UUID, moment: int) -> None:
    """Apply a repricing; the process is killed after `moment` statements and commits, if there are so many."""
    database = Database(url)
    die_at(database, moment)
    reprice(database, workshop_id)


def reprice_at_once(url: str, workshop_id: UUID, tag: str | None, begin: Any, answers: Any) -> None:
    """Apply a repricing as soon as `begin` is set, which is when all processes are ready."""
    database = Database(url)
    workshop_of(database, workshop_id)
    begin.wait(SECONDS)
    answers.put(reprice(database, workshop_id, tag))


def hold_lock(url: str, workshop_id: UUID, held: Any, over: Any) -> None:
    """Lock the workshop, so that no other process can write, until `over` is set."""
    with Database(url).writing() as connection:
        lock_workshop(connection, workshop_id)
        held.set()
        over.wait(SECONDS)


def work_at_random(url: str, key: str, seed: int, begin: Any, answers: Any) -> None:
    """An application of its own on which random requests change rates, preview, apply and roll back.

    Puts the method and path, the status and Retry-After of each answer into `answers`.
    """
    client = create_app(Settings(database_url=url)).test_client()
    headers = {"Authorization": f"Bearer {key}"}
    chance, told = random.Random(seed), []
    begin.wait(SECONDS)
    for _ in range(25):
        method, path, body = _request(chance, client.get("/v1/repricings?limit=3", headers=headers).json)
        answer = client.open(path, method=method, json=body, headers={**headers, "Idempotency-Key": f'"{uuid4()}"'})
        told.append((f"{method} {path.rpartition('/')[2]}", answer.status_code, answer.headers.get("Retry-After")))
    answers.put(told)


def quote_and_issue(url: str, key: str, body: Any, how_many: int, begin: Any, answers: Any) -> None:
    """An application of its own with four concurrent clients, each of which issues `how_many` quotations.

    A client that is told to try again does so. Puts the numbers of the quotations and the number of retries into
    `answers`.
    """
    app = create_app(Settings(database_url=url))
    headers = {"Authorization": f"Bearer {key}"}

    def insisting(path: str, sent: Any) -> tuple[Any, int]:
        tries, keyed = 0, {**headers, "Idempotency-Key": f'"{uuid4()}"'}
        while True:
            answer = app.test_client().post(path, json=sent, headers=keyed)
            # If the database was too busy even to release the key, the key becomes free by itself after a while.
            is_still_running = answer.status_code == 409 and answer.json["type"].endswith("still-running")
            if answer.status_code != BUSY and not is_still_running:
                assert answer.status_code in (200, 201), answer.json
                return answer.json, tries
            assert answer.headers["Retry-After"]
            tries += 1

    def client(_: int) -> tuple[list[str], int]:
        numbers, tries = [], 0
        for _ in range(how_many):
            made, again = insisting("/v1/quotations", body)
            issued, and_again = insisting(f"/v1/quotations/{made['id']}/issue", None)
            numbers.append(issued["number"])
            tries += again + and_again
        return numbers, tries

    begin.wait(SECONDS)
    with ThreadPoolExecutor(CLIENTS) as clients:
        told = list(clients.map(client, range(CLIENTS)))
    answers.put(([number for numbers, _ in told for number in numbers], sum(tries for _, tries in told)))


def _request(chance: random.Random, applied: Any) -> tuple[str, str, Any]:
    """A random request that a workshop could plausibly send next."""
    price = f"1.{chance.randrange(100):02}"
    day = TODAY.isoformat()
    requests: list[tuple[str, str, Any]] = [
        ("PUT", "/v1/materials/hdpe/rates/2026-03-01", {"price": {"amount": price, "currency": "EUR"}}),
        ("PUT", "/v1/materials/hdpe", {"name": f"HDPE {price}", "unit": "kg", "polymer": "HDPE"}),
        ("POST", "/v1/repricings", {"as_of": day}),
        ("POST", "/v1/repricings", {"as_of": day, "apply": True}),
        ("POST", "/v1/repricings", {"as_of": day, "apply": True, "rules": {"greatest_move_share": "0.02"}}),
    ]
    requests += [("POST", f"/v1/repricings/{each['id']}/rollback", None) for each in applied["items"]]
    return chance.choice(requests)


def started(work: Callable[..., None], *arguments: Any) -> Any:
    """Start a process that does this work."""
    process = context.Process(target=work, args=arguments, daemon=True)
    process.start()
    return process


def ended(process: Any) -> int:
    """Wait for a process; returns its exit code: 0, or the negative number of the signal that killed it."""
    process.join(SECONDS)
    assert process.exitcode is not None, "it goes on for too long"
    code: int = process.exitcode
    process.close()
    return code
