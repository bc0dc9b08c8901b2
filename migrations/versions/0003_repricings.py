"""Repricings with every price they changed, the prices in force, and when each rate was last changed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def _ordered(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "repricings",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("repricing_id", sa.Uuid(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("tag", sa.String(64), nullable=False, comment="of the state and the request it was computed from"),
        sa.Column("applied_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("applied_by", sa.Text(), nullable=False, comment="name of the key"),
        sa.Column("rolled_back_at", sa.DateTime(timezone=True)),
        sa.Column("rolled_back_by", sa.Text(), comment="name of the key"),
        sa.Column("request", sa.Text(), nullable=False, comment="JSON: what was asked for"),
        sa.Column("figures", sa.Text(), nullable=False, comment="JSON: what was found, as it was given"),
        sa.Column("basis", sa.Text(), nullable=False, comment="JSON: the rates it was computed with"),
        sa.PrimaryKeyConstraint("workshop_id", "repricing_id", name="pk_repricings"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_repricings_workshop_id"),
    )
    op.create_table(
        "price_changes",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("repricing_id", sa.Uuid(), nullable=False),
        sa.Column("listing", _ordered(64), nullable=False),
        sa.Column("decision", sa.String(16), nullable=False),
        sa.Column("previous_id", sa.Uuid(), comment="the repricing whose price was in force before"),
        sa.Column("price", sa.Text(), comment="an exact decimal; none where no price came into force"),
        sa.Column("currency", sa.String(3), comment="of the price"),
        sa.Column("unit_cost", sa.Text(), comment="an exact decimal, in the workshop's currency"),
        sa.Column("margin_share", sa.Text(), comment="as it is shown"),
        sa.Column("change", sa.Text(), nullable=False, comment="JSON: every figure as it was given"),
        sa.Column("bill", sa.Text(), comment="JSON: what the standard batch consumes, of what came into force"),
        sa.PrimaryKeyConstraint("workshop_id", "repricing_id", "listing", name="pk_price_changes"),
        sa.ForeignKeyConstraint(
            ["workshop_id", "repricing_id"],
            ["repricings.workshop_id", "repricings.repricing_id"],
            name="fk_price_changes_workshop_id_repricing_id",
        ),
    )
    op.create_index(
        "ix_price_changes_workshop_id_listing_repricing_id", "price_changes", ["workshop_id", "listing", "repricing_id"]
    )
    op.create_table(
        "listing_prices",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("listing", _ordered(64), nullable=False),
        sa.Column("repricing_id", sa.Uuid(), nullable=False),
        sa.Column(
            "is_stale", sa.Boolean(), nullable=False, comment="whether its bill may no longer be what a batch consumes"
        ),
        sa.Column(
            "bill", sa.Text(), comment="JSON: what a batch consumes, if found anew since the price came into force"
        ),
        sa.PrimaryKeyConstraint("workshop_id", "listing", name="pk_listing_prices"),
        sa.ForeignKeyConstraint(
            ["workshop_id", "repricing_id", "listing"],
            ["price_changes.workshop_id", "price_changes.repricing_id", "price_changes.listing"],
            name="fk_listing_prices_workshop_id_repricing_id_listing",
        ),
    )
    # A covering index: what depends on a thing is looked up for thousands of listings.
    op.create_index(
        "ix_uses_workshop_id_used_collection_used_code_collection_code",
        "uses",
        ["workshop_id", "used_collection", "used_code", "collection", "code"],
    )
    op.drop_index("ix_uses_workshop_id_used_collection_used_code", "uses")
    for table in ("rates", "exchange_rates"):
        changed_at = sa.Column(
            "changed_at", sa.DateTime(timezone=True), comment="when what is in force by this row was last changed"
        )
        op.add_column(table, changed_at)
        # When these rows last changed is unknown, so they count as changed now.
        op.execute(f"UPDATE {table} SET changed_at = CURRENT_TIMESTAMP")


def downgrade() -> None:
    op.create_index(
        "ix_uses_workshop_id_used_collection_used_code", "uses", ["workshop_id", "used_collection", "used_code"]
    )
    op.drop_index("ix_uses_workshop_id_used_collection_used_code_collection_code", "uses")
    for table in ("rates", "exchange_rates"):
        op.drop_column(table, "changed_at")
    for table in ("listing_prices", "price_changes", "repricings"):
        op.drop_table(table)
