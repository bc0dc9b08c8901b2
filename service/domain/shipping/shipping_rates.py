"""Shipping rates: dated prices by zone and weight class, and limits on parcels."""

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from service.domain.shipping.errors import UnknownZoneError
from service.domain.solving.bands import band_problems
from service.domain.values.declared import Code, Length, NotNegative, Positive, declared
from service.domain.values.errors import InvalidValueError, Path
from service.domain.values.exact import ZERO, exactly, plain, whole_up
from service.domain.values.money import Money

_MM3_PER_CM3 = Decimal(1000)
_BAND = ("above_kg", "up_to_kg")


@dataclass(frozen=True, slots=True, kw_only=True)
class ParcelMeasures:
    """A parcel as a carrier measures and weighs it.

    Attributes:
        length_mm: outside, as it stands, like the other two; not always its longest side.
        mass_kg: with its packaging.
    """

    length_mm: Decimal
    width_mm: Decimal
    height_mm: Decimal
    mass_kg: Decimal

    @property
    def longest_side_mm(self) -> Decimal:
        return max(self.length_mm, self.width_mm, self.height_mm)

    @property
    def length_plus_girth_mm(self) -> Decimal:
        """Longest side + 2 × (second + third side)."""
        return 2 * (self.length_mm + self.width_mm + self.height_mm) - self.longest_side_mm

    @property
    def volume_cm3(self) -> Decimal:
        return self.length_mm * self.width_mm * self.height_mm / _MM3_PER_CM3


@declared
class ParcelLimits:
    """The largest parcel that is taken, as it stands packed.

    Attributes:
        max_mass_kg: the greatest mass, packaging included.
        max_longest_side_mm: the greatest length of its longest side.
        max_length_plus_girth_mm: the most that its longest side and its girth may add up to; the girth goes around
            the other two sides, so it is twice their sum.
    """

    max_mass_kg: Positive | None = None
    max_longest_side_mm: Positive | None = None
    max_length_plus_girth_mm: Positive | None = None

    def excesses(self, parcel: ParcelMeasures) -> Iterator[str]:
        """The limits that the parcel exceeds, in words."""
        for name, measure, limit, unit in (
            ("mass", parcel.mass_kg, self.max_mass_kg, "kg"),
            ("longest side", parcel.longest_side_mm, self.max_longest_side_mm, "mm"),
            ("length plus girth", parcel.length_plus_girth_mm, self.max_length_plus_girth_mm, "mm"),
        ):
            if limit is not None and measure > limit:
                yield f"its {name} of {_told(measure)} {unit} is above {_told(limit)} {unit}"


def narrowed(*limits: ParcelLimits | None) -> ParcelLimits:
    """The strictest of some limits."""
    each = {
        name: [limit for some in limits if some is not None and (limit := getattr(some, name)) is not None]
        for name in ParcelLimits.__dataclass_fields__
    }
    return ParcelLimits(**{name: min(found, default=None) for name, found in each.items()})


@declared
class WeightClass:
    """What a parcel costs whose billable weight is within a band.

    Attributes:
        above_kg: the band begins above this; 0 in the first class, and where the class before it ends in the others.
        up_to_kg: the heaviest billable weight that is still in it.
        price: for one parcel, without the fuel surcharge.
        limits: what this class takes, where that is less than the service; a parcel beyond them goes to the next
            class that takes it.
    """

    above_kg: NotNegative
    up_to_kg: Positive
    price: Money
    limits: ParcelLimits | None = None

    @property
    def band(self) -> str:
        return f"above {_told(self.above_kg)} up to {_told(self.up_to_kg)} kg"

    def excesses(self, parcel: ParcelMeasures) -> Iterator[str]:
        """The limits of the class that the parcel exceeds, in words."""
        return iter(()) if self.limits is None else self.limits.excesses(parcel)


Zone = Annotated[tuple[WeightClass, ...], Length(at_least=1, at_most=100)]


@declared
class ShippingRate:
    """What a service charges. Billable weight is the greater of actual and volumetric weight, rounded up to the step.

    Attributes:
        zones: the weight classes of each zone, in rising order without a gap.
        divisor_cm3_per_kg: volumetric weight is the parcel's volume ÷ this, for instance 5000; no volumetric weight
            if left out.
        weight_step_kg: billable weight is rounded up to a multiple of this; not rounded if left out.
        fuel_surcharge_share: added to every price, as a share of it.
        limits: what is taken in any class; no limit but the classes' if left out.
    """

    zones: Annotated[Mapping[Code, Zone], Length(at_least=1, at_most=100)]
    divisor_cm3_per_kg: Positive | None = None
    weight_step_kg: Positive | None = None
    fuel_surcharge_share: NotNegative = ZERO
    limits: ParcelLimits | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        for zone, classes in self.zones.items():
            path = ("zones", zone)
            yield from band_problems([(each.above_kg, each.up_to_kg) for each in classes], path, _BAND)
            yield from self._price_problems(path, classes)

    def _price_problems(self, path: Path, classes: tuple[WeightClass, ...]) -> Iterator[InvalidValueError]:
        least = ZERO
        for index, each in enumerate(classes):
            place = (*path, index, "price")
            if each.price.currency != self.currency:
                yield InvalidValueError((*place, "currency"), f"must be {self.currency}, as in the first class")
            elif each.price.amount < least:
                reason = "must not be below the price of a lighter class" if index else "must be 0 or more"
                yield InvalidValueError((*place, "amount"), reason)
            least = max(least, each.price.amount)

    @property
    def currency(self) -> str:
        """The currency of every price."""
        return next(iter(self.zones.values()))[0].price.currency

    def classes_of(self, zone: str) -> tuple[WeightClass, ...]:
        """The weight classes of a zone.

        Raises:
            UnknownZoneError: there is no such zone.
        """
        if zone not in self.zones:
            raise UnknownZoneError(zone, tuple(self.zones))
        return self.zones[zone]

    @exactly
    def volumetric_kg(self, parcel: ParcelMeasures) -> Decimal | None:
        """Length × width × height ÷ divisor; None where the service has no divisor."""
        return None if self.divisor_cm3_per_kg is None else parcel.volume_cm3 / self.divisor_cm3_per_kg

    @exactly
    def billable_kg(self, parcel: ParcelMeasures) -> Decimal:
        """The greater of actual and volumetric weight, rounded up to the weight step."""
        weight = max(parcel.mass_kg, self.volumetric_kg(parcel) or ZERO)
        return weight if self.weight_step_kg is None else whole_up(weight / self.weight_step_kg) * self.weight_step_kg

    @exactly
    def place_of(self, classes: tuple[WeightClass, ...], parcel: ParcelMeasures) -> int:
        """The index of the class for the parcel: the first for its billable weight whose limits it does not exceed.

        Returns the number of classes if none accepts it. A lighter parcel that is no larger never has a higher index.
        """
        if self.limits is not None and any(self.limits.excesses(parcel)):
            return len(classes)
        first = bisect_left(classes, self.billable_kg(parcel), key=lambda each: each.up_to_kg)
        return next(
            (place for place in range(first, len(classes)) if not any(classes[place].excesses(parcel))), len(classes)
        )

    @exactly
    def refusals(self, classes: tuple[WeightClass, ...], parcel: ParcelMeasures) -> Iterator[str]:
        """Why no class from its billable weight up accepts the parcel, in words."""
        if self.limits is not None:
            yield from self.limits.excesses(parcel)
        billable_kg = self.billable_kg(parcel)
        if billable_kg > classes[-1].up_to_kg:
            last_kg = _told(classes[-1].up_to_kg)
            yield f"its billable weight of {_told(billable_kg)} kg is above {last_kg} kg, where the last class ends"
        for each in classes:
            if billable_kg <= each.up_to_kg:
                yield from (f"in the class {each.band}, {excess}" for excess in each.excesses(parcel))

    @exactly
    def reason(self, classes: tuple[WeightClass, ...], taken: WeightClass, parcel: ParcelMeasures) -> str:
        """Why the parcel is charged in its class, for people to read."""
        volumetric_kg = self.volumetric_kg(parcel) or ZERO
        kind = "volumetric" if volumetric_kg > parcel.mass_kg else "actual"
        weight_kg = max(volumetric_kg, parcel.mass_kg)
        rounded = (
            "" if self.weight_step_kg is None else f", rounded up to a multiple of {_told(self.weight_step_kg)} kg"
        )
        billable_kg = self.billable_kg(parcel)
        passed = [
            f"; the class {each.band} does not take it, for {next(each.excesses(parcel))}"
            for each in classes[: classes.index(taken)]
            if billable_kg <= each.up_to_kg
        ]
        return (
            f"The {kind} weight of {_told(weight_kg)} kg is billed{rounded}: {_told(billable_kg)} kg"
            f"{''.join(passed)}; charged in the class {taken.band}."
        )


def _told(figure: Decimal) -> str:
    return f"{plain(figure)}"
