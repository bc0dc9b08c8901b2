"""How long a feed may take."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long a feed may take.

    Attributes:
        connect_seconds: to accept a connection, for each address of its host.
        read_seconds: between two pieces of its answer.
        whole_seconds: for everything, retries included. Only the resolver limits the look-up of the host.
        retries: most retries if it cannot be reached, is overloaded or fails.
        back_off_seconds: delay before the first retry; doubled for the next.
        retry_after_seconds: the longest Retry-After that is respected.
    """

    connect_seconds: float = 5
    read_seconds: float = 10
    whole_seconds: float = 30
    retries: int = 2
    back_off_seconds: float = 0.5
    retry_after_seconds: int = 5
