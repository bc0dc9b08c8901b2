"""Errors of a quotation's state."""

from collections.abc import Sequence

from service.domain.values.errors import PugmillError


class QuotationStateError(PugmillError):
    """The state of the quotation does not allow this transition."""

    def __init__(self, what: str, state: str, wanted: str, remedy: str) -> None:
        super().__init__(f"{what} is {state} and cannot be {wanted}; {remedy}")
        self.state = state


class BelowFloorError(PugmillError):
    """After its allowances the quotation is below the floor of a pricing policy.

    Attributes:
        told: a sentence for each batch that is.
    """

    def __init__(self, told: Sequence[str]) -> None:
        remedy = "Allow less, or issue it all the same with below_floor: accepted."
        super().__init__(" ".join((*told, remedy)))
        self.told = tuple(told)
