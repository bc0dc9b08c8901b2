"""The state of a database's schema compared with the code's migrations."""

from pathlib import Path

import sqlalchemy as sa
from alembic.script import ScriptDirectory

from service.store.engine.database import Database
from service.store.engine.schema import (
    MIGRATIONS,
    SchemaState,
    find_schema_state,
    is_known_revision,
    migrate,
    newest_revision,
    schema_state,
)
from service.workflows.workshop.watching import Readiness, readiness

NEWEST = max(each.name for each in MIGRATIONS.joinpath("versions").glob("*.py"))[:4]


def test_the_numbers_of_the_files_are_the_revisions_in_their_order() -> None:
    chain = [each.revision for each in ScriptDirectory(str(MIGRATIONS)).walk_revisions()]

    assert [each.name[:4] for each in sorted(MIGRATIONS.joinpath("versions").glob("*.py"))] == chain[::-1]
    assert all(map(is_known_revision, chain))
    assert newest_revision() == chain[0]


class TestSchemaState:
    def test_of_an_empty_database_is_pending(self, bare_database: Database) -> None:
        state = schema_state(bare_database)

        assert state == SchemaState(applied=None, newest=NEWEST, is_known=True)
        assert not state.is_current
        assert readiness(bare_database) == Readiness(is_ready=False, database="reachable", migrations="pending")

    def test_of_a_migrated_one_is_current(self, bare_database: Database) -> None:
        migrate(bare_database)

        state = find_schema_state(bare_database)

        assert state == SchemaState(applied=NEWEST, newest=NEWEST, is_known=True)
        assert state.is_current
        assert readiness(bare_database) == Readiness(is_ready=True, database="reachable", migrations="current")

    def test_of_one_that_a_newer_version_has_migrated_is_not_known(self, bare_database: Database) -> None:
        migrate(bare_database)
        with bare_database.writing() as connection:
            connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))

        state = schema_state(bare_database)

        assert state == SchemaState(applied="9999", newest=NEWEST, is_known=False)
        assert not state.is_current
        assert readiness(bare_database) == Readiness(
            is_ready=False, database="reachable", migrations="newer than this code"
        )

    def test_of_one_that_does_not_answer_is_unknown(self, tmp_path: Path) -> None:
        nowhere = Database(f"sqlite:///{tmp_path / 'no folder' / 'pugmill.db'}")

        assert find_schema_state(nowhere) is None
        assert readiness(nowhere) == Readiness(is_ready=False, database="unreachable", migrations="unknown")
