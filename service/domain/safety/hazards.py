"""Which cautions the work, the mass and the declared uses of a product call for."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.safety.cautions import (
    FUME_SHEET,
    NO_PROMISE,
    POLYMER_CAUTIONS,
    TOO_HEAVY,
    USE_CAUTIONS,
    Caution,
    Concern,
    DeclaredUse,
)
from service.domain.safety.polymers import THERMAL_DATA, Polymer
from service.domain.values.exact import ZERO, plain

ONE_PERSON_LIMIT_KG = Decimal(25)
"""The largest mass of the guidance in HSE, INDG143 (rev4), 2020; the reference mass of ISO 11228-1 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatedPolymer:
    """A polymer that is worked hot somewhere.

    Attributes:
        polymer: what is heated.
        processing_temperature_c: how hot, in degrees Celsius, if that is declared.
        where: the operation that heats it.
    """

    polymer: Polymer
    processing_temperature_c: Decimal | None
    where: str


_NAMES = {Polymer.OTHER: "another polymer", Polymer.UNIDENTIFIED: "an unidentified polymer"}


def cautions(
    heated: Iterable[HeatedPolymer], declared_uses: Iterable[DeclaredUse], piece_mass_kg: Decimal | None
) -> tuple[Caution, ...]:
    """Every caution that a product calls for, each once: the work first, then the piece, then its uses.

    The order depends on nothing but what is given, not on the order it is given in.
    Where there is a declared use, the last caution says that a price promises no fitness for it.

    Args:
        heated: the polymers worked hot, each with its operation.
        declared_uses: what the product is offered for.
        piece_mass_kg: what one person would have to lift, if known.

    Source: each caution names its own.
    """
    work = sorted(set(heated), key=_order)
    declared = frozenset(declared_uses)
    uses = [use for use in DeclaredUse if use in declared]
    return (*_of_polymers(work), *_of_heat(work), *_of_mass(piece_mass_kg), *_of_uses(uses))


def parcel_cautions(parcel_masses_kg: Iterable[Decimal]) -> tuple[Caution, ...]:
    """The caution that parcels to be lifted by hand call for, told of the heaviest one.

    Args:
        parcel_masses_kg: of each parcel, its packaging included; loaded pallets, which nobody lifts, left out.

    Source: the caution names its own.
    """
    heaviest_kg = max(parcel_masses_kg, default=None)
    return tuple(_of_mass(heaviest_kg, "parcel-too-heavy-for-one-person", "The heaviest parcel weighs"))


def _order(item: HeatedPolymer) -> tuple[str, str, bool, Decimal]:
    temperature_c = item.processing_temperature_c
    return item.polymer, item.where, temperature_c is not None, temperature_c or ZERO


def _of_polymers(work: list[HeatedPolymer]) -> Iterator[Caution]:
    """Cautions that certain polymers call for at any temperature."""
    for caution, polymers in POLYMER_CAUTIONS.items():
        found = [item for item in work if item.polymer in polymers]
        if found:
            yield replace(caution, text=f"{_listed(found)}: {caution.text}")


def _of_heat(work: list[HeatedPolymer]) -> Iterator[Caution]:
    """Cautions that the temperature calls for, whatever the polymer."""
    too_hot = [item for item in work if _is_above_decomposition(item)]
    if too_hot:
        limits = {item.polymer: THERMAL_DATA[item.polymer].decomposition_temperature_c for item in too_hot}
        told = ", ".join(f"{polymer} above {plain(limit.value)} °C" for polymer, limit in limits.items())
        yield Caution(
            code="above-decomposition-temperature",
            concerns=Concern.WORK,
            text=f"{_listed(too_hot)}: decomposition is to be expected ({told}). The gases can be toxic and can catch "
            "fire. Work cooler or for a shorter time, with extraction at the source, as the supplier's safety data "
            "sheet and local rules say.",
            source="; ".join(dict.fromkeys(limit.source for limit in limits.values())),
        )
    if work:
        yield Caution(
            code="hot-work",
            concerns=Concern.WORK,
            text=f"{_listed(work)}: hot plastic and hot tools burn, and every hot plastic gives off fume. Guard hot "
            "surfaces, wear eye protection, heat-resistant gloves and sleeves, draw the fume off at its source, and "
            "follow the machine's manual and local rules of safety at work.",
            source=f"ISO 13732-1:2006, burn thresholds of hot surfaces; OSHA, Machine Guarding eTool, Plastics "
            f"Machinery; {FUME_SHEET}",
        )


def _is_above_decomposition(item: HeatedPolymer) -> bool:
    data = THERMAL_DATA.get(item.polymer)
    if data is None or item.processing_temperature_c is None:
        return False
    return item.processing_temperature_c > data.decomposition_temperature_c.value


def _of_mass(
    mass_kg: Decimal | None, code: str = "too-heavy-for-one-person", what: str = "One piece weighs"
) -> Iterator[Caution]:
    if mass_kg is not None and mass_kg > ONE_PERSON_LIMIT_KG:
        yield Caution(
            code=code,
            text=TOO_HEAVY.format(what=what, mass=plain(mass_kg), limit=ONE_PERSON_LIMIT_KG),
            source="HSE, Manual handling at work, INDG143 (rev4), 2020, lifting filter; ISO 11228-1:2021, Ergonomics - "
            "Manual handling - Lifting, lowering and carrying",
        )


def _of_uses(uses: list[DeclaredUse]) -> Iterator[Caution]:
    yield from (USE_CAUTIONS[use] for use in uses)
    if uses:
        named = ", ".join(use.replace("_", " ") for use in uses)
        yield Caution(
            code="no-promise-of-fitness",
            text=NO_PROMISE.format(uses=named),
            source="Regulation (EU) 2023/988 on general product safety, Article 5",
        )


def _listed(items: Iterable[HeatedPolymer]) -> str:
    """The hot work in words, as "HDPE at 200 °C (pressing), PP (extruding)"."""
    return ", ".join(f"{_NAMES.get(item.polymer, item.polymer)}{_temperature(item)} ({item.where})" for item in items)


def _temperature(item: HeatedPolymer) -> str:
    if item.processing_temperature_c is not None:
        return f" at {plain(item.processing_temperature_c)} °C"
    data = THERMAL_DATA.get(item.polymer)
    if data is None:
        return ""
    usual = data.processing_temperature_c
    return f" at a temperature not declared, usually {usual.low} to {usual.high} °C"
