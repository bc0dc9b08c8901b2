"""The audit trail: who changed which fact, rate, price or key, when; rows are only added."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

_REFUSE = "BEGIN SELECT RAISE(ABORT, 'changes are only ever added'); END"
_SQLITE = (
    f"CREATE TRIGGER changes_are_not_updated BEFORE UPDATE ON changes {_REFUSE}",
    f"CREATE TRIGGER changes_are_not_deleted BEFORE DELETE ON changes {_REFUSE}",
    # INSERT OR REPLACE deletes an existing row without firing triggers for deletions.
    f"""CREATE TRIGGER changes_are_not_replaced BEFORE INSERT ON changes WHEN EXISTS (
        SELECT 1 FROM changes
        WHERE workshop_id = NEW.workshop_id AND change_id = NEW.change_id AND subject = NEW.subject
    ) {_REFUSE}""",
)
_POSTGRESQL = (
    """CREATE FUNCTION refuse_to_touch_changes() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
        RAISE EXCEPTION 'changes are only ever added' USING ERRCODE = 'integrity_constraint_violation';
    END $$""",
    """CREATE TRIGGER changes_are_only_added BEFORE UPDATE OR DELETE OR TRUNCATE ON changes
        FOR EACH STATEMENT EXECUTE FUNCTION refuse_to_touch_changes()""",
)


def upgrade() -> None:
    ordered = sa.String(250).with_variant(sa.String(250, collation="C"), "postgresql")
    op.create_table(
        "changes",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("change_id", sa.Uuid(), nullable=False, comment="of the act: what changed in one transaction"),
        sa.Column("subject", ordered, nullable=False, comment="as its address under /v1 has it"),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False, comment="name of the key, or command line"),
        sa.Column("key_id", sa.Uuid(), comment="of the key; none for the command line"),
        sa.Column("action", sa.String(16), nullable=False),
        sa.Column("before", sa.Text(), comment="JSON: what held until then"),
        sa.Column("after", sa.Text(), comment="JSON: what has held since"),
        sa.PrimaryKeyConstraint("workshop_id", "change_id", "subject", name="pk_changes"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_changes_workshop_id"),
    )
    op.create_index("ix_changes_workshop_id_subject_change_id", "changes", ["workshop_id", "subject", "change_id"])
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(statement)


def downgrade() -> None:
    op.drop_table("changes")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION refuse_to_touch_changes()")
