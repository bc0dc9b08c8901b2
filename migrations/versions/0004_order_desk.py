"""The life of a quotation: number, revisions, events, promised minutes."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_COLUMNS = (
    sa.Column("version", sa.BigInteger(), nullable=False, server_default="1", comment="rises with every event"),
    sa.Column("number", sa.BigInteger(), comment="given at issue, without a gap"),
    sa.Column(
        "revision", sa.Integer(), nullable=False, server_default="1", comment="1, and 1 more than what it revises"
    ),
    sa.Column("revises_id", sa.Uuid(), comment="the quotation that it takes the place of"),
    sa.Column("superseded_by_id", sa.Uuid(), comment="the issued quotation that has taken its place"),
    sa.Column("issued_on", sa.Date(), comment="in the workshop's time zone"),
    sa.Column("letterhead", sa.Text(), comment="JSON: who quotes, and in which locale"),
    sa.Column("acceptance", sa.Text(), comment="JSON: what the customer took, with its totals"),
    sa.Column("promised", sa.Text(), comment="JSON: minutes of each machine and grade, from acceptance to completion"),
)


def upgrade() -> None:
    for column in _COLUMNS:
        op.add_column("quotations", column)
    # Older quotations showed the workshop's current name and address; from now on, these are stored with them.
    connection = op.get_bind()
    for workshop_id, name, address, locale in connection.execute(
        sa.text("SELECT workshop_id, name, address, locale FROM workshops")
    ).all():
        letterhead = json.dumps({"seller": name, "seller_address": address, "locale": locale}, ensure_ascii=False)
        connection.execute(
            sa.text("UPDATE quotations SET letterhead = :letterhead WHERE workshop_id = :workshop_id"),
            {"letterhead": letterhead, "workshop_id": workshop_id},
        )
    op.create_index("ix_quotations_workshop_id_number", "quotations", ["workshop_id", "number"], unique=True)
    op.create_index(
        "ix_quotations_workshop_id_status_quotation_id", "quotations", ["workshop_id", "status", "quotation_id"]
    )
    op.create_table(
        "quotation_numbers",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False, comment="the number given last"),
        sa.PrimaryKeyConstraint("workshop_id", name="pk_quotation_numbers"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_quotation_numbers_workshop_id"),
    )
    op.create_table(
        "quotation_events",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("quotation_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.BigInteger(), nullable=False, comment="the quotation's version after it"),
        sa.Column("event", sa.String(16), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False, comment="name of the key"),
        sa.Column("note", sa.Text(), nullable=False, comment="what else is known of it"),
        sa.PrimaryKeyConstraint("workshop_id", "quotation_id", "sequence", name="pk_quotation_events"),
        sa.ForeignKeyConstraint(
            ["workshop_id", "quotation_id"],
            ["quotations.workshop_id", "quotations.quotation_id"],
            name="fk_quotation_events_workshop_id_quotation_id",
        ),
    )


def downgrade() -> None:
    # The older schema has only drafts, and after another upgrade other states would need a day of issue.
    op.execute("UPDATE quotations SET status = 'draft'")
    op.drop_table("quotation_events")
    op.drop_table("quotation_numbers")
    op.drop_index("ix_quotations_workshop_id_status_quotation_id", "quotations")
    op.drop_index("ix_quotations_workshop_id_number", "quotations")
    for column in reversed(_COLUMNS):
        op.drop_column("quotations", column.name)
