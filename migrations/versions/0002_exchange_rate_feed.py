"""Exchange rates held back for confirmation, and the validators of a feed's files."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def _ordered(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def _of_workshop(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name=f"fk_{table}_workshop_id")


def upgrade() -> None:
    op.create_table(
        "held_exchange_rates",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("source", _ordered(200), nullable=False),
        sa.Column("published_on", sa.Date(), nullable=False),
        sa.Column("base", sa.String(3), nullable=False),
        sa.Column(
            "rates", sa.Text(), nullable=False, comment="JSON: units of each currency for one of the base, as published"
        ),
        sa.Column(
            "jumps", sa.Text(), nullable=False, comment="JSON: the rates for which the day waits for confirmation"
        ),
        sa.PrimaryKeyConstraint("workshop_id", "source", "published_on", name="pk_held_exchange_rates"),
        _of_workshop("held_exchange_rates"),
    )
    op.create_table(
        "feed_files",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("address", _ordered(500), nullable=False),
        sa.Column(
            "conditions", sa.Text(), nullable=False, comment="JSON: header fields to ask for the file again with"
        ),
        sa.PrimaryKeyConstraint("workshop_id", "address", name="pk_feed_files"),
        _of_workshop("feed_files"),
    )


def downgrade() -> None:
    for table in ("feed_files", "held_exchange_rates"):
        op.drop_table(table)
