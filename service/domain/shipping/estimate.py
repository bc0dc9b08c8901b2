"""Shipping estimates: the cheapest parcels for some pieces, given boxes, pallets and weight classes."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.making.products import Product
from service.domain.safety.cautions import Caution
from service.domain.safety.hazards import shipping_cautions
from service.domain.shipping.errors import DoesNotFitError
from service.domain.shipping.packing import Packing
from service.domain.shipping.parcels import Way, piece_of, ways
from service.domain.shipping.services import ShippingService
from service.domain.shipping.shipping_rates import ParcelLimits, ParcelMeasures, ShippingRate, WeightClass, narrowed
from service.domain.solving.cheapest_cover import Offer, cheapest_cover, undominated
from service.domain.values.errors import TooComplexError
from service.domain.values.exact import ONE, ZERO, exactly, whole_up
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit

MAX_PIECES = 100_000
"""The most pieces in one estimate."""
MAX_WAYS = 120
"""The most combinations of a product with a box or pallet in one estimate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcels:
    """Identical parcels of one product, unrounded; `StatedParcels` has the meaning of the figures.

    Attributes:
        is_pallet: whether they are loaded pallets, which nobody lifts by hand.
        pieces: the places that are taken in each: a part of a unit has the room of a whole one.
        quantity: what is in each, in the product's unit; None if that is the piece.
        packing: of each parcel; it may have room for more pieces.
        measures: of each parcel, outside, with its packaging.
    """

    product: str
    count: int
    container: str | None
    is_pallet: bool
    pieces: int
    packing: Packing
    measures: ParcelMeasures
    volumetric_kg: Decimal | None
    billable_kg: Decimal
    weight_class: WeightClass
    reason: str
    limits: ParcelLimits
    unit: Unit = Unit.PIECE
    quantity: Decimal | None = None

    @property
    def carriage(self) -> Decimal:
        """The price of all of them without the fuel surcharge:  count × price of the class."""
        return self.count * self.weight_class.price.amount


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingEstimate:
    """The cost of shipping some pieces, unrounded; each piece is in one parcel, and no parcel holds two products."""

    parcels: tuple[Parcels, ...]
    currency: str
    fuel_surcharge_share: Decimal

    @property
    @exactly
    def price(self) -> Money:
        """Carriage of all parcels × (1 + fuel surcharge)."""
        carriage = sum((each.carriage for each in self.parcels), ZERO)
        return in_currency(carriage * (ONE + self.fuel_surcharge_share), self.currency)

    @property
    @exactly
    def mass_kg(self) -> Decimal:
        """The shipping weight: all parcels with their packaging."""
        return sum((each.count * each.measures.mass_kg for each in self.parcels), ZERO)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions for parcels that are too heavy for one person, and for loaded pallets."""
        return shipping_cautions(
            (each.measures.mass_kg for each in self.parcels if not each.is_pallet),
            (each.measures.mass_kg for each in self.parcels if each.is_pallet),
        )


@exactly
def shipping_estimate(
    pieces: Iterable[tuple[str, Product, Decimal]], service: ShippingService, terms: ShippingRate, zone: str
) -> ShippingEstimate:
    """The cheapest parcels for some pieces (code, facts and number of each product), each product packed by itself.

    What is sold by another unit is packed in whole units, each with the sides and the mass of one; a part of one takes
    the room of a whole one, and weighs what it weighs.

    No other division into parcels costs less, unless the packing misses room that exists (see `packing`); of equally
    cheap ones it has the fewest parcels.

    Raises:
        UnknownZoneError: the service has no such zone.
        MissingMeasuresError: a product has no mass or lacks a side.
        DoesNotFitError: no parcel that the service accepts can hold a product, or it is sold by the hour.
        TooComplexError: too many pieces, or products with boxes and pallets.
    """
    classes = terms.classes_of(zone)
    wanted = list(pieces)
    if sum(whole_up(quantity) for _, _, quantity in wanted) > MAX_PIECES:
        raise TooComplexError("pieces in one estimate", MAX_PIECES, remedy="ask for fewer at a time")
    if len(wanted) * (len(service.boxes) + len(service.pallets)) > MAX_WAYS:
        what = "boxes and pallets to try for all products of one estimate"
        raise TooComplexError(what, MAX_WAYS, remedy="ask for fewer products at a time")
    carriage = _Carriage(terms, classes)
    parcels = [
        each for code, product, quantity in wanted for each in _shipped(code, product, quantity, service, carriage)
    ]
    return ShippingEstimate(
        parcels=tuple(parcels), currency=terms.currency, fuel_surcharge_share=terms.fuel_surcharge_share
    )


@dataclass(frozen=True, slots=True)
class _Carriage:
    """The terms of a service, and the weight classes of one zone."""

    terms: ShippingRate
    classes: tuple[WeightClass, ...]

    def offers(self, way: Way) -> Iterator[tuple[int, WeightClass]]:
        """The most pieces that each usable weight class takes packed this way, from few to many."""
        pieces = 1
        while pieces <= way.room and (place := self._place(way, pieces)) < len(self.classes):
            more = range(pieces + 1, way.room + 1)
            pieces += bisect_right(more, place, key=lambda number: self._place(way, number))
            yield pieces, self.classes[place]
            pieces += 1

    def _place(self, way: Way, pieces: int) -> int:
        return self.terms.place_of(self.classes, way.parcel(pieces))

    def price(self, way: Way, pieces: int) -> Decimal | None:
        """The price of a parcel with so many pieces; None if it is not accepted."""
        if pieces > way.room or (place := self._place(way, pieces)) == len(self.classes):
            return None
        return self.classes[place].price.amount

    def refusals(self, way: Way) -> Iterator[str]:
        """Why not even one piece is accepted this way."""
        refused = [way.refusal] if way.refusal else self.terms.refusals(self.classes, way.parcel(1))
        return (f"{way.container.name}: {each}" for each in refused)

    def parcels(self, product: str, count: int, way: Way, pieces: int) -> Parcels:
        measures = way.parcel(pieces)
        weight_class = self.classes[self._place(way, pieces)]
        return Parcels(
            product=product,
            count=count,
            container=way.container.code,
            is_pallet=way.container.is_pallet,
            pieces=pieces,
            packing=way.load(pieces),
            measures=measures,
            volumetric_kg=self.terms.volumetric_kg(measures),
            billable_kg=self.terms.billable_kg(measures),
            weight_class=weight_class,
            reason=self.terms.reason(self.classes, weight_class, measures),
            limits=narrowed(self.terms.limits, weight_class.limits),
            unit=way.piece.unit,
            quantity=None if way.piece.unit is Unit.PIECE else pieces - ONE + way.part,
        )


def _shipped(
    code: str, product: Product, quantity: Decimal, service: ShippingService, carriage: _Carriage
) -> list[Parcels]:
    piece, pieces = piece_of(code, product), int(whole_up(quantity))
    part = quantity - pieces + ONE
    whole = _Offered(code, list(ways(piece, service, pieces)), carriage)
    if part == ONE:
        return whole.parcels(whole.cheapest(pieces))
    ending = _Offered(code, list(ways(piece, service, pieces, part)), carriage)
    ends = [(room, price, 1) for room, price in undominated(pieces, ending.offers)]
    found = [(end, whole.cheapest(pieces - end[0])) for end in ends if whole.offers or end[0] == pieces]
    if not found:
        raise whole.refused() if ends else ending.refused()
    end, others = min(found, key=lambda each: _price_and_number([each[0], *each[1]]))
    return [*whole.parcels(others), *ending.parcels([end])]


_Kind = tuple[int, int, int]
"""Pieces, price and number of identical parcels."""


def _price_and_number(kinds: Iterable[_Kind]) -> tuple[int, int]:
    every = list(kinds)
    return sum(price * count for _, price, count in every), sum(count for *_, count in every)


class _Offered:
    """The ways to ship a product, and for each the most pieces of each class; prices are whole numbers of its unit."""

    def __init__(self, code: str, found: list[Way], carriage: _Carriage) -> None:
        self._code, self._ways, self._carriage = code, found, carriage
        prices = [each.price.amount for each in carriage.classes]
        self._decimals = max(0, *(-int(price.as_tuple().exponent) for price in prices))
        self.offers = {
            (room, int(each.price.amount.scaleb(self._decimals)))
            for way in found
            for room, each in carriage.offers(way)
        }

    def cheapest(self, pieces: int) -> list[_Kind]:
        """The cheapest parcels that hold so many pieces."""
        if not pieces:
            return []
        if not self.offers:
            raise self.refused()
        return [*_filled(pieces, cheapest_cover(pieces, list(self.offers)))]

    def refused(self) -> DoesNotFitError:
        """The error that none of the ways is accepted."""
        return DoesNotFitError(self._code, [each for way in self._ways for each in self._carriage.refusals(way)])

    def parcels(self, kinds: Iterable[_Kind]) -> list[Parcels]:
        """The parcels, each in the smallest way that costs no more."""
        found = []
        for pieces, price, count in kinds:
            way = _smallest(self._ways, self._carriage, pieces, Decimal(price).scaleb(-self._decimals))
            found.append(self._carriage.parcels(self._code, count, way, pieces))
        return found


def _filled(pieces: int, cover: dict[Offer, int]) -> Iterator[_Kind]:
    """The parcels of a cover; one is not full if the cover has room to spare."""
    over = sum(room * count for (room, _), count in cover.items()) - pieces
    smallest = min(cover)
    for (room, price), count in sorted(cover.items(), reverse=True):
        full = count - 1 if over and (room, price) == smallest else count
        if full:
            yield room, price, full
    if over:
        yield smallest[0] - over, smallest[1], 1


def _smallest(found: list[Way], carriage: _Carriage, pieces: int, at_most: Decimal) -> Way:
    """The way within a price that has the least volume; of equals the lightest."""
    affordable = [way for way in found if (price := carriage.price(way, pieces)) is not None and price <= at_most]
    return min(affordable, key=lambda way: (way.parcel(pieces).volume_cm3, way.container.mass_kg))
