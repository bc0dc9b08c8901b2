"""A price of a listing is for 1, 12, 100 or 1000 pieces; until now each was for one."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    column = sa.Column(
        "base_quantity", sa.Integer(), nullable=False, server_default="1", comment="pieces that the price is for"
    )
    op.add_column("price_changes", column)


def downgrade() -> None:
    op.drop_column("price_changes", "base_quantity")
