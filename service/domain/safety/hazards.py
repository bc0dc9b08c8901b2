"""The cautions for the work, the mass and the declared uses of a product."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.safety.cautions import FUME_SHEET, POLYMER_CAUTIONS, USE_CAUTIONS, Caution, Concern, DeclaredUse
from service.domain.safety.machines import MACHINE_CAUTIONS, WorkingMachine
from service.domain.safety.polymers import THERMAL_DATA, Figure, Polymer
from service.domain.safety.workplace import workplace_cautions
from service.domain.values.exact import ZERO, plain
from service.domain.values.message import Message
from service.domain.values.units import Unit

ONE_PERSON_LIMIT_KG = Decimal(25)
"""The largest mass of the guidance in HSE, INDG143 (rev4), 2020; the reference mass of ISO 11228-1 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatedPolymer:
    """A polymer that an operation heats.

    Attributes:
        processing_temperature_c: in degrees Celsius, if declared.
        materials: the names of the materials that hold it; empty if there are none.
        where: the operation.
    """

    polymer: Polymer
    processing_temperature_c: Decimal | None
    materials: tuple[str, ...]
    where: str


WORST_FIRST = (
    "drawn-in",
    "crushing",
    "saw-blade",
    "hydrogen-chloride",
    "unidentified-polymer",
    "above-decomposition-temperature",
    "storage",
    "electrical-supply",
    "polymer-without-data",
    "machine-without-kind",
    "machine-without-data",
    "dust",
    "lone-work",
    "instruction",
    "sorting",
    "styrene-fume",
    "above-processing-temperature",
    "hot-work",
    "thrown-out",
    "noise",
    "too-heavy-for-one-person",
    "use-lifting",
    "use-climbing",
    "use-protective-equipment",
    "use-building",
    "use-load-bearing",
    "use-electrical-accessory",
    "use-medical",
    "use-playground",
    "use-wall-or-ceiling-lining",
    "use-toy",
    "use-food-contact",
    "use-drinking-water",
    "use-outdoor",
    "no-promise-of-fitness",
)
"""Codes in the order of the worst that can happen to somebody, as judged here without a source."""

_TOO_HEAVY = (
    "{what} {mass} kg, too heavy for one person. Guidance ends at {limit} kg for men and 16 kg for women, close to the "
    "body, and at less when the load is far from it, above the shoulder, or lifted often. Use a lifting aid or more "
    "people, as local rules on manual handling say."
)
_NO_PROMISE = (
    "A price never implies that a product is fit for a use ({uses}). Whoever puts it on the market answers for its "
    "safety under local law, with tests by qualified people."
)
_DECOMPOSITION = (
    "{work}: decomposition is to be expected ({limits}). The gases can be toxic and can catch fire. Work cooler or for "
    "a shorter time, with extraction at the source, as the supplier's safety data sheet and local rules say."
)
_DEGRADATION = (
    "{work}: hotter than it is usually worked ({limits}). The polymer begins to degrade and gives off more fume, which "
    "can hold aldehydes and acids; they irritate eyes and airways. Work cooler, leave nothing standing in the hot "
    "machine, draw the fume off at its source, and follow the supplier's safety data sheet and local rules."
)
_DECOMPOSES, _DEGRADES = "above-decomposition-temperature", "above-processing-temperature"
_TOO_HOT: dict[str, tuple[str, tuple[str, ...]]] = {
    _DECOMPOSES: (_DECOMPOSITION, ()),
    _DEGRADES: (  # irritation: from memory
        _DEGRADATION,
        (
            f"{FUME_SHEET}, on recommended temperatures and Table 1",
            "T. Andersson, B. Wesslén, Degradation of LDPE, LLDPE and HDPE in Film Extrusion, abstract",
        ),
    ),
}
_HOT_WORK = (
    "{work}: hot plastic and hot tools burn, and every hot plastic gives off fume. Guard hot surfaces, wear eye "
    "protection, heat-resistant gloves and sleeves, draw the fume off at its source, and follow the machine's manual "
    "and local rules of safety at work."
)
_PALLET = (
    "A loaded pallet weighs up to {mass} kg: it crushes feet, and tips over when it is lifted crooked or driven fast. "
    "Move it with a pallet truck or fork-lift that carries this mass, by instructed people, on level ground; stay out "
    "from under it and out of its way; stack no higher than it is stable, secure the load on the vehicle, and follow "
    "local rules. Whoever receives it needs the same."
)
_PALLET_DECIMALS = 3
_ANY_OTHER, _NONE_DECLARED = Message("any other"), Message("nobody has declared one")
_PIECE, _PARCEL = Message("One piece weighs"), Message("The heaviest parcel weighs")
_NO_MATERIAL = Message("a material that is not on the bill")
_NAMES = {Polymer.OTHER: Message("another polymer"), Polymer.UNIDENTIFIED: Message("an unidentified polymer")}


def cautions(
    heated: Iterable[HeatedPolymer],
    declared_uses: Iterable[DeclaredUse],
    piece_mass_kg: Decimal | None,
    machines: Iterable[WorkingMachine] = (),
    plastics: Iterable[str] = (),
    unit: Unit = Unit.PIECE,
) -> tuple[Caution, ...]:
    """Every caution once, with all that it concerns: for the work, the piece and its uses, the worst of each first.

    The order of the arguments does not matter. The last caution always says that a price promises no fitness for any
    use. Source: each caution names its own.

    Args:
        piece_mass_kg: of the heaviest piece, or of one unit of a product that is not counted in pieces.
        plastics: the names of the materials in store that hold a polymer.
        unit: of that mass.
    """
    what = _PIECE if unit is Unit.PIECE else Message("One {unit} weighs", unit=unit.sign)
    work = sorted(set(heated), key=_order)
    declared = frozenset(declared_uses)
    uses = [use for use in DeclaredUse if use in declared]
    running = sorted(set(machines), key=lambda each: (each.machine, each.where, each.kind or ""))
    of_place = workplace_cautions(running, plastics)
    of_work = (*_of_machines(running), *_of_polymers(work), *_of_heat(work), *of_place)
    found = (*of_work, *_of_mass(piece_mass_kg, what), *_of_uses(uses))
    return tuple(sorted(found, key=lambda caution: WORST_FIRST.index(caution.code)))


def shipping_cautions(
    parcel_masses_kg: Iterable[Decimal], pallet_masses_kg: Iterable[Decimal] = ()
) -> tuple[Caution, ...]:
    """The cautions for the heaviest parcel that is lifted and the heaviest loaded pallet, with packaging."""
    heaviest_kg, pallet_kg = max(parcel_masses_kg, default=None), max(pallet_masses_kg, default=None)
    return (*_of_mass(heaviest_kg, _PARCEL, "parcel-too-heavy-for-one-person"), *_of_pallets(pallet_kg))


def _of_pallets(mass_kg: Decimal | None) -> Iterator[Caution]:
    if mass_kg is not None:
        yield Caution(
            code="loaded-pallet",
            text=Message(_PALLET, mass=plain(mass_kg, _PALLET_DECIMALS)),
            source="HSE, Guidance Note PM15, storage and handling of pallets, and HSG76, Warehousing and storage "
            "(both from memory); EN 12195-1:2010, load restraint on road vehicles (from memory)",
        )


def _order(item: HeatedPolymer) -> tuple[str, str, bool, Decimal, tuple[str, ...]]:
    temperature_c = item.processing_temperature_c
    return item.polymer, item.where, temperature_c is not None, temperature_c or ZERO, item.materials


def _of_machines(running: list[WorkingMachine]) -> Iterator[Caution]:
    """Cautions for kinds of machines, whatever they work."""
    for caution, kinds in MACHINE_CAUTIONS.items():
        found = [each for each in running if each.kind in kinds]
        if found:
            told = (Message("{machine} in '{where}'", machine=each.machine, where=each.where) for each in found)
            yield replace(caution, text=Message(caution.text.template, machines=tuple(told)))


def _of_polymers(work: list[HeatedPolymer]) -> Iterator[Caution]:
    """Cautions for certain polymers at any temperature."""
    for caution, polymers in POLYMER_CAUTIONS.items():
        found = [item for item in work if item.polymer in polymers]
        if found:
            yield replace(caution, text=Message(caution.text.template, work=_told(found)))


def _of_heat(work: list[HeatedPolymer]) -> Iterator[Caution]:
    """Cautions for hot work with any polymer."""
    for code, (text, source) in _TOO_HOT.items():
        too_hot = {item: limit for item in work if (limit := _exceeded_limit(item, code)) is not None}
        if too_hot:
            limits = {item.polymer: limit for item, limit in too_hot.items()}
            told = (Message("{polymer} above {limit} °C", polymer=each, limit=it.value) for each, it in limits.items())
            yield Caution(
                code=code,
                concerns=Concern.WORK,
                text=Message(text, work=_told(too_hot), limits=tuple(told)),
                source="; ".join(dict.fromkeys((*(limit.source for limit in limits.values()), *source))),
            )
    if work:
        yield Caution(
            code="hot-work",
            concerns=Concern.WORK,
            text=Message(_HOT_WORK, work=_told(work)),
            source=f"ISO 13732-1:2006, burn thresholds of hot surfaces; OSHA, Machine Guarding eTool, Plastics "
            f"Machinery; {FUME_SHEET}",
        )


def _exceeded_limit(item: HeatedPolymer, code: str) -> Figure | None:
    """The limit of this caution, if the declared temperature is above it and above no worse one."""
    data, temperature_c = THERMAL_DATA.get(item.polymer), item.processing_temperature_c
    if data is None or temperature_c is None:
        return None
    usual = data.processing_temperature_c
    decomposes = temperature_c > data.decomposition_temperature_c.value
    if code == _DECOMPOSES:
        return data.decomposition_temperature_c if decomposes else None
    return Figure(value=usual.high, source=usual.source) if usual.high < temperature_c and not decomposes else None


def _of_mass(mass_kg: Decimal | None, what: Message, code: str = "too-heavy-for-one-person") -> Iterator[Caution]:
    if mass_kg is not None and mass_kg > ONE_PERSON_LIMIT_KG:
        yield Caution(
            code=code,
            text=Message(_TOO_HEAVY, what=what, mass=plain(mass_kg), limit=ONE_PERSON_LIMIT_KG),
            source="HSE, Manual handling at work, INDG143 (rev4), 2020, lifting filter; ISO 11228-1:2021, Ergonomics - "
            "Manual handling - Lifting, lowering and carrying",
        )


def _of_uses(uses: list[DeclaredUse]) -> Iterator[Caution]:
    yield from (USE_CAUTIONS[use] for use in uses)
    named = tuple(Message(use.replace("_", " ")) for use in uses)
    yield Caution(
        code="no-promise-of-fitness",
        text=Message(_NO_PROMISE, uses=(*named, _ANY_OTHER) if named else _NONE_DECLARED),
        source="Regulation (EU) 2023/988 on general product safety, Article 5",
    )


def _told(items: Iterable[HeatedPolymer]) -> tuple[Message, ...]:
    """The hot work, as "HDPE (from HDPE flakes) at 200 °C in 'Lid, pressing'"."""
    return tuple(map(_work, items))


def _work(item: HeatedPolymer) -> Message:
    materials = " + ".join(item.materials) or _NO_MATERIAL
    named = {"polymer": _NAMES.get(item.polymer, item.polymer.value), "materials": materials, "where": item.where}
    if item.processing_temperature_c is not None:
        temperature_c = plain(item.processing_temperature_c)
        return Message(
            "{polymer} (from {materials}) at {temperature} °C in '{where}'", **named, temperature=temperature_c
        )
    data = THERMAL_DATA.get(item.polymer)
    if data is None:
        return Message("{polymer} (from {materials}) in '{where}'", **named)
    usual = data.processing_temperature_c
    return Message(
        "{polymer} (from {materials}) in '{where}' at a temperature not declared, usually {low} to {high} °C",
        **named,
        low=usual.low,
        high=usual.high,
    )
