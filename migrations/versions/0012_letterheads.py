"""What a workshop's papers say of it, and its logos."""

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"

_ROW_BYTES = 200
_PICTURE = "JSON: in base64; kept for good, because quotations show it"
_FACTS = "JSON: the workshop as its customers know it, without its logo"


def _workshop(name: str) -> tuple[sa.Column[UUID], sa.ForeignKeyConstraint]:
    key = sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name=f"fk_{name}_workshop_id")
    return sa.Column("workshop_id", sa.Uuid(), nullable=False), key


def _count_no_longer(table: str, document: str) -> None:
    """Take the rows of a table, and their documents, out of what each workshop stores."""
    connection = op.get_bind()
    octets = "length(CAST({} AS BLOB))" if connection.dialect.name == "sqlite" else "octet_length({})"
    query = (
        f"SELECT workshop_id, count(*), sum({_ROW_BYTES} + {octets.format(document)}) FROM {table} GROUP BY workshop_id"
    )
    less = (
        "UPDATE storage_use SET row_count = row_count - :rows, byte_count = byte_count - :size WHERE workshop_id = :its"
    )
    for its, rows, size in connection.execute(sa.text(query)).all():
        connection.execute(sa.text(less), {"its": its, "rows": rows, "size": int(size)})


def upgrade() -> None:
    its_id, its_workshop = _workshop("logos")
    op.create_table(
        "logos",
        its_id,
        sa.Column("digest", sa.String(64), nullable=False, comment="SHA-256 of the picture, hexadecimal"),
        sa.Column("picture", sa.Text(), nullable=False, comment=_PICTURE),
        sa.PrimaryKeyConstraint("workshop_id", "digest", name="pk_logos"),
        its_workshop,
    )
    its_id, its_workshop = _workshop("letterheads")
    op.create_table(
        "letterheads",
        its_id,
        sa.Column("facts", sa.Text(), nullable=False, comment=_FACTS),
        sa.Column("logo", sa.String(64), comment="digest of the logo; none if there is none"),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="the workshop's when this row last changed"),
        sa.PrimaryKeyConstraint("workshop_id", name="pk_letterheads"),
        its_workshop,
        sa.ForeignKeyConstraint(
            ["workshop_id", "logo"], ["logos.workshop_id", "logos.digest"], name="fk_letterheads_workshop_id_logo"
        ),
    )


def downgrade() -> None:
    _count_no_longer("letterheads", "facts")
    _count_no_longer("logos", "picture")
    op.drop_table("letterheads")
    op.drop_table("logos")
