"""Requests under an Idempotency-Key, and their answers."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_table(
        "idempotency_keys",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column(
            "key",
            sa.String(255).with_variant(sa.String(255, collation="C"), "postgresql"),
            nullable=False,
            comment="as the client chose it",
        ),
        sa.Column("fingerprint", sa.String(64), nullable=False, comment="SHA-256 of the request, hexadecimal"),
        sa.Column("claimed_at", sa.DateTime(timezone=True), nullable=False, comment="when it was last begun"),
        sa.Column("status", sa.Integer(), comment="of the answer; none while it is being worked on"),
        sa.Column("headers", sa.Text(), comment="JSON: header fields of the answer"),
        sa.Column("body", sa.LargeBinary(), comment="of the answer, unless it can be written again from the record"),
        sa.PrimaryKeyConstraint("workshop_id", "key", name="pk_idempotency_keys"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_idempotency_keys_workshop_id"),
    )
    op.create_index("ix_idempotency_keys_workshop_id_claimed_at", "idempotency_keys", ["workshop_id", "claimed_at"])


def downgrade() -> None:
    op.drop_index("ix_idempotency_keys_workshop_id_claimed_at", "idempotency_keys")
    op.drop_table("idempotency_keys")
