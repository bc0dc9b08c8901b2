"""Finds the batches that were made for a quotation."""

from alembic import op

revision = "0014"
down_revision = "0013"

_NAME = "ix_batch_records_workshop_id_quotation"


def upgrade() -> None:
    op.create_index(_NAME, "batch_records", ["workshop_id", "quotation"])


def downgrade() -> None:
    op.drop_index(_NAME, "batch_records")
