"""Workshops and keys, the register with its rates, exchange rates, quotations."""

from uuid import UUID

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _ordered(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def _workshop_id() -> sa.Column[UUID]:
    return sa.Column("workshop_id", sa.Uuid(), nullable=False)


def _of_workshop(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["workshop_id"], ["workshops.workshop_id"], name=f"fk_{table}_workshop_id")


def _of_registration(table: str, *columns: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["workshop_id", *columns],
        ["registrations.workshop_id", "registrations.collection", "registrations.code"],
        name=f"fk_{table}_workshop_id_{'_'.join(columns)}",
    )


def upgrade() -> None:
    op.create_table(
        "workshops",
        _workshop_id(),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False, comment="as it stands on a letter"),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("locale", sa.Text(), nullable=False, comment="a CLDR locale, for documents"),
        sa.Column("time_zone", sa.Text(), nullable=False, comment="IANA name; decides what today is"),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="rises with every change of facts or rates"),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("workshop_id", name="pk_workshops"),
    )
    op.create_table(
        "api_keys",
        _workshop_id(),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False, comment="SHA-256 of the key, hexadecimal"),
        sa.Column("scopes", sa.Text(), nullable=False, comment="separated by spaces"),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True)),
        sa.PrimaryKeyConstraint("workshop_id", "key_id", name="pk_api_keys"),
        _of_workshop("api_keys"),
        sa.UniqueConstraint("workshop_id", "digest", name="uq_api_keys_workshop_id_digest"),
    )
    op.create_table(
        "registrations",
        _workshop_id(),
        sa.Column("collection", _ordered(32), nullable=False),
        sa.Column("code", _ordered(64), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False, comment="JSON: the fields of the collection's domain class"),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="the workshop's when this row last changed"),
        sa.Column("retired_at", sa.DateTime(timezone=True)),
        sa.PrimaryKeyConstraint("workshop_id", "collection", "code", name="pk_registrations"),
        _of_workshop("registrations"),
    )
    op.create_table(
        "uses",
        _workshop_id(),
        sa.Column("collection", _ordered(32), nullable=False),
        sa.Column("code", _ordered(64), nullable=False),
        sa.Column("used_collection", _ordered(32), nullable=False),
        sa.Column("used_code", _ordered(64), nullable=False),
        sa.PrimaryKeyConstraint("workshop_id", "collection", "code", "used_collection", "used_code", name="pk_uses"),
        _of_workshop("uses"),
        _of_registration("uses", "collection", "code"),
        _of_registration("uses", "used_collection", "used_code"),
    )
    op.create_index(
        "ix_uses_workshop_id_used_collection_used_code", "uses", ["workshop_id", "used_collection", "used_code"]
    )
    op.create_table(
        "rates",
        _workshop_id(),
        sa.Column("collection", _ordered(32), nullable=False),
        sa.Column("code", _ordered(64), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("terms", sa.Text(), nullable=False, comment="JSON: the fields of the collection's rate class"),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="the workshop's when this row last changed"),
        sa.PrimaryKeyConstraint("workshop_id", "collection", "code", "valid_from", name="pk_rates"),
        _of_workshop("rates"),
        _of_registration("rates", "collection", "code"),
    )
    op.create_table(
        "exchange_rates",
        _workshop_id(),
        sa.Column("source", _ordered(200), nullable=False),
        sa.Column("published_on", sa.Date(), nullable=False),
        sa.Column("base", sa.String(3), nullable=False),
        sa.Column(
            "rates", sa.Text(), nullable=False, comment="JSON: units of each currency for one of the base, as published"
        ),
        sa.Column("revision", sa.BigInteger(), nullable=False, comment="the workshop's when this row last changed"),
        sa.PrimaryKeyConstraint("workshop_id", "source", "published_on", name="pk_exchange_rates"),
        _of_workshop("exchange_rates"),
    )
    op.create_table(
        "quotations",
        _workshop_id(),
        sa.Column("quotation_id", sa.Uuid(), nullable=False),
        sa.Column("status", sa.String(16), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("quoted_on", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False, comment="JSON: what was asked for"),
        sa.Column(
            "basis", sa.Text(), nullable=False, comment="JSON: bills of resources and rates it was computed from"
        ),
        sa.Column("figures", sa.Text(), nullable=False, comment="JSON: every figure as it was given"),
        sa.Column("remarks", sa.Text(), nullable=False, comment="JSON: warnings and cautions as they were given"),
        sa.PrimaryKeyConstraint("workshop_id", "quotation_id", name="pk_quotations"),
        _of_workshop("quotations"),
    )


def downgrade() -> None:
    for table in ("quotations", "exchange_rates", "rates", "uses", "registrations", "api_keys", "workshops"):
        op.drop_table(table)
