"""What each workshop stores is counted: rows, and bytes of their documents."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

_ROW_BYTES = 200
_DOCUMENTS = {
    "registrations": ("facts",),
    "rates": ("terms",),
    "exchange_rates": ("rates",),
    "held_exchange_rates": ("rates", "jumps"),
    "quotations": ("request", "basis", "figures", "remarks", "letterhead", "acceptance", "promised"),
    "quotation_events": (),
    "repricings": ("request", "figures", "basis"),
    "price_changes": ("change", "bill"),
    "listing_prices": ("bill",),
    "idempotency_keys": ("headers", "body"),
    "changes": ("before", "after"),
}


def upgrade() -> None:
    op.create_table(
        "storage_use",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("row_count", sa.BigInteger(), nullable=False, comment="rows of the counted tables"),
        sa.Column("byte_count", sa.BigInteger(), nullable=False, comment="their documents, and something for each row"),
        sa.PrimaryKeyConstraint("workshop_id", name="pk_storage_use"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_storage_use_workshop_id"),
    )
    connection = op.get_bind()
    octets = "length(CAST({} AS BLOB))" if connection.dialect.name == "sqlite" else "octet_length({})"
    for workshop_id in connection.execute(sa.text("SELECT workshop_id FROM workshops")).scalars().all():
        rows = size = 0
        for table, documents in _DOCUMENTS.items():
            sizes = [f"coalesce({octets.format(name)}, 0)" for name in (f'"{each}"' for each in documents)]
            query = (
                f'SELECT count(*), sum({" + ".join([str(_ROW_BYTES), *sizes])}) FROM "{table}" WHERE workshop_id = :its'
            )
            counted = connection.execute(sa.text(query), {"its": workshop_id}).one()
            rows, size = rows + counted[0], size + int(counted[1] or 0)
        values = {"its": workshop_id, "rows": rows, "size": size}
        connection.execute(sa.text("INSERT INTO storage_use VALUES (:its, :rows, :size)"), values)


def downgrade() -> None:
    op.drop_table("storage_use")
