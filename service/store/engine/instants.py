"""Instants, as either engine gives them."""

from datetime import UTC, datetime


def in_utc(at: datetime) -> datetime:
    """The instant in UTC: SQLite does not know a zone, and what is kept there is UTC."""
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def find_in_utc(at: datetime | None) -> datetime | None:
    """The same of what may not have been."""
    return None if at is None else in_utc(at)
