"""What a batch consumes: materials, machines, labour grades, tariffs and tools."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import Overhead
from service.domain.safety.machines import HEATED_KINDS, MachineKind
from service.domain.safety.polymers import Polymer
from service.domain.values.declared import (
    Bounds,
    Code,
    Distinct,
    Length,
    Line,
    Name,
    NotNegative,
    Positive,
    PositiveShare,
    declared,
)
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ONE, ZERO, exactly, whole_up
from service.domain.values.references import Names, Registered
from service.domain.values.units import Unit

RECLAIMED = "reclaimed"
"""The part of a material for what is lost and ground up again."""
DISPOSED = "disposed"
"""The part of a material for what is lost and has to be got rid of."""
ENTIRE_TOOL = "entire"


class Weekday(StrEnum):
    """A day of the week, as ISO 8601 counts them from Monday."""

    MONDAY = "monday"
    TUESDAY = "tuesday"
    WEDNESDAY = "wednesday"
    THURSDAY = "thursday"
    FRIDAY = "friday"
    SATURDAY = "saturday"
    SUNDAY = "sunday"


WORKING_WEEK = (Weekday.MONDAY, Weekday.TUESDAY, Weekday.WEDNESDAY, Weekday.THURSDAY, Weekday.FRIDAY)
Weekdays = Annotated[tuple[Weekday, ...], Length(at_least=1, at_most=7), Distinct()]
"""The days of the week that are worked."""


class MaterialUse(StrEnum):
    """Whether a material ends up in the piece or around it."""

    DIRECT_MATERIAL = "direct_material"
    PACKAGING = "packaging"


@declared
class Material:
    """Something bought by the unit: flakes, pigment, screws, cartons.

    Attributes:
        name: what the workshop calls it.
        unit: the unit it is bought and issued in.
        use: whether it ends up in the piece (direct_material) or around it (packaging).
        polymer: its polymer, if it is a plastic; decides cautions and the melting heat.
        mass_kg_per_unit: mass of one unit; needed for metres, litres and pieces if masses are to be checked.
        note: anything worth knowing.
    """

    name: Name
    unit: Unit
    use: MaterialUse = MaterialUse.DIRECT_MATERIAL
    polymer: Polymer | None = None
    mass_kg_per_unit: Positive | None = None
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if self.unit is Unit.KILOGRAM and self.mass_kg_per_unit not in (None, ONE):
            yield InvalidValueError(("mass_kg_per_unit",), "a kilogram weighs 1 kg; leave it out")

    @property
    def mass_kg(self) -> Decimal | None:
        """Mass of one unit, if known."""
        return ONE if self.unit is Unit.KILOGRAM else self.mass_kg_per_unit


@declared
class Machine:
    """A machine that is set up, warmed up and run.

    Attributes:
        name: what the workshop calls it.
        kind: what it does; decides the cautions for working at it.
        rated_power_kw: electrical power on its plate.
        load_factor: the share of the rated power it draws on average while it runs.
        idle_power_kw: power drawn during setup.
        warm_up_power_kw: power drawn while it warms up.
        minutes_on_one_warm_up: set-up and run minutes after which it is warmed up again, such as a shift; if left out,
            once is enough for any batch.
        tariff: code of its electricity tariff; needed if it draws power.
        hours_per_week: hours that it can run in an ordinary week; if unknown it limits nothing.
        working_weekdays: the days over which these hours are spread evenly.
        note: anything worth knowing.
    """

    name: Name
    kind: MachineKind | None = None
    rated_power_kw: NotNegative = ZERO
    load_factor: PositiveShare = ONE
    idle_power_kw: NotNegative = ZERO
    warm_up_power_kw: NotNegative = ZERO
    minutes_on_one_warm_up: Positive | None = None
    tariff: Annotated[Code, Names("tariffs")] | None = None
    hours_per_week: Annotated[Decimal, Bounds(at_least=0, at_most=168)] | None = None
    working_weekdays: Weekdays = WORKING_WEEK
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if self.draws_power and self.tariff is None:
            yield InvalidValueError(("tariff",), "a machine that draws power needs the tariff it is fed by")

    @property
    def draws_power(self) -> bool:
        return any((self.rated_power_kw, self.idle_power_kw, self.warm_up_power_kw))

    def warm_ups(self, minutes: Decimal) -> Decimal:
        """How often it is warmed up for so many minutes of set-up and run:  ⌈minutes ÷ minutes on one warm-up⌉.

        Once where it says nothing about that, or where neither takes any time.
        """
        if self.minutes_on_one_warm_up is None or not minutes:
            return ONE
        return whole_up(minutes / self.minutes_on_one_warm_up)

    @property
    def is_heated(self) -> bool:
        """Whether it works a polymer hot."""
        return bool(self.warm_up_power_kw) or self.kind in HEATED_KINDS


@declared
class LabourGrade:
    """A kind of work that is paid alike.

    Attributes:
        name: what the workshop calls it.
        hours_per_week: paid hours of all its people together in an ordinary week, of which the productive share of its
            rate is there to work; if unknown, those paid by the month, or no limit.
        working_weekdays: the days over which these hours are spread evenly.
        note: anything worth knowing.
    """

    name: Name
    hours_per_week: NotNegative | None = None
    working_weekdays: Weekdays = WORKING_WEEK
    note: Line = ""


STANDING = "standing"
"""The part of a tariff for its standing and demand charges."""


@declared
class Tariff:
    """How electricity is bought: one price, or one for each band of the day.

    Attributes:
        name: what the contract is called.
        bands: the bands' codes, for instance ["day", "night"]; "standing" is kept for the standing charges.
        note: anything worth knowing, such as the bands' hours.
    """

    name: Name
    bands: Annotated[tuple[Code, ...], Length(at_least=1, at_most=24), Distinct()]
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if STANDING in self.bands:
            yield InvalidValueError(("bands",), f"'{STANDING}' is kept for the standing charges")


@declared
class Tool:
    """A mould, die or fixture that wears with every shot.

    Attributes:
        name: what the workshop calls it.
        note: anything worth knowing.
    """

    name: Name
    note: Line = ""


BandShares = Mapping[Code, PositiveShare]


@exactly
def band_share_problem(tariff: Tariff, shares: Mapping[str, Decimal]) -> str | None:
    """What is wrong with the shares of electricity by band, or None."""
    if not shares:
        if len(tariff.bands) == 1:
            return None
        return f"is required: the tariff has the bands {', '.join(tariff.bands)}"
    if foreign := [band for band in shares if band not in tariff.bands]:
        return f"the tariff has no band {', '.join(foreign)}; it has {', '.join(tariff.bands)}"
    if (total := sum(shares.values(), ZERO)) != 1:
        return f"must add up to 1, not {total}"
    return None


_OF_MATERIALS = {use: CostClass(use.value) for use in MaterialUse}


def heading(registered: Registered, part: str) -> tuple[CostClass, bool]:
    """The heading of the cost sheet for a part of a resource ("" for the whole); whether it is variable by its kind."""
    match registered:
        case Material():
            return _OF_MATERIALS[registered.use], True
        case LabourGrade():
            return CostClass.DIRECT_LABOUR, True
        case Machine():
            return CostClass.MACHINE, False
        case Tariff():
            return CostClass.ELECTRICITY, part != STANDING
        case Tool():
            return CostClass.TOOLING, True  # its wear, or a tool that is bought for the batch
    assert isinstance(registered, Overhead)  # batches consume nothing else
    return CostClass.OVERHEAD, registered.variable
