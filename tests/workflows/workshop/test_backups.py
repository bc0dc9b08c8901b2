"""Backing up and restoring a database, without the command line."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from service.store.engine.database import Database
from service.store.engine.schema import migrate, newest_revision
from service.store.engine.sqlite_files import UnusableFileError
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from service.workflows.workshop.backups import OccupiedError, ServerDatabaseError, back_up, restore


def at(place: Path) -> Database:
    """A database at this path, not opened yet."""
    return Database(f"sqlite:///{place}")


@contextmanager
def opened(place: Path) -> Iterator[Database]:
    database = at(place)
    try:
        yield database
    finally:
        database.dispose()


def add_workshop(place: Path, name: str) -> None:
    workshop = new_workshop(name=name, address="", currency="EUR", locale="en_IE", time_zone="UTC")
    with opened(place) as database:
        keys.create_workshop(database, workshop, "tests")


def names(place: Path) -> list[str]:
    with closing(sqlite3.connect(place)) as connection:
        return [name for (name,) in connection.execute("SELECT name FROM workshops ORDER BY name")]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """The path of a workshop's database that is not in use."""
    place = tmp_path / "pugmill.db"
    with opened(place) as database:
        migrate(database)
    add_workshop(place, "Kiln Lane")
    return place


@pytest.fixture
def kept(place: Path, tmp_path: Path) -> Path:
    """The path of a backup; another workshop was added to the database afterwards."""
    path = tmp_path / "kept.db"
    back_up(at(place), path, overwrites=False)
    add_workshop(place, "Quay Street")
    return path


class TestABackup:
    def test_reports_what_it_contains(self, place: Path, tmp_path: Path) -> None:
        path = tmp_path / "another.db"

        holding = back_up(at(place), path, overwrites=False)

        assert (holding.workshops, holding.revision) == (1, newest_revision())
        assert holding.size_bytes == path.stat().st_size
        assert names(path) == ["Kiln Lane"]

    def test_overwrites_another_only_when_told_to(self, kept: Path, place: Path) -> None:
        with pytest.raises(OccupiedError):
            back_up(at(place), kept, overwrites=False)
        assert names(kept) == ["Kiln Lane"]

        back_up(at(place), kept, overwrites=True)
        assert names(kept) == ["Kiln Lane", "Quay Street"]

    def test_never_overwrites_the_database_itself(self, place: Path) -> None:
        with pytest.raises(OccupiedError):
            back_up(at(place), place, overwrites=True)

        assert names(place) == ["Kiln Lane"]


class TestRestoring:
    def test_without_a_database_creates_it(self, kept: Path, tmp_path: Path) -> None:
        elsewhere = tmp_path / "elsewhere.db"

        done = restore(at(elsewhere), kept, replaces=False)

        assert (done.place, done.replaced, done.holding.workshops) == (elsewhere, None, 1)
        assert names(elsewhere) == ["Kiln Lane"]

    def test_replaces_a_database_only_when_told_to_and_keeps_it(self, kept: Path, place: Path) -> None:
        with pytest.raises(OccupiedError):
            restore(at(place), kept, replaces=False)
        assert names(place) == ["Kiln Lane", "Quay Street"]

        done = restore(at(place), kept, replaces=True)
        assert names(place) == ["Kiln Lane"]
        assert done.replaced is not None
        assert names(done.replaced) == ["Kiln Lane", "Quay Street"]

    def test_of_the_database_itself_is_refused(self, place: Path) -> None:
        with pytest.raises(OccupiedError):
            restore(at(place), place, replaces=True)

        assert names(place) == ["Kiln Lane"]

    def test_a_backup_of_a_newer_version_is_refused_and_touches_nothing(self, kept: Path, place: Path) -> None:
        with closing(sqlite3.connect(kept)) as connection, connection:
            connection.execute("UPDATE alembic_version SET version_num = '9999'")

        with pytest.raises(UnusableFileError, match="its revision, 9999, is of a newer version"):
            restore(at(place), kept, replaces=True)

        assert names(place) == ["Kiln Lane", "Quay Street"]


def test_a_database_on_a_server_is_backed_up_and_restored_by_the_server(kept: Path) -> None:
    database = Database("postgresql+psycopg://owner@localhost/pugmill")

    with pytest.raises(ServerDatabaseError):
        back_up(database, kept, overwrites=True)
    with pytest.raises(ServerDatabaseError):
        restore(database, kept, replaces=True)

    assert names(kept) == ["Kiln Lane"]
