"""The schema revision of the database, compared with the migrations of this code."""

from dataclasses import dataclass

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.beside import beside
from service.store.engine.database import Connection, Database
from service.store.engine.distribution import distribute, undistributed

MIGRATIONS = beside("migrations")


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


def _config(database: Database) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["engine"] = database.engine
    return config


def is_known_revision(revision: str) -> bool:
    """Whether this code can migrate from this revision."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    return revision in {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}


def newest_revision() -> str:
    """The newest revision this code knows."""
    newest = ScriptDirectory(str(MIGRATIONS)).get_current_head()
    assert newest is not None  # the first migration ships with the code
    return newest


def schema_state(database: Database) -> SchemaState:
    """The schema revision of the database, compared with the code's."""
    scripts = ScriptDirectory.from_config(_config(database))
    newest = scripts.get_current_head()
    assert newest is not None  # the first migration ships with the code
    with database.reading() as connection:
        applied = _applied_revision(connection)
        missing = undistributed(connection)
    known = {script.revision for script in scripts.walk_revisions()}
    is_known = applied is None or applied in known
    return SchemaState(applied=applied, newest=newest, is_known=is_known, undistributed=missing)


def _applied_revision(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


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
    command.upgrade(_config(database), revision)
    distribute(database)
