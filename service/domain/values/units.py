"""Units in which things are bought, made and sold, and the quantities counted in them."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds
from service.domain.values.exact import ONE, whole_down, whole_up
from service.domain.values.kinds import Kind
from service.domain.values.message import Message

QUANTITY_SOLD_DECIMALS = 3
MOST_SOLD = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Decimals:
    """The most decimals that a number may have.

    Attributes:
        at_most: trailing zeros are not counted.
    """

    at_most: int

    def __call__(self, value: Decimal) -> str | None:
        return None if value == round(value, self.at_most) else f"must have at most {self.at_most} decimals"


SoldQuantity = Annotated[Decimal, Bounds(above=0, at_most=MOST_SOLD), Decimals(QUANTITY_SOLD_DECIMALS)]
"""A quantity made or sold; the unit may ask for more, for instance that it is whole."""
SoldQuantityOrNone = Annotated[Decimal, Bounds(at_least=0, at_most=MOST_SOLD), Decimals(QUANTITY_SOLD_DECIMALS)]
"""The same, or nothing of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitTraits:
    """What is known of a unit.

    Attributes:
        code: its common code in UN/ECE Recommendation No. 20.
        decimals: the most that a quantity has.
        several: its sign, or else its plural; the name of the unit if left out.
    """

    code: str
    decimals: int = QUANTITY_SOLD_DECIMALS
    several: str = ""


class Unit(Kind):
    """The unit in which something is bought, made or sold."""

    traits: UnitTraits

    PIECE = ("piece", UnitTraits(code="H87", decimals=0, several="pieces"))
    KILOGRAM = ("kg", UnitTraits(code="KGM"))
    LITRE = ("l", UnitTraits(code="LTR"))
    METRE = ("m", UnitTraits(code="MTR"))
    SQUARE_METRE = ("m2", UnitTraits(code="MTK", several="m²"))
    CUBIC_METRE = ("m3", UnitTraits(code="MTQ", several="m³"))
    HOUR = ("hour", UnitTraits(code="HUR", several="hours"))

    @property
    def is_divided(self) -> bool:
        """Whether there are parts of it: half a kilogram, but no half piece."""
        return self.traits.decimals > 0

    @property
    def several(self) -> str:
        """What stands behind a number of them in an English sentence."""
        return self.traits.several or self.value

    @property
    def sign(self) -> str:
        """Its sign in every language; none for pieces."""
        return {Unit.PIECE: "", Unit.HOUR: "h"}.get(self, self.several)

    @property
    def least(self) -> Decimal:
        """The smallest quantity of it, in whose multiples it is made and sold."""
        return Decimal(1).scaleb(-self.traits.decimals)

    def first_from(self, quantity: Decimal) -> Decimal:
        """The first quantity of the unit that is no less: 2 pieces for 1.2, and 1.235 kg for 1.2345."""
        return whole_up(quantity / self.least) * self.least

    def last_within(self, quantity: Decimal) -> Decimal:
        """The last quantity of the unit that is no more."""
        return whole_down(quantity / self.least) * self.least

    def problem(self, quantity: Decimal) -> str | None:
        """What is wrong with a quantity in this unit."""
        decimals = self.traits.decimals
        if quantity == round(quantity, decimals):
            return None
        return f"must have at most {decimals} decimals" if decimals else "must be whole: pieces are not divided"


_SIGNS: Mapping[str, str] = {each.value: each.sign for each in Unit}


def several_of(unit: str, number: Decimal | None = None) -> str:
    """What stands behind a number of units in a sentence."""
    return one_of(unit) if unit != Unit.PIECE or number == ONE else Message("pieces")


def one_of(unit: str) -> str:
    """What stands behind one unit in a sentence."""
    return Message("piece") if unit == Unit.PIECE else _SIGNS.get(unit, unit)
