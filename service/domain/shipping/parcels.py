"""The ways to ship a piece: in each box, on each pallet, or without packaging."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.making.errors import MissingMeasuresError
from service.domain.making.products import Product
from service.domain.shipping.errors import DoesNotFitError
from service.domain.shipping.packing import Packing, Sides, packing, side_too_long, stacks
from service.domain.shipping.services import ShippingService
from service.domain.shipping.shipping_rates import ParcelMeasures
from service.domain.values.exact import ONE, ZERO, plain
from service.domain.values.units import Unit

_MEASURES = ("mass_kg", "length_mm", "width_mm", "height_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One of the identical pieces, or units, shipped."""

    mass_kg: Decimal
    sides: Sides
    unit: Unit = Unit.PIECE


def piece_of(code: str, product: Product) -> Piece:
    """The mass and the sides of a product.

    Raises:
        MissingMeasuresError: its mass or a side is not registered.
        DoesNotFitError: it is sold by the hour.
    """
    if product.unit is Unit.HOUR:
        raise DoesNotFitError(code, ["hours are not shipped; leave shipping out"])
    mass_kg, length, width, height = product.unit_mass_kg, product.length_mm, product.width_mm, product.height_mm
    if mass_kg is None or length is None or width is None or height is None:
        measures = dict(zip(_MEASURES, (mass_kg, length, width, height), strict=True))
        raise MissingMeasuresError(code, "shipping it", [name for name, each in measures.items() if each is None])
    return Piece(mass_kg=mass_kg, sides=(length, width, height), unit=product.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Container:
    """A box, a pallet, or nothing (without a code) for a piece without packaging.

    Attributes:
        name: for messages.
        is_pallet: whether the load adds to its height.
        inner: the room for pieces.
        outer: of a pallet without a load.
        mass_kg: of the packaging.
    """

    name: str
    code: str | None
    is_pallet: bool = False
    inner: Sides
    outer: Sides
    mass_kg: Decimal = ZERO
    max_load_kg: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to ship pieces.

    Attributes:
        part: the last piece in the parcel as a share of a whole one: it takes the room of a whole one, and weighs less.
        loads: packings from the lowest to the one with the most room; none if not one piece fits.
        room: the most pieces, by volume and by mass.
        refusal: why not one piece fits; else empty.
    """

    container: Container
    piece: Piece
    loads: tuple[Packing, ...]
    room: int
    refusal: str
    part: Decimal = ONE

    def load(self, pieces: int) -> Packing:
        """The lowest load with room for so many pieces."""
        return next(load for load in self.loads if load.pieces >= pieces)

    def parcel(self, pieces: int) -> ParcelMeasures:
        """The parcel with so many pieces, as a carrier measures and weighs it."""
        length, width, height = self.container.outer
        return ParcelMeasures(
            length_mm=length,
            width_mm=width,
            height_mm=height + self.load(pieces).height_mm if self.container.is_pallet else height,
            mass_kg=self.container.mass_kg + (pieces - ONE + self.part) * self.piece.mass_kg,
        )


def ways(piece: Piece, service: ShippingService, at_most: int, part: Decimal = ONE) -> Iterator[Way]:
    """The ways with every box and pallet of the service, and without packaging where it accepts that.

    Args:
        part: the last piece of a parcel as a share of a whole one.
    """
    for container in _containers(piece, service):
        refusal = _refusal(piece, container, part)
        most = at_most
        if container.max_load_kg is not None:
            most = min(at_most, int((container.max_load_kg + piece.mass_kg * (ONE - part)) // piece.mass_kg))
        loads: tuple[Packing, ...] = ()
        if not refusal:
            in_space = stacks if container.is_pallet else _packed
            loads = in_space(piece.sides, container.inner, most)
        yield Way(
            container=container,
            piece=piece,
            loads=loads,
            room=min(loads[-1].pieces, most) if loads else 0,
            refusal=refusal,
            part=part,
        )


def _packed(piece: Sides, space: Sides, at_most: int) -> tuple[Packing, ...]:
    return (packing(piece, space, at_most),)


def _containers(piece: Piece, service: ShippingService) -> Iterator[Container]:
    for box in service.boxes:
        yield Container(
            name=f"box '{box.code}'",
            code=box.code,
            inner=(box.inner_length_mm, box.inner_width_mm, box.inner_height_mm),
            outer=(box.length_mm, box.width_mm, box.height_mm),
            mass_kg=box.mass_kg,
            max_load_kg=box.max_load_kg,
        )
    for pallet in service.pallets:
        yield Container(
            name=f"pallet '{pallet.code}'",
            code=pallet.code,
            is_pallet=True,
            inner=(pallet.length_mm, pallet.width_mm, pallet.max_height_mm - pallet.height_mm),
            outer=(pallet.length_mm, pallet.width_mm, pallet.height_mm),
            mass_kg=pallet.mass_kg,
            max_load_kg=pallet.max_load_kg,
        )
    if service.takes_bare_pieces or not (service.boxes or service.pallets):
        yield Container(name="as it is", code=None, inner=piece.sides, outer=piece.sides)


def _refusal(piece: Piece, container: Container, part: Decimal) -> str:
    """Why not even one piece fits; empty if one does."""
    if too_long := side_too_long(piece.sides, container.inner):
        side, room = too_long
        return f"a side of {plain(side)} mm is longer than the {plain(room)} mm there is room for"
    if container.max_load_kg is not None and piece.mass_kg * part > container.max_load_kg:
        return f"{_weighed(piece, part)} is above the {plain(container.max_load_kg)} kg it may hold"
    return ""


def _weighed(piece: Piece, part: Decimal) -> str:
    """For instance "a piece of 8 kg", "0.5 m of 4 kg" or "0.5 kg"."""
    mass = f"{plain(piece.mass_kg * part)} kg"
    if piece.unit is Unit.KILOGRAM:
        return mass
    return f"{'a piece' if piece.unit is Unit.PIECE else f'{plain(part)} {piece.unit.several}'} of {mass}"
