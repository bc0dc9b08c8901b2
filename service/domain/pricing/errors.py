"""The error where no price meets the target."""

from decimal import Decimal

from service.domain.values.errors import PugmillError

_SHARES = ("margin", "markup")
"""Targets whose value is a share of one."""


class UnreachableTargetError(PugmillError, ValueError):
    """No price of the grid meets the target and the floor: fees, tax and shipping take too much of it.

    Attributes:
        target: for instance "margin".
        wanted: the value of the target.
        highest: the highest value that a price reaches; None for a fixed price, and where no price meets the floor.
        highest_margin_share: the highest margin that a price reaches; None where no price meets the floor.
        at_price: the price with the highest value; None where it is only approached.
    """

    def __init__(
        self,
        target: str,
        wanted: Decimal,
        highest: Decimal | None = None,
        highest_margin_share: Decimal | None = None,
        at_price: Decimal | None = None,
    ) -> None:
        limit = "no price with your steps and endings has it and keeps to the floor"
        if highest is not None and at_price is not None:
            limit = f"the most is {_told(target, highest)}, at a price of {at_price:f}"
        elif highest is not None:
            limit = f"fees are too high for it at any price; the most is just below {_told(target, highest)}"
        super().__init__(f"a {target.replace('_', ' ')} of {_told(target, wanted)} cannot be reached: {limit}")
        self.target = target
        self.wanted = wanted
        self.highest = highest
        self.highest_margin_share = highest_margin_share
        self.at_price = at_price


def _told(target: str, value: Decimal) -> str:
    """A margin or a markup as a percentage, an amount as it is."""
    return f"{(value * 100).normalize():f} %" if target in _SHARES else f"{value:f}"
