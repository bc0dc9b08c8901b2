"""Migrations: upgraded, compared with the tables, downgraded with rows in them; each runs completely or not at all."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.domain.quoting.life import AcceptanceRequest, Status
from service.domain.quoting.quotation import Remarks
from service.domain.selling.seller import Seller
from service.encoding import decoded
from service.feeds.reference_rates import Span
from service.store.engine.column_types import as_text
from service.store.engine.database import Database
from service.store.engine.schema import MIGRATIONS, migrate, schema_state
from service.store.engine.tables import (
    exchange_rates,
    listing_prices,
    metadata,
    quotations,
    rates,
    repricings,
    workshops,
)
from service.store.workshop.workshops import new_workshop
from service.workflows.currency import feed
from service.workflows.quoting import quotation_life
from service.workflows.workshop import keys, letterhead, retries
from tests.support.builders import listing, material, material_rate, product, register_workshop, seller
from tests.support.feed import FeedServer, day_of, feed_at, sending, with_rates, xml_of
from tests.workflows.owner import Owner


def alembic_config(database: Database, scripts: Path = MIGRATIONS) -> Config:
    config = Config()
    config.set_main_option("script_location", str(scripts))
    config.attributes["engine"] = database.engine
    return config


def revisions() -> list[str]:
    """Every revision, oldest first."""
    scripts = ScriptDirectory.from_config(alembic_config(Database("sqlite://")))
    return [script.revision for script in scripts.walk_revisions()][::-1]


def rows(database: Database) -> dict[str, list[Any]]:
    """All rows of all tables in the database."""
    with database.reading() as connection:
        names = sa.inspect(connection).get_table_names()
        return {name: sorted(map(repr, connection.execute(sa.text(f"SELECT * FROM {name}")).all())) for name in names}


def shape(database: Database) -> dict[str, Any]:
    """The columns, keys and indexes of every table."""
    with database.reading() as connection:
        found = sa.inspect(connection)
        return {
            name: (
                [(each["name"], str(each["type"]), each["nullable"]) for each in found.get_columns(name)],
                found.get_pk_constraint(name),
                sorted(found.get_foreign_keys(name), key=str),
                sorted(found.get_indexes(name), key=str),
            )
            for name in found.get_table_names()
        }


@pytest.fixture
def used_database(bare_database: Database, feed_server: FeedServer) -> Database:
    """A database with rows in every table."""
    migrate(bare_database)
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone="UTC")
    keys.create_workshop(bare_database, workshop, "tests")
    owner = Owner(database=bare_database, workshop_id=workshop.workshop_id)
    register_workshop(owner)
    owner.put_exchange_rates("2026-11-20", USD="1.25")
    for days_before, dollars in ((1, "1.07"), (0, "9")):
        feed_server.answer = sending(xml_of({day_of(days_before): with_rates(USD=dollars)}))
        feed.refresh_exchange_rates(owner.workspace, feed_at(feed_server.url), Span.LATEST)
    letterhead.put_seller(owner.workspace, decoded(seller(), Seller))
    owner.quote()
    owner.accepted(quoted_on=None)
    owner.put("listings/sheet-online", listing())
    owner.reprice()
    owner.put_rate("materials/hdpe", "2026-02-01", material_rate("2"))
    applied = owner.reprice()
    assert applied.repricing is not None
    owner.roll_back(applied.repricing.id)
    owner.put_rate("materials/hdpe", "2026-03-01", material_rate("3"))
    owner.reprice()
    owner.record()
    retries.claim(owner.workspace, "a key", "f")
    assert all(rows(bare_database).values())
    return bare_database


class TestUpAndDown:
    def test_all_migrations_together_create_the_tables_of_the_code(self, bare_database: Database) -> None:
        migrate(bare_database)

        with bare_database.reading() as connection:
            options = {"compare_type": True, "compare_server_default": True}
            differences = compare_metadata(MigrationContext.configure(connection, opts=options), metadata)
        assert differences == []

    def test_migrations_create_the_keys_and_constraints_of_the_code(self, bare_database: Database) -> None:
        migrate(bare_database)

        with bare_database.reading() as connection:
            found = sa.inspect(connection)
            for table in metadata.sorted_tables:
                key = found.get_pk_constraint(table.name)
                assert key["constrained_columns"] == [column.name for column in table.primary_key.columns]
                assert key["name"] == table.primary_key.name
                names = {each["name"] for each in found.get_foreign_keys(table.name)}
                assert names == {each.name for each in table.foreign_key_constraints}
                indexes = {each["name"]: each["column_names"] for each in found.get_indexes(table.name)}
                assert {each.name: [column.name for column in each.columns] for each in table.indexes} == {
                    name: columns for name, columns in indexes.items() if not name.startswith("uq_")
                }

    def test_every_table_and_its_key_begin_with_the_workshops_id(self, bare_database: Database) -> None:
        migrate(bare_database)

        with bare_database.reading() as connection:
            found = sa.inspect(connection)
            for name in set(found.get_table_names()) - {"alembic_version"}:
                assert found.get_columns(name)[0]["name"] == "workshop_id"
                assert found.get_pk_constraint(name)["constrained_columns"][0] == "workshop_id"

    def test_migrating_again_changes_nothing(self, used_database: Database) -> None:
        before = shape(used_database), rows(used_database)

        migrate(used_database)

        assert (shape(used_database), rows(used_database)) == before

    def test_each_goes_down_and_up_again_with_rows_in_the_tables(self, used_database: Database) -> None:
        whole = shape(used_database)
        config = alembic_config(used_database)

        for _ in revisions():
            command.downgrade(config, "-1")

        assert list(shape(used_database)) == ["alembic_version"]
        assert rows(used_database) == {"alembic_version": []}
        for revision in revisions():
            migrate(used_database, revision)
            assert schema_state(used_database).applied == revision
        assert shape(used_database) == whole

    def test_rates_from_before_repricings_count_as_changed_at_the_migration(self, used_database: Database) -> None:
        command.downgrade(alembic_config(used_database), "0002")
        before = rows(used_database)
        started = datetime.now(UTC) - timedelta(seconds=2)  # SQLite's clock has no fractions of a second

        migrate(used_database)

        for table in (rates, exchange_rates):
            with used_database.reading() as connection:
                found = connection.execute(sa.select(table.c.changed_at)).scalars().all()
            assert len(found) == len(before[table.name]) > 0
            assert all(started <= each.replace(tzinfo=UTC) <= datetime.now(UTC) for each in found)

    def test_quotations_are_drafts_where_there_was_no_other_state_and_can_be_issued_afterwards(
        self, used_database: Database
    ) -> None:
        command.downgrade(alembic_config(used_database), "0003")
        with used_database.reading() as connection:
            assert set(connection.execute(sa.select(quotations.c.status)).scalars()) == {"draft"}

        migrate(used_database)

        with used_database.reading() as connection:
            (workshop_id,) = connection.execute(sa.select(workshops.c.workshop_id)).scalars()
            found = connection.execute(sa.select(quotations.c.quotation_id).order_by(quotations.c.quotation_id))
            of_today = list(found.scalars())[-1]
        owner = Owner(database=used_database, workshop_id=workshop_id)
        issued = quotation_life.issue(owner.workspace, of_today)
        taken = quotation_life.accept(owner.workspace, of_today, AcceptanceRequest())
        assert (issued.number, taken.status) == ("Q000001", Status.ACCEPTED)

    def test_prices_of_before_they_had_a_day_have_that_of_their_application_in_the_workshop(
        self, used_database: Database
    ) -> None:
        """Of three repricings on 1, 2 and 3 March at home, the second was rolled back on the 5th."""
        with used_database.writing() as connection:
            connection.execute(workshops.update().values(time_zone="Pacific/Kiritimati"))
            ids = list(connection.execute(sa.select(repricings.c.repricing_id).order_by("repricing_id")).scalars())
            for day, each in enumerate(ids):
                values: dict[str, Any] = {"applied_at": datetime(2026, 2, 28, 11, tzinfo=UTC) + timedelta(days=day)}
                if day == 1:
                    values["rolled_back_at"] = datetime(2026, 3, 4, 11, tzinfo=UTC)
                connection.execute(repricings.update().where(repricings.c.repricing_id == each).values(**values))
        history = rows(used_database)["price_changes"]
        command.downgrade(alembic_config(used_database), "0007")
        assert len(rows(used_database)["listing_prices"]) == 1

        migrate(used_database)

        with used_database.reading() as connection:
            kept = connection.execute(sa.select(listing_prices).order_by("revision")).all()
            firsts = connection.execute(sa.select(repricings.c.valid_from).order_by("repricing_id")).scalars().all()
        first, second, third, back = date(2026, 3, 1), date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 5)
        assert firsts == [first, second, third]
        assert [each.repricing_id for each in kept] == ids
        assert [(each.valid_from, each.valid_until) for each in kept] == [(first, None), (second, back), (third, None)]
        assert [each.is_stale for each in kept[:2]] == [True, True]
        assert rows(used_database)["price_changes"] == history

    def test_prices_for_a_later_day_are_not_in_force_after_going_back(self, used_database: Database) -> None:
        with used_database.reading() as connection:
            (workshop_id,) = connection.execute(sa.select(workshops.c.workshop_id)).scalars()
            before = connection.execute(sa.select(listing_prices.c.repricing_id).order_by("revision")).scalars().all()
        owner = Owner(database=used_database, workshop_id=workshop_id)
        owner.put_rate("materials/hdpe", "2026-04-01", material_rate("4"))
        later = owner.reprice(as_of=owner.workshop.today() + timedelta(days=2))
        assert later.repricing is not None

        command.downgrade(alembic_config(used_database), "0007")

        with used_database.reading() as connection:
            kept = connection.execute(sa.text("SELECT * FROM listing_prices")).all()
            in_force = connection.execute(sa.select(sa.column("repricing_id", sa.Uuid())).select_from(listing_prices))
            assert len(kept) == 1
            assert list(in_force.scalars()) == [before[-1]]

    def test_prices_in_force_cannot_lose_their_change_and_repricing(self, used_database: Database) -> None:
        """A price in force refers to a recorded change, and a change to a recorded repricing."""
        orphans = (
            "UPDATE listing_prices SET listing = 'another'",
            "DELETE FROM price_changes",
            "DELETE FROM repricings",
            "UPDATE price_changes SET repricing_id = workshop_id",
        )
        for statement in orphans:
            with pytest.raises(sa.exc.IntegrityError), used_database.writing() as connection:
                connection.execute(sa.text(statement))

    def test_rows_from_before_storage_was_counted_are_counted_as_those_since(self, used_database: Database) -> None:
        command.downgrade(alembic_config(used_database), "0011")  # later tables are counted no longer
        counted = rows(used_database)["storage_use"]
        assert len(counted) == 1
        command.downgrade(alembic_config(used_database), "0010")

        migrate(used_database)

        assert rows(used_database)["storage_use"] == counted

    def test_downgrading_loses_the_audit_trail_and_upgrading_begins_a_new_one(self, used_database: Database) -> None:
        command.downgrade(alembic_config(used_database), "0005")
        migrate(used_database)
        assert rows(used_database)["changes"] == []

        with used_database.reading() as connection:
            (workshop_id,) = connection.execute(sa.select(workshops.c.workshop_id)).scalars()
        Owner(database=used_database, workshop_id=workshop_id).put("materials/other", material())

        assert len(rows(used_database)["changes"]) == 1


def test_each_workshop_of_before_gets_a_secret_of_its_own(bare_database: Database) -> None:
    migrate(bare_database)
    for name in ("Kiln Lane", "Quay Street"):
        workshop = new_workshop(name=name, address="", currency="EUR", locale="en", time_zone="UTC")
        keys.create_workshop(bare_database, workshop, "tests")
    command.downgrade(alembic_config(bare_database), "0009")

    migrate(bare_database)

    with bare_database.reading() as connection:
        found = connection.execute(sa.select(workshops.c.cursor_secret)).scalars().all()
    assert len(set(found)) == 2
    assert {len(bytes.fromhex(each)) for each in found} == {32}


TOUCHING = (
    "UPDATE changes SET after = NULL",
    "DELETE FROM changes",
    """INSERT INTO changes SELECT * FROM changes WHERE true
    ON CONFLICT (workshop_id, change_id, subject) DO UPDATE SET after = 'null'""",
)
"""Statements that would alter recorded changes, on any engine."""
IN_ITS_OWN_WORDS = {
    "sqlite": ("INSERT OR REPLACE INTO changes SELECT * FROM changes", "UPDATE OR REPLACE changes SET subject = 'one'"),
    "postgresql": ("TRUNCATE changes", "TRUNCATE workshops CASCADE", "UPDATE ONLY changes SET by = '' WHERE false"),
}


def test_the_audit_trail_is_only_ever_added_to(bare_database: Database) -> None:
    migrate(bare_database)
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone="UTC")
    keys.create_workshop(bare_database, workshop, "tests")
    before = rows(bare_database)
    assert len(before["changes"]) == 1

    for statement in (*TOUCHING, *IN_ITS_OWN_WORDS[bare_database.engine.dialect.name]):
        refused = pytest.raises(sa.exc.IntegrityError, match="changes are only ever added")
        with refused, bare_database.writing() as connection:
            connection.execute(sa.text(statement))

    assert rows(bare_database) == before


def test_remarks_stored_as_text_become_messages_with_their_facts(bare_database: Database) -> None:
    migrate(bare_database)
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone="UTC")
    keys.create_workshop(bare_database, workshop, "tests")
    owner = Owner(database=bare_database, workshop_id=workshop.workshop_id)
    register_workshop(owner)
    owner.put("products/sheet", product(mass_kg="27.5", declared_uses=["toy", "outdoor"]))
    quoted = owner.quote()

    command.downgrade(alembic_config(bare_database), "0006")
    with bare_database.reading() as connection:
        (text,) = connection.execute(sa.select(as_text(quotations.c.remarks))).scalars()
    migrate(bare_database)

    with bare_database.reading() as connection:
        remarks: Remarks = connection.execute(sa.select(quotations.c.remarks)).scalar_one()
    assert '"text":"One piece weighs 27.5 kg, too heavy' in text
    assert '"facts"' not in text
    assert remarks == quoted.remarks
    facts = {each.code: each.text.facts for each in remarks.cautions}
    assert facts["too-heavy-for-one-person"] == {"what": "One piece weighs", "mass": Decimal("27.5"), "limit": 25}
    assert facts["no-promise-of-fitness"] == {"uses": ("toy", "outdoor", "any other")}


NEXT = '''
"""Tried by a test."""

import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = "{newest}"


def upgrade() -> None:
    {upgrade}


def downgrade() -> None:
    pass
'''
SHELVES = 'op.create_table("shelves", sa.Column("shelf", sa.Integer(), primary_key=True))'


def try_next(database: Database, folder: Path, *statements: str) -> None:
    """Upgrade with one additional migration that consists of these statements."""
    scripts = copytree(MIGRATIONS, folder / "migrations")
    text = NEXT.format(newest=revisions()[-1], upgrade="\n    ".join(statements))
    (scripts / "versions" / "9999_next.py").write_text(text)
    command.upgrade(alembic_config(database, scripts), "head")


class TestAllOrNothing:
    def test_a_migration_that_fails_at_its_second_statement_leaves_the_database_as_it_was(
        self, used_database: Database, tmp_path: Path
    ) -> None:
        before = shape(used_database), rows(used_database)

        with pytest.raises(sa.exc.DatabaseError, match="nowhere"):
            try_next(used_database, tmp_path, SHELVES, 'op.execute("INSERT INTO nowhere VALUES (1)")')

        assert (shape(used_database), rows(used_database)) == before

    def test_a_first_migration_that_fails_leaves_nothing_behind(self, bare_database: Database, tmp_path: Path) -> None:
        with pytest.raises(sa.exc.DatabaseError, match="nowhere"):
            try_next(bare_database, tmp_path, 'op.execute("INSERT INTO nowhere VALUES (1)")')

        assert shape(bare_database) == {}

    def test_a_migration_that_would_leave_rows_without_what_they_refer_to_is_undone(
        self, used_database: Database, tmp_path: Path
    ) -> None:
        before = shape(used_database), rows(used_database)

        with pytest.raises((RuntimeError, sa.exc.IntegrityError), match=r"refer to missing rows|foreign key"):
            try_next(used_database, tmp_path, 'op.execute("DELETE FROM workshops")')

        assert (shape(used_database), rows(used_database)) == before

    def test_a_rebuilt_table_keeps_its_rows_and_those_that_refer_to_it(
        self, used_database: Database, tmp_path: Path
    ) -> None:
        before = rows(used_database)

        try_next(
            used_database,
            tmp_path,
            'with op.batch_alter_table("workshops") as workshops:',
            '    workshops.alter_column("address", nullable=True)',
        )

        after = rows(used_database)
        assert after.pop("alembic_version") == ["('next',)"]
        assert before.pop("alembic_version") == [f"('{revisions()[-1]}',)"]
        assert after == before

    def test_references_are_checked_again_after_a_migration(self, used_database: Database) -> None:
        """SQLite checks references only if it is told to, and a migration turns the check off while it runs."""
        workshop = new_workshop(name="Nobody", address="", currency="EUR", locale="en", time_zone="UTC")

        with pytest.raises(sa.exc.IntegrityError):
            keys.create_key(used_database, workshop.workshop_id, "nobody's", frozenset())


class TestTheScripts:
    def test_follow_each_other_in_one_line_numbered_in_order(self) -> None:
        scripts = ScriptDirectory.from_config(alembic_config(Database("sqlite://")))
        files = sorted(path.name for path in (MIGRATIONS / "versions").glob("*.py"))

        assert len(scripts.get_heads()) == 1
        assert [name.partition("_")[0] for name in files] == revisions()

    def test_import_nothing_from_the_service(self) -> None:
        for path in (MIGRATIONS / "versions").glob("*.py"):
            assert "service" not in path.read_text()
