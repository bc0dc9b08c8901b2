"""Ids in addresses: of what the service numbers itself."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from service.api.problems import ProblemError


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressId:
    """The id of one kind of thing, as it stands in addresses.

    Attributes:
        noun: what has it, for instance "quotation".
    """

    noun: str

    @property
    def parameter(self) -> dict[str, Any]:
        """The parameter as the contract has it."""
        return {
            "name": f"{self.noun}_id",
            "in": "path",
            "required": True,
            "description": f"The {self.noun}'s id.",
            "schema": {"type": "string", "format": "uuid"},
        }

    def checked(self, text: str) -> UUID:
        """The id.

        Raises:
            ProblemError: 422, it has not the form of one.
        """
        try:
            found = UUID(text)
            if str(found) != text.lower():
                raise ValueError(text)
            return found
        except ValueError:
            detail = f"is not a {self.noun}'s id"
            raise ProblemError.of_errors([{"parameter": f"{self.noun}_id", "detail": detail}]) from None
