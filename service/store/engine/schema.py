"""The schema revision of the database, compared with the migrations of this code."""

from dataclasses import dataclass
from functools import cache

import sqlalchemy as sa

from service.beside import beside
from service.store.engine.database import Connection, Database
from service.store.engine.distribution import distribute, undistributed

MIGRATIONS = beside("migrations")
_VERSION = sa.table("alembic_version", sa.column("version_num"))
_DIGITS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemaState:
    """The state of a database's tables.

    Attributes:
        applied: revision of the database; None if it has no tables.
        newest: the newest revision that the code knows.
        is_known: whether the code can migrate from the revision of the database.
        undistributed: tables still to be distributed, if the database has several nodes.
    """

    applied: str | None
    newest: str
    is_known: bool
    undistributed: tuple[str, ...] = ()

    @property
    def is_migrated(self) -> bool:
        """Whether no migration is pending."""
        return self.applied == self.newest

    @property
    def is_current(self) -> bool:
        """Whether the tables may be used: nothing is left to migrate or to distribute."""
        return self.is_migrated and not self.undistributed

    @property
    def told(self) -> str:
        """The state in a word or two."""
        if self.is_current:
            return "current"
        if self.is_migrated:
            return "not distributed"
        return "pending" if self.is_known else "newer than this code"


@cache
def _revisions() -> tuple[str, ...]:
    """Every revision this code knows, oldest first: the number that its file begins with."""
    return tuple(sorted(each.name[:_DIGITS] for each in MIGRATIONS.joinpath("versions").glob("*.py")))


def is_known_revision(revision: str) -> bool:
    """Whether this code can migrate from this revision."""
    return revision in _revisions()


def newest_revision() -> str:
    """The newest revision this code knows."""
    return _revisions()[-1]


def schema_state(database: Database) -> SchemaState:
    """The schema revision of the database, compared with the code's."""
    with database.reading() as connection:
        applied = _applied_revision(connection)
        missing = undistributed(connection)
    is_known = applied is None or is_known_revision(applied)
    return SchemaState(applied=applied, newest=newest_revision(), is_known=is_known, undistributed=missing)


def _applied_revision(connection: Connection) -> str | None:
    if not sa.inspect(connection).has_table(_VERSION.name):
        return None
    found: str | None = connection.execute(sa.select(_VERSION)).scalar()
    return found


def is_answering(database: Database) -> bool:
    """Whether the database answers; asks it for its revision, which any of several nodes knows."""
    try:
        with database.reading() as connection:
            _applied_revision(connection)
    except sa.exc.SQLAlchemyError:
        return False
    return True


def find_schema_state(database: Database) -> SchemaState | None:
    """The schema state, or None if the database does not answer."""
    try:
        return schema_state(database)
    except sa.exc.SQLAlchemyError:
        return None


def migrate(database: Database, revision: str = "head") -> None:
    """Bring the tables up to a revision, and distribute new ones if the database has several nodes."""
    from alembic import command  # noqa: PLC0415  # takes a tenth of the time to start, and is seldom needed
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["engine"] = database.engine
    command.upgrade(config, revision)
    distribute(database)
