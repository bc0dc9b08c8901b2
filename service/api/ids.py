"""Ids in addresses: of what the service numbers itself."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from service.api.problems import ProblemError
from service.domain.quotation_life import count_of


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


class QuotationAddress(AddressId):
    """A quotation's id or, once it is issued, its number."""

    @property
    def parameter(self) -> dict[str, Any]:
        """The parameter as the contract has it."""
        told = "The quotation's id or, once it is issued, its number."
        form = r"^(Q\d{6,18}|[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12})$"
        return {
            "name": f"{self.noun}_id",
            "in": "path",
            "required": True,
            "description": told,
            "schema": {"type": "string", "pattern": form},
        }

    def found(self, text: str) -> UUID | int:
        """The id, or the count in the number.

        Raises:
            ProblemError: 422, it has the form of neither.
        """
        count = count_of(text)
        return self.checked(text) if count is None else count
