"""Shipping services with their boxes and pallets."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Code, Length, Line, Name, NotNegative, Positive, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO

MAX_CONTAINERS = 20


@declared
class Box:
    """A box that pieces are packed into in any of six orientations.

    Attributes:
        code: which box it is; unique within the service.
        inner_length_mm: room along its length.
        inner_width_mm: room along its width.
        inner_height_mm: room along its height.
        length_mm: its length outside, as a carrier measures it.
        width_mm: its width outside.
        height_mm: its height outside, closed.
        mass_kg: of the empty box with its padding and tape.
        max_load_kg: the most it may hold; only the rates limit it if left out.
    """

    code: Code
    inner_length_mm: Positive
    inner_width_mm: Positive
    inner_height_mm: Positive
    length_mm: Positive
    width_mm: Positive
    height_mm: Positive
    mass_kg: NotNegative = ZERO
    max_load_kg: Positive | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        for side in ("length_mm", "width_mm", "height_mm"):
            inner: Decimal = getattr(self, f"inner_{side}")
            if getattr(self, side) < inner:
                yield InvalidValueError((side,), f"must not be less than inner_{side}, which is {inner:f}")


@declared
class Pallet:
    """A pallet that pieces are stacked on in layers, none beyond its edge.

    Attributes:
        code: which pallet it is; unique within the service.
        length_mm: of its base, for instance 1200.
        width_mm: of its base, for instance 800.
        height_mm: its own height without a load.
        max_height_mm: the greatest height loaded, its own included.
        mass_kg: of the empty pallet with its straps and film.
        max_load_kg: the most it may carry; only the rates limit it if left out.
    """

    code: Code
    length_mm: Positive
    width_mm: Positive
    height_mm: Positive
    max_height_mm: Positive
    mass_kg: NotNegative = ZERO
    max_load_kg: Positive | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.max_height_mm <= self.height_mm:
            yield InvalidValueError(
                ("max_height_mm",), f"must be more than the pallet's own height, which is {self.height_mm:f}"
            )


@declared
class ShippingService:
    """A way to ship, and what the workshop packs its parcels in.

    Attributes:
        name: what the workshop calls it.
        boxes: the boxes used with it.
        pallets: the pallets used with it.
        takes_bare_pieces: whether a piece may also go as it is, one piece a parcel. Where there is no box and no
            pallet, every piece does.
        note: anything worth knowing.
    """

    name: Name
    boxes: Annotated[tuple[Box, ...], Length(at_most=MAX_CONTAINERS)] = ()
    pallets: Annotated[tuple[Pallet, ...], Length(at_most=MAX_CONTAINERS)] = ()
    takes_bare_pieces: bool = False
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        seen: set[str] = set()
        codes = {"boxes": [box.code for box in self.boxes], "pallets": [pallet.code for pallet in self.pallets]}
        for name, of_kind in codes.items():
            for index, code in enumerate(of_kind):
                if code in seen:
                    yield InvalidValueError((name, index, "code"), "must be different from the others of the service")
                seen.add(code)
