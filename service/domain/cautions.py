"""What can hurt someone when a product is made or used, said with its source and left to local codes."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from service.domain.polymers import THERMAL_DATA, Polymer
from service.domain.values.exact import ZERO, plain

ONE_PERSON_LIMIT_KG = Decimal(25)
"""The largest mass of the guidance in HSE, INDG143 (rev4), 2020; the reference mass of ISO 11228-1 (from memory)."""


TOO_HEAVY = (
    "{what} {mass} kg, too heavy for one person. Guidance ends at {limit} kg for men and 16 kg for women, close to the "
    "body, and at less when the load is far from it, above the shoulder, or lifted often. Use a lifting aid or more "
    "people, as local rules on manual handling say."
)
NO_PROMISE = (
    "A price never implies that a product is fit for a use ({uses}). Whoever puts it on the market answers for its "
    "safety under local law, with tests by qualified people."
)


class DeclaredUse(StrEnum):
    """A use a product is offered for that calls for a caution."""

    FOOD_CONTACT = "food_contact"
    DRINKING_WATER = "drinking_water"
    TOY = "toy"
    PLAYGROUND = "playground"
    LOAD_BEARING = "load_bearing"
    WALL_OR_CEILING_LINING = "wall_or_ceiling_lining"
    ELECTRICAL_ACCESSORY = "electrical_accessory"
    LIFTING = "lifting"
    CLIMBING = "climbing"
    PROTECTIVE_EQUIPMENT = "protective_equipment"
    MEDICAL = "medical"
    OUTDOOR = "outdoor"


class Concern(StrEnum):
    """Whom a caution is for: those who make the piece, or also those who get it."""

    WORK = "work"
    PRODUCT = "product"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """Something that can hurt someone, and what to do about it.

    Attributes:
        code: which caution it is, the same on every sheet.
        text: what can happen and what to do, for people to read.
        source: where that is published.
        concerns: the work, which stays in the workshop, or the product, which the customer is told too.
    """

    code: str
    text: str
    source: str
    concerns: Concern = Concern.PRODUCT


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


_FUME_SHEET = "HSE, Controlling fume during plastics processing, Plastics Processing Sheet No 13, 2002"
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
    for caution, polymers in _POLYMER_CAUTIONS.items():
        found = [item for item in work if item.polymer in polymers]
        if found:
            yield replace(caution, text=f"{_listed(found)}: {caution.text}")


def _of_heat(work: list[HeatedPolymer]) -> Iterator[Caution]:
    """Cautions that the temperature calls for, whatever the polymer."""
    too_hot = [item for item in work if _is_above_decomposition(item)]
    if too_hot:
        limits = {item.polymer: THERMAL_DATA[item.polymer].decomposition_temperature_c for item in too_hot}
        told = ", ".join(f"{polymer} above {plain(limit.value, 9)} °C" for polymer, limit in limits.items())
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
            f"Machinery; {_FUME_SHEET}",
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
            text=TOO_HEAVY.format(what=what, mass=plain(mass_kg, 9), limit=ONE_PERSON_LIMIT_KG),
            source="HSE, Manual handling at work, INDG143 (rev4), 2020, lifting filter; ISO 11228-1:2021, Ergonomics - "
            "Manual handling - Lifting, lowering and carrying",
        )


def _of_uses(uses: list[DeclaredUse]) -> Iterator[Caution]:
    yield from (_USE_CAUTIONS[use] for use in uses)
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
        return f" at {plain(item.processing_temperature_c, 9)} °C"
    data = THERMAL_DATA.get(item.polymer)
    if data is None:
        return ""
    usual = data.processing_temperature_c
    return f" at a temperature not declared, usually {usual.low} to {usual.high} °C"


_POLYMER_CAUTIONS = {
    Caution(  # what it does to people: from memory
        code="hydrogen-chloride",
        concerns=Concern.WORK,
        text="hot PVC gives off hydrogen chloride, which attacks eyes, lungs and metal. Heat it only as a stabilised "
        "compound, on equipment and with extraction made for it; otherwise leave it to a licensed processor, as local "
        "rules say.",
        source=f"{_FUME_SHEET}, Table 1; NETZSCH, PVC-U: Polyvinyl Chloride (Unplasticized), on processing",
    ): frozenset({Polymer.PVC}),
    Caution(
        code="unidentified-polymer",
        concerns=Concern.WORK,
        text="nobody knows what it gives off. It may be or hold PVC, which gives off hydrogen chloride, or break down "
        "at this temperature. Do not heat what is not identified; have it identified, and leave doubtful lots to a "
        "licensed recycler, as local rules say.",
        source=f"{_FUME_SHEET}, introduction (unwitting substitution, impurities) and Table 1",
    ): frozenset({Polymer.UNIDENTIFIED}),
    Caution(
        code="polymer-without-data",
        concerns=Concern.WORK,
        text="the built-in table has no temperatures for it. Some plastics are dangerous when overheated; acetal, for "
        "one, gives off formaldehyde. Work by its supplier's safety data sheet and local rules.",
        source=f"{_FUME_SHEET}, Table 1",
    ): frozenset({Polymer.OTHER}),
    Caution(
        code="styrene-fume",
        concerns=Concern.WORK,
        text="the fume can hold styrene, which irritates skin, eyes and airways and acts on the nervous system. Keep "
        "the temperature low, draw the fume off at its source, and keep to local exposure limits.",
        source=f"{_FUME_SHEET}, Table 1; OSHA, Styrene: Hazard Recognition",
    ): frozenset({Polymer.PS, Polymer.ABS}),
}

_FLAME_RETARDANTS = (
    "A. Guzzonato, F. Puype, S. J. Harrad, Evidence of bad recycling practices: BFRs in children's toys and "
    "food-contact articles, 2017"
)
_USE_CAUTIONS = {
    DeclaredUse.FOOD_CONTACT: Caution(
        code="use-food-contact",
        text="Food contact: old plastic can hold what must not get into food. In the EU the product must meet the "
        "rules for plastics, with a declaration of compliance, and recycled plastic must come from a recycling "
        "technology that is listed as suitable or notified as novel; grinding and remelting mixed waste is neither. "
        "Elsewhere local food law decides.",
        source=f"Regulation (EU) No 10/2011; Regulation (EU) 2022/1616; {_FLAME_RETARDANTS}",
    ),
    DeclaredUse.DRINKING_WATER: Caution(
        code="use-drinking-water",
        text="Drinking water: materials must not leach into it or feed germs. In the EU products for new installations "
        "must be made from listed substances, tested and marked from 31 December 2026 on; until then, and elsewhere, "
        "local water rules decide.",
        source="Directive (EU) 2020/2184, Article 11; Implementing Decisions (EU) 2024/365, 2024/367 and 2024/368; "
        "Delegated Regulations (EU) 2024/370 and 2024/371",
    ),
    DeclaredUse.TOY: Caution(
        code="use-toy",
        text="Toy: old plastic can hold banned flame retardants and metals, and small parts can be swallowed. In the "
        "EU a toy needs a safety assessment, limits of substances kept, and the CE marking. Elsewhere local law "
        "decides.",
        source=f"Directive 2009/48/EC; from 1 August 2030 Regulation (EU) 2025/2509; {_FLAME_RETARDANTS}",
    ),
    DeclaredUse.PLAYGROUND: Caution(
        code="use-playground",
        text="Playground: equipment must not trap, cut or drop a child. Have the design, and the place where it "
        "stands, inspected by a qualified inspector before use and at intervals, as local rules say.",
        source="EN 1176-1:2017, Playground equipment and surfacing, general safety requirements and test methods",
    ),
    DeclaredUse.LOAD_BEARING: Caution(
        code="use-load-bearing",
        text="Load-bearing: plastic is far less stiff than wood and goes on bending under a steady load. No strength "
        "has been computed here. What carries people, or is part of a building, needs tests and a licensed engineer "
        "under the local building code; in the EU construction products have rules of their own.",
        source="R. G. Lampo, T. J. Nosker, Development and Testing of Plastic Lumber Materials for Construction "
        "Applications, USACERL TR 97/95, 1997, abstract; Regulation (EU) 2024/3110",
    ),
    DeclaredUse.WALL_OR_CEILING_LINING: Caution(
        code="use-wall-or-ceiling-lining",
        text="Wall or ceiling lining: plastic burns, and can smoke and drip while it burns. Only a test shows its fire "
        "class; the local fire code says which class a room needs.",
        source="EN 13501-1, Fire classification of construction products and building elements, reaction to fire",
    ),
    DeclaredUse.ELECTRICAL_ACCESSORY: Caution(
        code="use-electrical-accessory",
        text="Electrical accessory: it can give a shock or catch fire. In the EU equipment for 50 to 1000 V "
        "alternating or 75 to 1500 V direct current must be shown to be safe and carry the CE marking; household plugs "
        "and sockets follow national rules. Leave design, tests and installation to licensed electricians under "
        "local codes.",
        source="Directive 2014/35/EU (Low Voltage), scope and Annex II",
    ),
    DeclaredUse.LIFTING: Caution(
        code="use-lifting",
        text="Lifting: if it breaks, the load falls. A lifting accessory needs a working load that is computed, tested "
        "and marked, and regular inspection by a competent person, as local rules say. Do not supply it without.",
        source="Directive 2006/42/EC on machinery; from 20 January 2027 Regulation (EU) 2023/1230",
    ),
    DeclaredUse.CLIMBING: Caution(
        code="use-climbing",
        text="Climbing: if it breaks, a person falls. Holds need tests of strength and fixing; what is worn to hold a "
        "fall is protective equipment and needs an approved body. Do not supply it without, and follow local rules.",
        source="EN 12572-3:2017, Artificial climbing structures, climbing holds; Regulation (EU) 2016/425",
    ),
    DeclaredUse.PROTECTIVE_EQUIPMENT: Caution(
        code="use-protective-equipment",
        text="Protective equipment: somebody's health hangs on it. In the EU all but what protects from minimal risks "
        "needs a type examination by a notified body before sale. Elsewhere local rules decide.",
        source="Regulation (EU) 2016/425 on personal protective equipment, risk categories",
    ),
    DeclaredUse.MEDICAL: Caution(
        code="use-medical",
        text="Medical: what is meant to diagnose, treat or compensate an illness or injury is a medical device. In the "
        "EU its maker must show before sale that it is safe and performs as meant. Elsewhere local law decides.",
        source="Regulation (EU) 2017/745 on medical devices",
    ),
    DeclaredUse.OUTDOOR: Caution(
        code="use-outdoor",
        text="Outdoors: sunlight ages plastic, heat hastens it, and how long it lasts depends on its stabilisers. Do "
        "not count on its first strength after years; inspect and replace it, and follow local rules where people sit, "
        "stand or pass under it.",
        source="A. L. Andrady et al., Effects of climate change and UV-B on materials, 2003, abstract",
    ),
}
