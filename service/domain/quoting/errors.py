"""Errors of a quotation's state."""

from service.domain.values.errors import PugmillError


class QuotationStateError(PugmillError):
    """The state of the quotation does not allow this transition."""

    def __init__(self, what: str, state: str, wanted: str, remedy: str) -> None:
        super().__init__(f"{what} is {state} and cannot be {wanted}; {remedy}")
        self.state = state
