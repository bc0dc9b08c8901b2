"""What a workflow refuses because of what is, or is not, registered."""

from collections.abc import Sequence
from datetime import datetime

from service.domain.errors import PugmillError


class NotRegisteredError(PugmillError, LookupError):
    """Nothing of the workshop's has this address, or it has been retired."""

    def __init__(self, what: str, retired_at: datetime | None = None) -> None:
        retired = f"{what} was retired on {retired_at.date()}; PUT it again to bring it back" if retired_at else ""
        super().__init__(retired or f"there is no {what}")
        self.what = what


class InUseError(PugmillError):
    """Something cannot be retired while others name it."""

    def __init__(self, what: str, users: Sequence[str]) -> None:
        super().__init__(f"{what} is used by {', '.join(users)}; change or retire these first")
        self.what = what
        self.users = tuple(users)


class PreconditionFailedError(PugmillError):
    """What the caller last saw is not what is there now."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what} is not in the state your precondition names; read it again and decide anew")
        self.what = what
