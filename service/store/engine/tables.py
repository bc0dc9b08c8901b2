"""The tables. The first column of each is the workshop's id, so that the data can be distributed by it."""

import json
import secrets
from decimal import Decimal
from typing import Any

import sqlalchemy as sa

from service.domain.listing.price_change import PriceChange, RepricingBasis, RepricingFigures
from service.domain.listing.repricing import RepricingRequest
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.quotation import Acceptance, QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.records.batch_record import BatchRecord
from service.domain.records.observation import Observation
from service.domain.reviewing.day_facts import DayFacts
from service.domain.selling.letterhead import Letterhead
from service.domain.selling.seller import Seller
from service.store.engine.column_types import (
    CONVENTION,
    ExactDecimal,
    Instant,
    document,
    ordered,
    published_day,
    registered_key,
    workshop_key,
)

metadata = sa.MetaData(naming_convention=CONVENTION)


def _table(name: str, *columns: sa.Column[Any] | sa.Constraint | sa.Index) -> sa.Table:
    """A table whose first column is the workshop that a row belongs to."""
    return sa.Table(name, metadata, workshop_key(), *columns)


workshops = sa.Table(
    "workshops",
    metadata,
    sa.Column("workshop_id", sa.Uuid, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("address", sa.Text, nullable=False, comment="as it stands on a letter"),
    sa.Column("currency", sa.String(3), nullable=False),
    sa.Column("locale", sa.Text, nullable=False, comment="a CLDR locale, for documents"),
    sa.Column("time_zone", sa.Text, nullable=False, comment="IANA name; decides what today is"),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="rises with every change of facts or rates"),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column(
        "cursor_secret",
        sa.String(64),
        nullable=False,
        default=lambda: secrets.token_hex(32),
        comment="hexadecimal; seals the cursors of lists, and stays in this database",
    ),
)

api_keys = _table(
    "api_keys",
    sa.Column("key_id", sa.Uuid, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("digest", sa.String(64), nullable=False, comment="SHA-256 of the key, hexadecimal"),
    sa.Column("scopes", sa.Text, nullable=False, comment="separated by spaces"),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("revoked_at", Instant),
    sa.UniqueConstraint("workshop_id", "digest"),
)

logos = _table(
    "logos",
    sa.Column("digest", sa.String(64), primary_key=True, comment="SHA-256 of the picture, hexadecimal"),
    document("picture", "in base64; kept for good, because quotations show it", str),
)

letterheads = _table(
    "letterheads",
    document("facts", "the workshop as its customers know it, without its logo", Seller),
    sa.Column("logo", sa.String(64), comment="digest of the logo; none if there is none"),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="the workshop's when this row last changed"),
    sa.ForeignKeyConstraint(["workshop_id", "logo"], ["logos.workshop_id", "logos.digest"]),
)

registrations = _table(
    "registrations",
    sa.Column("collection", ordered(32), primary_key=True),
    sa.Column("code", ordered(64), primary_key=True),
    document("facts", "the fields of the collection's domain class"),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="the workshop's when this row last changed"),
    sa.Column("retired_at", Instant),
)

uses = _table(
    "uses",
    sa.Column("collection", ordered(32), primary_key=True),
    sa.Column("code", ordered(64), primary_key=True),
    sa.Column("used_collection", ordered(32), primary_key=True),
    sa.Column("used_code", ordered(64), primary_key=True),
    registered_key(),
    registered_key("used_collection", "used_code"),
    # A covering index; otherwise SQLite chooses the primary key and reads every row of the workshop.
    sa.Index(None, "workshop_id", "used_collection", "used_code", "collection", "code"),
)

rates = _table(
    "rates",
    sa.Column("collection", ordered(32), primary_key=True),
    sa.Column("code", ordered(64), primary_key=True),
    sa.Column("valid_from", sa.Date, primary_key=True),
    document("terms", "the fields of the collection's rate class"),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="the workshop's when this row last changed"),
    sa.Column("changed_at", Instant, comment="when what is in force by this row was last changed"),
    registered_key(),
)


exchange_rates = sa.Table(
    "exchange_rates",
    metadata,
    *published_day(),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="the workshop's when this row last changed"),
    sa.Column("changed_at", Instant, comment="when what is in force by this row was last changed"),
)

held_exchange_rates = sa.Table(
    "held_exchange_rates",
    metadata,
    *published_day(),
    document("jumps", "the rates for which the day waits for confirmation", written=json.dumps),
)

feed_files = _table(
    "feed_files",
    sa.Column("address", ordered(500), primary_key=True),
    document("conditions", "header fields to ask for the file again with", written=json.dumps),
)

quotations = _table(
    "quotations",
    sa.Column("quotation_id", sa.Uuid, primary_key=True),
    sa.Column("status", sa.String(16), nullable=False),
    sa.Column("created_at", Instant, nullable=False),
    sa.Column("quoted_on", sa.Date, nullable=False),
    sa.Column("valid_until", sa.Date, nullable=False),
    document("request", "what was asked for", QuotationRequest),
    document("basis", "bills of resources and rates it was computed from", QuotationBasis),
    document("figures", "every figure as it was given", QuotationFigures),
    document("remarks", "warnings and cautions as they were given", Remarks),
    sa.Column("version", sa.BigInteger, nullable=False, server_default="1", comment="rises with every event"),
    sa.Column("number", sa.BigInteger, comment="given at issue, without a gap"),
    sa.Column("revision", sa.Integer, nullable=False, server_default="1", comment="1, and 1 more than what it revises"),
    sa.Column("revises_id", sa.Uuid, comment="the quotation that it takes the place of"),
    sa.Column("superseded_by_id", sa.Uuid, comment="the issued quotation that has taken its place"),
    sa.Column("issued_on", sa.Date, comment="in the workshop's time zone"),
    document("letterhead", "who quotes, and in which locale", Letterhead, nullable=True),
    document("acceptance", "what the customer took, with its totals", Acceptance, nullable=True),
    document(
        "promised",
        "minutes of each machine and grade, from acceptance to completion",
        dict[str, Decimal],
        nullable=True,
    ),
    sa.Index(None, "workshop_id", "number", unique=True),
    sa.Index(None, "workshop_id", "status", "quotation_id"),
)

quotation_numbers = _table(
    "quotation_numbers", sa.Column("last", sa.BigInteger, nullable=False, comment="the number given last")
)

quotation_events = sa.Table(
    "quotation_events",
    metadata,
    sa.Column("workshop_id", sa.Uuid, primary_key=True),
    sa.Column("quotation_id", sa.Uuid, primary_key=True),
    sa.Column("sequence", sa.BigInteger, primary_key=True, comment="the quotation's version after it"),
    sa.Column("event", sa.String(16), nullable=False),
    sa.Column("at", Instant, nullable=False),
    sa.Column("by", sa.Text, nullable=False, comment="name of the key"),
    sa.Column("note", sa.Text, nullable=False, comment="what else is known of it"),
    sa.ForeignKeyConstraint(["workshop_id", "quotation_id"], ["quotations.workshop_id", "quotations.quotation_id"]),
)

record_facts = _table(
    "record_facts",
    sa.Column("digest", sa.String(64), primary_key=True, comment="SHA-256 of the facts, hexadecimal"),
    document("facts", "how a product was made on a day, and the rates of that day", DayFacts),
)

batch_records = _table(
    "batch_records",
    sa.Column("code", ordered(64), primary_key=True),
    sa.Column("product", ordered(64), nullable=False),
    sa.Column("made_on", sa.Date, nullable=False),
    document("record", "what was counted", BatchRecord),
    document("observations", "what it says about the facts of its product", tuple[Observation, ...]),
    sa.Column("facts", sa.String(64), nullable=False, comment="digest of what it is compared with"),
    sa.Column("facts_of", sa.Date, nullable=False, comment="the day of these facts"),
    sa.Column("quotation", sa.BigInteger, comment="number of the one that it was made for"),
    sa.Column("revision", sa.BigInteger, nullable=False, comment="the workshop's when this row last changed"),
    sa.ForeignKeyConstraint(["workshop_id", "facts"], ["record_facts.workshop_id", "record_facts.digest"]),
    sa.Index(None, "workshop_id", "made_on", "code"),
    sa.Index(None, "workshop_id", "product", "made_on", "code"),
    sa.Index(None, "workshop_id", "facts"),
    sa.Index(None, "workshop_id", "quotation"),
)

repricings = _table(
    "repricings",
    sa.Column("repricing_id", sa.Uuid, primary_key=True),
    sa.Column("as_of", sa.Date, nullable=False),
    sa.Column("valid_from", sa.Date, nullable=False, comment="the first day of its prices, in the workshop's zone"),
    sa.Column("tag", sa.String(64), nullable=False, comment="of the state and the request it was computed from"),
    sa.Column("applied_at", Instant, nullable=False),
    sa.Column("applied_by", sa.Text, nullable=False, comment="name of the key"),
    sa.Column("rolled_back_at", Instant),
    sa.Column("rolled_back_by", sa.Text, comment="name of the key"),
    document("request", "what was asked for", RepricingRequest),
    document("figures", "what was found, as it was given", RepricingFigures),
    document("basis", "the rates it was computed with", RepricingBasis),
)

price_changes = sa.Table(
    "price_changes",
    metadata,
    sa.Column("workshop_id", sa.Uuid, primary_key=True),
    sa.Column("repricing_id", sa.Uuid, primary_key=True),
    sa.Column("listing", ordered(64), primary_key=True),
    sa.Column("decision", sa.String(16), nullable=False),
    sa.Column("previous_id", sa.Uuid, comment="the repricing whose price was in force before"),
    sa.Column("price", ExactDecimal, comment="an exact decimal; none where no price came into force"),
    sa.Column("currency", sa.String(3), comment="of the price"),
    sa.Column("base_quantity", sa.Integer, nullable=False, server_default="1", comment="pieces that the price is for"),
    sa.Column("unit_cost", ExactDecimal, comment="an exact decimal, in the workshop's currency"),
    sa.Column("margin_share", sa.Text, comment="as it is shown"),
    document("change", "every figure as it was given", PriceChange),
    sa.Column("bill", sa.Text, comment="JSON: what the standard batch consumes, of what came into force"),
    sa.ForeignKeyConstraint(["workshop_id", "repricing_id"], ["repricings.workshop_id", "repricings.repricing_id"]),
    sa.Index(None, "workshop_id", "listing", "repricing_id"),
)

listing_prices = sa.Table(
    "listing_prices",
    metadata,
    sa.Column("workshop_id", sa.Uuid, primary_key=True),
    sa.Column("listing", ordered(64), primary_key=True),
    sa.Column("repricing_id", sa.Uuid, primary_key=True),
    sa.Column("valid_from", sa.Date, nullable=False, comment="the first day of the price"),
    sa.Column("valid_until", sa.Date, comment="the first day on which it no longer counts, if it was rolled back"),
    sa.Column(
        "revision", sa.BigInteger, nullable=False, comment="the workshop's when it was set; of one day the last counts"
    ),
    sa.Column(
        "is_stale", sa.Boolean, nullable=False, comment="whether its bill may no longer be what a batch consumes"
    ),
    sa.Column("bill", sa.Text, comment="JSON: what a batch consumes, if found anew since the price came into force"),
    sa.ForeignKeyConstraint(
        ["workshop_id", "repricing_id", "listing"],
        ["price_changes.workshop_id", "price_changes.repricing_id", "price_changes.listing"],
    ),
    sa.Index(None, "workshop_id", "listing", "valid_from", "revision"),
)

idempotency_keys = _table(
    "idempotency_keys",
    sa.Column("key", ordered(255), primary_key=True, comment="as the client chose it"),
    sa.Column("fingerprint", sa.String(64), nullable=False, comment="SHA-256 of the request, hexadecimal"),
    sa.Column("claimed_at", Instant, nullable=False, comment="when it was last begun"),
    sa.Column("status", sa.Integer, comment="of the answer; none while it is being worked on"),
    document("headers", "header fields of the answer", nullable=True),
    sa.Column("body", sa.LargeBinary, comment="of the answer, unless it can be written again from the record"),
    sa.Index(None, "workshop_id", "claimed_at"),
)

changes = _table(
    "changes",
    sa.Column("change_id", sa.Uuid, primary_key=True, comment="of the act: what changed in one transaction"),
    sa.Column("subject", ordered(250), primary_key=True, comment="as its address under /v1 has it"),
    sa.Column("at", Instant, nullable=False),
    sa.Column("by", sa.Text, nullable=False, comment="name of the key, or command line"),
    sa.Column("key_id", sa.Uuid, comment="of the key; none for the command line"),
    sa.Column("action", sa.String(16), nullable=False),
    document("before", "what held until then", nullable=True),
    document("after", "what has held since", nullable=True),
    sa.Index(None, "workshop_id", "subject", "change_id"),
)
"""Rows are only added: triggers of its migration refuse updates and deletions."""

storage_use = _table(
    "storage_use",
    sa.Column("row_count", sa.BigInteger, nullable=False, comment="rows of the counted tables"),
    sa.Column("byte_count", sa.BigInteger, nullable=False, comment="their documents, and something for each row"),
)
