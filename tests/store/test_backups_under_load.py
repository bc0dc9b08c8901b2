"""Backups made while a workshop is in use: each one, restored elsewhere, is a state that the database had."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from time import monotonic

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result

from service import cli
from service.store.engine.database import Database
from service.store.engine.database_faults import BUSY, fault_of
from service.store.engine.schema import migrate
from service.store.engine.tables import quotation_events, quotation_numbers, quotations, rates, registrations
from service.store.workshop.workshops import new_workshop
from service.workflows.quoting.quotations import recompute_all
from service.workflows.workshop import keys
from tests.store.own_databases import own_database_without_tables
from tests.support import builders, processes
from tests.support.processes import context, ended, started
from tests.workflows.owner import Owner

BACKUPS = 3
PROCESSES = 2
EACH = 3
"""Quotations that each of the four clients of a process issues."""


@dataclass(frozen=True, kw_only=True)
class Progress:
    """The workshop's revision, and the number of quotations issued."""

    revision: int
    issued: int

    def is_within(self, first: "Progress", last: "Progress") -> bool:
        return first.revision <= self.revision <= last.revision and first.issued <= self.issued <= last.issued


def progress(owner: Owner) -> Progress:
    with owner.database.reading() as connection:
        query = sa.select(sa.func.coalesce(sa.func.max(quotation_numbers.c.last), 0))
        issued = connection.execute(query.where(quotation_numbers.c.workshop_id == owner.workshop_id)).scalar_one()
        return Progress(revision=owner.workshop.revision, issued=issued)


def next_progress(owner: Owner, issued: int) -> Progress:
    """Wait until more quotations than `issued` have been issued; returns the progress then."""
    deadline = monotonic() + processes.SECONDS
    while (found := progress(owner)).issued <= issued:
        assert monotonic() < deadline
    return found


def change(owner: Owner, step: int) -> None:
    """Make one change, which is one revision: a price on odd steps, a new product on even ones."""
    if step % 2:
        owner.put_rate("materials/hdpe", "2026-01-01", builders.material_rate(f"1.{step:06}"))
    else:
        owner.put(f"products/p{step}", builders.product())


def insisting(owner: Owner, step: int) -> None:
    """Make a change, and retry it as long as the database is busy."""
    while True:
        try:
            return change(owner, step)
        except sa.exc.OperationalError as error:
            if fault_of(error) is not BUSY:
                raise


def assert_is_one_state(owner: Owner, beginning: int) -> None:
    """Assert that exactly the changes up to the revision are stored, and every quotation is whole and numbered."""
    steps = owner.workshop.revision - beginning
    ours = [each.c.workshop_id == owner.workshop_id for each in (registrations, rates, quotations, quotation_events)]
    with owner.database.reading() as connection:
        codes = set(connection.scalars(sa.select(registrations.c.code).where(ours[0], registrations.c.code.like("p%"))))
        hdpe = sa.select(rates.c.terms).where(ours[1], rates.c.code == "hdpe")
        price = connection.execute(hdpe).scalar_one()["price"]["amount"]
        numbers = list(connection.scalars(sa.select(quotations.c.number).where(ours[2], quotations.c.number > 0)))
        events = list(connection.scalars(sa.select(quotation_events.c.event).where(ours[3])))
    assert codes - {"press"} == {f"p{step}" for step in range(2, steps + 1, 2)}
    assert price == (f"1.{steps - 1 + steps % 2:06}" if steps else builders.material_rate()["price"]["amount"])
    assert sorted(numbers) == list(range(1, progress(owner).issued + 1))
    assert events.count("issued") == len(numbers)
    again = list(recompute_all(owner.workspace))
    assert len(again) >= len(numbers)
    assert all(each.agrees for each in again)


@contextmanager
def at_work(owner: Owner, key: str) -> Iterator[None]:
    """Two processes with four clients each issue quotations while a thread changes rates and products."""
    url = owner.database.engine.url.render_as_string(hide_password=False)
    begin, answers, over, faults = context.Event(), context.Queue(), Event(), []
    given = (url, key, builders.quotation(), EACH, begin, answers)
    others = [started(processes.quote_and_issue, *given) for _ in range(PROCESSES)]

    def go_on_changing() -> None:
        step = 0
        try:
            while not over.wait(0.02):
                step += 1
                insisting(owner, step)
        except Exception as error:
            faults.append(error)

    writer = Thread(target=go_on_changing)
    writer.start()
    begin.set()
    try:
        yield
        for _ in others:
            answers.get(timeout=processes.SECONDS)
    finally:
        over.set()
        writer.join()
    assert [ended(each) for each in others] == [0] * PROCESSES
    assert faults == []


def run(database: Database, *arguments: str) -> Result:
    """Run a command as an owner does; on PostgreSQL, also run the program that its message names."""
    url = database.engine.url
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DATABASE_URL", url.render_as_string(hide_password=False))
        result = CliRunner().invoke(cli.main, arguments)
    if url.get_backend_name() == "postgresql":
        assert result.exit_code == 1
        command = result.output.splitlines()[-1]
        done = subprocess.run(
            command,
            shell=True,
            env={**os.environ, "PGPASSWORD": url.password or ""},
            check=False,
            capture_output=True,
            text=True,
        )
        assert (done.returncode, done.stderr) == (0, ""), command
    else:
        assert result.exit_code == 0, result.output
    return result


@pytest.mark.nightly
def test_every_backup_is_one_state_with_all_that_was_acknowledged(bare_database: Database, tmp_path: Path) -> None:
    migrate(bare_database)
    made = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone="UTC")
    key = keys.create_workshop(bare_database, made, "first")
    owner = Owner(database=bare_database, workshop_id=made.workshop_id)
    builders.register_workshop(owner)
    beginning = owner.workshop.revision
    made_of = []

    with at_work(owner, key):
        for count in range(BACKUPS):
            before = next_progress(owner, count)
            run(bare_database, "backup", str(tmp_path / f"{count}.backup"))
            made_of.append((before, progress(owner)))

    assert made_of[0][0] != made_of[-1][1], "nothing was going on"
    for count, (before, after) in enumerate(made_of):
        with ExitStack() as places:
            restored = places.enter_context(own_database_without_tables(bare_database.engine.url, tmp_path))
            run(restored, "restore", str(tmp_path / f"{count}.backup"))
            found = Owner(database=restored, workshop_id=made.workshop_id)
            assert progress(found).is_within(before, after)
            assert_is_one_state(found, beginning)
