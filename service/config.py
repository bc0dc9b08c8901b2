"""Settings, from the environment."""

import os
import re
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

DEFAULT_DATABASE_URL = "sqlite:///pugmill.db"
DEFAULT_FEED_URL = "https://www.ecb.europa.eu/stats/eurofxref/"
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8410
DEFAULT_WORKERS = 2
_LOOPBACK = ("127.0.0.1", "::1", "localhost")
_MAX_FEED_URL = 400
DEFAULT_RATE_LIMIT = 6000
MAX_RATE_LIMIT = 1_000_000
DEFAULT_TIME_LIMIT = 30
MAX_TIME_LIMIT = 3600
DEFAULT_QUOTA_ROWS = 10_000_000
MAX_QUOTA_ROWS = 1_000_000_000
DEFAULT_QUOTA_MEGABYTES = 5000
MAX_QUOTA_MEGABYTES = 1_000_000
_PRINTED = re.compile(r"[\x21-\x7e]+")
LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of a process.

    Attributes:
        database_url: an SQLAlchemy URL; SQLite or PostgreSQL.
        has_memory: whether values of a workshop's state are remembered between requests.
        feed_url: address of the exchange rates' feed; ends with a slash.
        fonts: a directory with further font files for documents, if there is one.
        rate_limit: requests a minute for each key; None for no limit.
        time_limit: seconds that an answer may take; sixty times as many for long operations.
        quota_rows: the most rows that a workshop may store; None for no limit.
        quota_megabytes: the most megabytes that they may count for; None for no limit.
    """

    database_url: str = DEFAULT_DATABASE_URL
    log_level: str = "INFO"
    has_memory: bool = True
    feed_url: str = DEFAULT_FEED_URL
    fonts: Path | None = None
    rate_limit: int | None = DEFAULT_RATE_LIMIT
    time_limit: float = DEFAULT_TIME_LIMIT
    quota_rows: int | None = DEFAULT_QUOTA_ROWS
    quota_megabytes: int | None = DEFAULT_QUOTA_MEGABYTES


class SettingsError(ValueError):
    """A setting of the environment cannot be used."""


def settings_from_environment() -> Settings:
    """Settings from the environment, listed in service/serving/README.md; raises SettingsError if one is wrong."""
    level = os.environ.get("PUGMILL_LOG_LEVEL", "INFO").upper()
    if level not in LOG_LEVELS:
        raise SettingsError(f"PUGMILL_LOG_LEVEL is {level}; it may be {', '.join(LOG_LEVELS)}")
    return Settings(
        database_url=os.environ.get("DATABASE_URL", DEFAULT_DATABASE_URL),
        log_level=level,
        has_memory=os.environ.get("PUGMILL_MEMORY", "on") != "off",
        feed_url=_feed_url(os.environ.get("PUGMILL_FEED_URL", DEFAULT_FEED_URL)),
        fonts=_fonts(os.environ.get("PUGMILL_FONTS", "")),
        rate_limit=_whole_or_off("PUGMILL_RATE_LIMIT", DEFAULT_RATE_LIMIT, MAX_RATE_LIMIT),
        quota_rows=_whole_or_off("PUGMILL_QUOTA_ROWS", DEFAULT_QUOTA_ROWS, MAX_QUOTA_ROWS),
        quota_megabytes=_whole_or_off("PUGMILL_QUOTA_MEGABYTES", DEFAULT_QUOTA_MEGABYTES, MAX_QUOTA_MEGABYTES),
        time_limit=_whole("PUGMILL_TIME_LIMIT", DEFAULT_TIME_LIMIT, MAX_TIME_LIMIT),
    )


def _whole_or_off(name: str, default: int, most: int) -> int | None:
    return None if os.environ.get(name) == "off" else _whole(name, default, most, ", or off")


def _whole(name: str, default: int, most: int, otherwise: str = "") -> int:
    given = os.environ.get(name, str(default))
    if not re.fullmatch(r"[1-9][0-9]{0,9}", given) or int(given) > most:
        raise SettingsError(f"{name} is {given[:20]}; it may be 1 to {most}{otherwise}")
    return int(given)


def _fonts(directory: str) -> Path | None:
    if directory and not Path(directory).is_dir():
        raise SettingsError(f"PUGMILL_FONTS is {directory}, which is not a directory")
    return Path(directory) if directory else None


def _feed_url(url: str) -> str:
    """The address with a slash at its end; requires https, or http to this machine itself."""
    try:
        parts = urlsplit(url)
        is_safe = parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in _LOOPBACK)
        is_plain = not (parts.query or parts.fragment or "@" in parts.netloc) and bool(_PRINTED.fullmatch(url))
        is_usable = is_safe and is_plain and bool(parts.hostname) and parts.port != 0
    except ValueError:  # a port that is not a number
        is_usable = False
    if not is_usable or len(url) > _MAX_FEED_URL:
        raise SettingsError(
            "PUGMILL_FEED_URL must be an https address of at most "
            f"{_MAX_FEED_URL} characters, without user, query or fragment (http on this machine)"
        )
    return url.rstrip("/") + "/"
