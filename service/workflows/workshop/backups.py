"""Back up the database while the service runs, and restore it from a backup."""

from dataclasses import dataclass
from pathlib import Path

from service.store.engine.database import Database
from service.store.engine.schema import is_known_revision
from service.store.engine.sqlite_files import (
    Holding,
    UnusableFileError,
    copy_into,
    copy_whole,
    exchange_for,
    holding_of,
)
from service.whole_file import scratch_beside, whole_file


class ServerDatabaseError(ValueError):
    """The database is not a file: back it up and restore it with the server's own programs."""

    def __init__(self) -> None:
        super().__init__("the database is no file")


class OccupiedError(FileExistsError):
    """The file that would be replaced exists."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is there already")
        self.path = path


@dataclass(frozen=True, slots=True, kw_only=True)
class Restoring:
    """The result of a restore.

    Attributes:
        place: path of the database.
        holding: its contents.
        replaced: where the old database is now, if there was one.
    """

    place: Path
    holding: Holding
    replaced: Path | None


def back_up(database: Database, path: Path, *, overwrites: bool) -> Holding:
    """Write one state of the database to a file, which gets its name only when it is complete and checked.

    Raises:
        ServerDatabaseError: the database is on a server.
        OccupiedError: the file exists, and is not to be overwritten.
        UnusableFileError: the database is damaged, or not one of this service.
    """
    place = _place_of(database)
    if path.exists() and (not overwrites or path.samefile(place)):
        raise OccupiedError(path)
    with whole_file(path) as beside:
        copy_into(place, beside)
        return holding_of(beside)


def restore(database: Database, path: Path, *, replaces: bool) -> Restoring:
    """Put a backup in the place of the database, after checking it.

    Raises:
        ServerDatabaseError: the database is on a server.
        OccupiedError: a database exists, and is not to be replaced.
        UnusableFileError: the backup is incomplete, or not one of this service, or of a newer version.
        InUseElsewhereError: the database is in use.
    """
    place = _place_of(database)
    holding_of(path)
    if place.exists() and (not replaces or path.samefile(place)):
        raise OccupiedError(place)
    with scratch_beside(place) as beside:
        copy_whole(path, beside)
        holding = holding_of(beside)
        if not is_known_revision(holding.revision):
            raise UnusableFileError(path, f"its revision, {holding.revision}, is of a newer version; install that")
        return Restoring(place=place, holding=holding, replaced=exchange_for(beside, place))


def _place_of(database: Database) -> Path:
    if database.file is None:
        raise ServerDatabaseError
    return database.file
