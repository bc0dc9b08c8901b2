"""A backup while the service works, and a backup put in the place of the database."""

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
    """The database is no file: the server's own programs back it up and restore it."""

    def __init__(self) -> None:
        super().__init__("the database is no file")


class OccupiedError(FileExistsError):
    """Something is there that would be replaced."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is there already")
        self.path = path


@dataclass(frozen=True, slots=True, kw_only=True)
class Restoring:
    """A backup that has become the database.

    Attributes:
        place: of the database.
        holding: what is in it.
        replaced: where the database that it has replaced is, if there was one.
    """

    place: Path
    holding: Holding
    replaced: Path | None


def back_up(database: Database, path: Path, *, overwrites: bool) -> Holding:
    """One state of the database, as a file that is whole and has been looked through before it has its name.

    Raises:
        ServerDatabaseError: the database is on a server.
        OccupiedError: there is a file already, and it is not to be overwritten.
        UnusableFileError: the database is damaged, or none of this service.
    """
    place = _place_of(database)
    if path.exists() and (not overwrites or path.samefile(place)):
        raise OccupiedError(path)
    with whole_file(path) as beside:
        copy_into(place, beside)
        return holding_of(beside)


def restore(database: Database, path: Path, *, replaces: bool) -> Restoring:
    """Put a backup in the place of the database; all that can be wrong with it is found before that.

    Raises:
        ServerDatabaseError: the database is on a server.
        OccupiedError: there is a database already, and it is not to be replaced.
        UnusableFileError: the backup is not whole, or none of this service or of this version of it.
        InUseElsewhereError: the database is being used.
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
