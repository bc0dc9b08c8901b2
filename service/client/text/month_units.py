"""Quantities of a month in the units of its products, as text."""

from collections.abc import Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from service.client.text.figures import NOTHING, PIECE, counted, one_of, per_pieces, quantity, share

Month = Mapping[str, Any]
_DECIMALS = 3
"""Of quantities of a unit that is divided, and of a share in tenths of a percent."""


class Units:
    """Tells quantities of a month: numbers alone if all its products are counted in pieces."""

    def __init__(self, month: Month) -> None:
        self._unit = month["unit"]
        self.are_pieces = self._unit == PIECE

    def of_product(self, figure: str, unit: str) -> str:
        """A quantity of a product, such as 137.5 kg."""
        return figure if self.are_pieces else counted(figure, unit)

    def priced(self, price: str, base_quantity: int, unit: str) -> str:
        """A price for so many, such as 1.06 per kg."""
        if self.are_pieces:
            return per_pieces(price, base_quantity)
        return f"{price} per {one_of(unit) if base_quantity == 1 else counted(base_quantity, unit)}"

    def reached(self, volume: Month) -> str:
        """A volume that has to be sold."""
        return self.first_from(volume) if self._unit is None else self.of_product(volume["whole_pieces"], self._unit)

    def first_from(self, volume: Month) -> str:
        """The first quantity that reaches a volume; a part of the plan if its products are in different units."""
        return self._whole(volume, ROUND_CEILING)

    def last_within(self, volume: Month) -> str:
        """The last quantity within a volume."""
        return self._whole(volume, ROUND_FLOOR)

    def _whole(self, volume: Month, rounding: str) -> str:
        if self._unit is not None:
            return self.of_product(_rounded(volume["pieces"], self._decimals, rounding), self._unit)
        of_plan = volume["plan_share"]
        return NOTHING if of_plan is None else f"{share(_rounded(of_plan, _DECIMALS, rounding))} of the plan"

    @property
    def _decimals(self) -> int:
        return 0 if self.are_pieces else _DECIMALS


def in_unit(figure: str, unit: str) -> str:
    """A quantity of a material with its sign; of pieces the number alone."""
    return quantity(figure) if unit == PIECE else f"{quantity(figure)} {one_of(unit)}"


def _rounded(text: str, decimals: int, rounding: str) -> str:
    return f"{Decimal(text).quantize(Decimal(1).scaleb(-decimals), rounding):f}"
