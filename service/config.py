"""Settings, from the environment."""

import os
from dataclasses import dataclass

DEFAULT_DATABASE_URL = "sqlite:///pugmill.db"
DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8410
DEFAULT_WORKERS = 2
LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How a process is run.

    Attributes:
        database_url: an SQLAlchemy URL; SQLite or PostgreSQL.
        log_level: of the structured log.
        has_memory: whether what follows from a workshop's state is kept in memory between requests.
    """

    database_url: str = DEFAULT_DATABASE_URL
    log_level: str = "INFO"
    has_memory: bool = True


class SettingsError(ValueError):
    """A setting of the environment cannot be used."""


def settings_from_environment() -> Settings:
    """DATABASE_URL, PUGMILL_LOG_LEVEL, PUGMILL_MEMORY ("off" to read and compute everything anew).

    Raises:
        SettingsError: saying which setting is wrong, and what it may be.
    """
    level = os.environ.get("PUGMILL_LOG_LEVEL", "INFO").upper()
    if level not in LOG_LEVELS:
        raise SettingsError(f"PUGMILL_LOG_LEVEL is {level}; it may be {', '.join(LOG_LEVELS)}")
    return Settings(
        database_url=os.environ.get("DATABASE_URL", DEFAULT_DATABASE_URL),
        log_level=level,
        has_memory=os.environ.get("PUGMILL_MEMORY", "on") != "off",
    )
