"""A backup that is put in the place of a database by hand, without `pugmill restore`, is what the service then uses."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from service import cli
from tests.store.test_backups import held_by_another_process
from tests.support.running import Running, running

pytestmark = pytest.mark.every_engine


def run(*arguments: str | Path, place: Path) -> Result:
    address = {"DATABASE_URL": f"sqlite:///{place}"}
    return CliRunner().invoke(cli.main, [str(each) for each in arguments], env=address)


def add_workshop(place: Path, name: str) -> None:
    assert run("workshop", "create", "--name", name, "--currency", "EUR", place=place).exit_code == 0


def names(place: Path) -> list[str]:
    return [line.rpartition("  ")[2] for line in run("workshop", "list", place=place).stdout.splitlines()]


def by_copying(kept: Path, place: Path) -> None:
    shutil.copyfile(kept, place)


def by_renaming(kept: Path, place: Path) -> None:
    copy = place.with_suffix(".copy")
    shutil.copyfile(kept, copy)
    copy.replace(place)


PutInPlace = Callable[[Path, Path], None]
by_hand = pytest.mark.parametrize("put_in_place", [by_copying, by_renaming])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """The path of a database with one workshop."""
    place = tmp_path / "pugmill.db"
    assert run("migrate", place=place).exit_code == 0
    add_workshop(place, "Kiln Lane")
    return place


@pytest.fixture
def kept(place: Path, tmp_path: Path) -> Path:
    """A backup of it."""
    path = tmp_path / "kept.db"
    assert run("backup", path, place=place).exit_code == 0
    return path


def leave_a_log(place: Path, tmp_path: Path) -> bytes:
    """Change the database after the backup, and leave the change in the log, as a killed service does."""
    running_on = tmp_path / "running_on.db"
    shutil.copyfile(place, running_on)
    with closing(sqlite3.connect(running_on, isolation_level=None)) as writer:
        writer.execute("PRAGMA wal_autocheckpoint=0")
        writer.execute("UPDATE workshops SET name = 'Quay Street'")
        for name in ("", "-wal"):
            shutil.copyfile(f"{running_on}{name}", f"{place}{name}")
    log = Path(f"{place}-wal").read_bytes()
    assert b"Quay Street" in log
    return log


def test_a_log_that_a_killed_service_left_is_applied_to_its_own_database(place: Path, tmp_path: Path) -> None:
    leave_a_log(place, tmp_path)

    assert names(place) == ["Quay Street"]


@by_hand
def test_a_log_that_a_killed_service_left_is_set_aside_and_not_applied_to_a_backup(
    place: Path, kept: Path, tmp_path: Path, put_in_place: PutInPlace
) -> None:
    log = leave_a_log(place, tmp_path)

    put_in_place(kept, place)

    assert names(place) == ["Kiln Lane"]
    (aside,) = tmp_path.glob("pugmill.db.before-*-wal")
    assert aside.read_bytes() == log
    assert run("backup", tmp_path / "again.db", place=place).exit_code == 0


def test_a_backup_that_was_copied_over_a_database_in_use_is_not_touched_until_the_service_is_stopped(
    place: Path, kept: Path, tmp_path: Path
) -> None:
    leave_a_log(place, tmp_path)
    by_copying(kept, place)

    with held_by_another_process(place):
        refused = run("workshop", "list", place=place)

    assert refused.exit_code == 1
    assert "is still in use; stop the service first" in refused.output
    assert place.read_bytes() == kept.read_bytes()
    assert names(place) == ["Kiln Lane"]


def test_a_backup_copied_over_the_file_of_a_running_service_is_refused_unharmed_by_its_end_and_then_used(
    tmp_path: Path,
) -> None:
    place, kept = tmp_path / "running.db", tmp_path / "kept.db"
    with running(tmp_path) as service:
        register(service, "before")
        assert run("backup", kept, place=place).exit_code == 0
        register(service, "after")

        by_copying(kept, place)

        assert b"database-moved" in service.ask("GET", "/v1/labour-grades")
        assert service.stop() == 0
    assert place.read_bytes() == kept.read_bytes()
    assert names(place) == ["Kiln Lane"]
    with closing(sqlite3.connect(place)) as connection:
        assert connection.execute("SELECT code FROM registrations").fetchall() == [("before",)]
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def register(service: Running, code: str) -> None:
    body = b'{"name": "Grade"}'
    lines = ("Content-Type: application/json", f"Content-Length: {len(body)}")
    answer = service.ask("PUT", f"/v1/labour-grades/{code}", *lines, body=body)
    assert answer.startswith(b"HTTP/1.1 201"), answer


def test_the_files_of_a_database_are_their_owners_alone_whatever_the_mask(tmp_path: Path) -> None:
    place = tmp_path / "pugmill.db"
    mask = os.umask(0)
    try:
        assert run("migrate", place=place).exit_code == 0
        with closing(sqlite3.connect(place)) as reader:
            reader.execute("SELECT * FROM workshops")
            add_workshop(place, "Kiln Lane")
            modes = {each.name: oct(each.stat().st_mode & 0o777) for each in tmp_path.iterdir()}
        assert run("backup", tmp_path / "kept.db", place=place).exit_code == 0
        assert run("restore", tmp_path / "kept.db", place=tmp_path / "restored.db").exit_code == 0
    finally:
        os.umask(mask)

    for each in ("kept.db", "restored.db"):
        modes[each] = oct((tmp_path / each).stat().st_mode & 0o777)
    assert modes == dict.fromkeys(
        ("pugmill.db", "pugmill.db-wal", "pugmill.db-shm", "kept.db", "restored.db"), oct(0o600)
    )
