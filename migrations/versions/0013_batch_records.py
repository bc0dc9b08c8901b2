"""What really happened: batches that were made, and what they are compared with."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"

_ROW_BYTES = 200
_DOCUMENTS = {"batch_records": ("record", "observations"), "record_facts": ("facts",)}


def _ordered() -> sa.String:
    """Text that every engine sorts by code point."""
    return sa.String(64).with_variant(sa.String(64, collation="C"), "postgresql")


def _count_no_longer(table: str, documents: tuple[str, ...]) -> None:
    """Take the rows of a table, and their documents, out of what each workshop stores."""
    connection = op.get_bind()
    octets = "length(CAST({} AS BLOB))" if connection.dialect.name == "sqlite" else "octet_length({})"
    size = " + ".join([str(_ROW_BYTES), *(octets.format(each) for each in documents)])
    query = f"SELECT workshop_id, count(*), sum({size}) FROM {table} GROUP BY workshop_id"
    less = (
        "UPDATE storage_use SET row_count = row_count - :rows, byte_count = byte_count - :size WHERE workshop_id = :its"
    )
    for its, rows, size_bytes in connection.execute(sa.text(query)).all():
        connection.execute(sa.text(less), {"its": its, "rows": rows, "size": int(size_bytes)})


def upgrade() -> None:
    op.create_table(
        "record_facts",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False, comment="SHA-256 of the facts, hexadecimal"),
        sa.Column(
            "facts",
            sa.Text(),
            nullable=False,
            comment="JSON: how a product was made on a day, and the rates of that day",
        ),
        sa.PrimaryKeyConstraint("workshop_id", "digest", name="pk_record_facts"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_record_facts_workshop_id"),
    )
    op.create_table(
        "batch_records",
        sa.Column("workshop_id", sa.Uuid(), nullable=False),
        sa.Column("code", _ordered(), nullable=False),
        sa.Column("product", _ordered(), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False, comment="JSON: what was counted"),
        sa.Column(
            "observations", sa.Text(), nullable=False, comment="JSON: what it says about the facts of its product"
        ),
        sa.Column("facts", sa.String(64), nullable=False, comment="digest of what it is compared with"),
        sa.Column("facts_of", sa.Date(), nullable=False, comment="the day of these facts"),
        sa.Column("quotation", sa.BigInteger(), comment="number of the one that it was made for"),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="the workshop's when this row last changed"),
        sa.PrimaryKeyConstraint("workshop_id", "code", name="pk_batch_records"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name="fk_batch_records_workshop_id"),
        sa.ForeignKeyConstraint(
            ["workshop_id", "facts"],
            ["record_facts.workshop_id", "record_facts.digest"],
            name="fk_batch_records_workshop_id_facts",
        ),
    )
    for columns in (("made_on", "code"), ("product", "made_on", "code"), ("facts",)):
        op.create_index(f"ix_batch_records_workshop_id_{'_'.join(columns)}", "batch_records", ["workshop_id", *columns])


def downgrade() -> None:
    for table, documents in _DOCUMENTS.items():
        _count_no_longer(table, documents)
        op.drop_table(table)
