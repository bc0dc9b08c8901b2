"""The texts of all cautions, each with its source."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from service.domain.safety.polymers import Polymer
from service.domain.values.message import Message


class DeclaredUse(StrEnum):
    """A use a product is offered for that calls for a caution."""

    FOOD_CONTACT = "food_contact"
    DRINKING_WATER = "drinking_water"
    TOY = "toy"
    PLAYGROUND = "playground"
    LOAD_BEARING = "load_bearing"
    BUILDING = "building"
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
    text: Message
    source: str
    concerns: Concern = Concern.PRODUCT


class _Told(NamedTuple):
    text: str
    source: str
    polymers: frozenset[Polymer] = frozenset()


FUME_SHEET = "HSE, Controlling fume during plastics processing, Plastics Processing Sheet No 13, 2002"
_POLYMERS = {
    "hydrogen-chloride": _Told(  # what it does to people: from memory
        text="hot PVC gives off hydrogen chloride, which attacks eyes, lungs and metal. Heat it only as a stabilised "
        "compound, on equipment and with extraction made for it; otherwise leave it to a licensed processor, as local "
        "rules say.",
        source=f"{FUME_SHEET}, Table 1; National Research Council, Emergency and Continuous Exposure Guidance Levels, "
        "volume 3, 2009, chapter 3, hydrogen chloride",
        polymers=frozenset({Polymer.PVC}),
    ),
    "unidentified-polymer": _Told(
        text="nobody knows what it gives off. It may be or hold PVC, which gives off hydrogen chloride, or break down "
        "at this temperature. Do not heat what is not identified; have it identified, and leave doubtful lots to a "
        "licensed recycler, as local rules say.",
        source=f"{FUME_SHEET}, introduction (unwitting substitution, impurities) and Table 1",
        polymers=frozenset({Polymer.UNIDENTIFIED}),
    ),
    "polymer-without-data": _Told(
        text="the built-in table has no temperatures for it. Some plastics are dangerous when overheated; acetal, for "
        "one, gives off formaldehyde. Work by its supplier's safety data sheet and local rules.",
        source=f"{FUME_SHEET}, Table 1",
        polymers=frozenset({Polymer.OTHER}),
    ),
    "styrene-fume": _Told(
        text="the fume can hold styrene, which irritates skin, eyes and airways and acts on the nervous system. Keep "
        "the temperature low, draw the fume off at its source, and keep to local exposure limits.",
        source=f"{FUME_SHEET}, Table 1; OSHA, Styrene: Hazard Recognition",
        polymers=frozenset({Polymer.PS, Polymer.ABS}),
    ),
}
POLYMER_CAUTIONS = {
    Caution(code=code, concerns=Concern.WORK, text=Message(f"{{work}}: {text}"), source=source): polymers
    for code, (text, source, polymers) in _POLYMERS.items()
}

_FLAME_RETARDANTS = (
    "A. Guzzonato, F. Puype, S. J. Harrad, Evidence of bad recycling practices: BFRs in children's toys and "
    "food-contact articles, 2017"
)
_USES = {
    DeclaredUse.FOOD_CONTACT: _Told(
        text="Food contact: old plastic can hold what must not get into food. In the EU the product must meet the "
        "rules for plastics, with a declaration of compliance, and recycled plastic must come from a recycling "
        "technology that is listed as suitable or notified as novel; grinding and remelting mixed waste is neither. "
        "Elsewhere local food law decides.",
        source=f"Regulation (EU) No 10/2011; Regulation (EU) 2022/1616; {_FLAME_RETARDANTS}",
    ),
    DeclaredUse.DRINKING_WATER: _Told(
        text="Drinking water: materials must not leach into it or feed germs. In the EU products for new installations "
        "must be made from listed substances, tested and marked from 31 December 2026 on; until then, and elsewhere, "
        "local water rules decide.",
        source="Directive (EU) 2020/2184, Article 11; Implementing Decisions (EU) 2024/365, 2024/367 and 2024/368; "
        "Delegated Regulations (EU) 2024/370 and 2024/371",
    ),
    DeclaredUse.TOY: _Told(
        text="Toy: old plastic can hold banned flame retardants and metals, and small parts can be swallowed. In the "
        "EU a toy needs a safety assessment, limits of substances kept, and the CE marking. Elsewhere local law "
        "decides.",
        source=f"Directive 2009/48/EC; from 1 August 2030 Regulation (EU) 2025/2509; {_FLAME_RETARDANTS}",
    ),
    DeclaredUse.PLAYGROUND: _Told(
        text="Playground: equipment must not trap, cut or drop a child. Have the design, and the place where it "
        "stands, inspected by a qualified inspector before use and at intervals, as local rules say.",
        source="EN 1176-1:2017, Playground equipment and surfacing, general safety requirements and test methods",
    ),
    DeclaredUse.LOAD_BEARING: _Told(
        text="Load-bearing: plastic is far less stiff than wood and goes on bending under a steady load. No strength "
        "has been computed here. What carries people, or is part of a building, needs tests and a licensed engineer "
        "under the local building code; in the EU construction products have rules of their own.",
        source="R. G. Lampo, T. J. Nosker, Development and Testing of Plastic Lumber Materials for Construction "
        "Applications, USACERL TR 97/95, 1997, abstract; Regulation (EU) 2024/3110",
    ),
    DeclaredUse.BUILDING: _Told(
        text="Building: a brick, beam or sheet that becomes part of a building must carry its load for decades, resist "
        "fire and weather, and be fastened as it was tested. Nothing of that has been computed here. The local "
        "building code decides whether it may be used at all, and a licensed engineer must design with it; in the EU "
        "construction products have rules of their own.",
        source="Regulation (EU) 2024/3110 on construction products; International Building Code, chapter 26, plastic "
        "(chapter from memory)",
    ),
    DeclaredUse.WALL_OR_CEILING_LINING: _Told(
        text="Wall or ceiling lining: plastic burns, and can smoke and drip while it burns. Only a test shows its fire "
        "class; the local fire code says which class a room needs.",
        source="EN 13501-1, Fire classification of construction products and building elements, reaction to fire",
    ),
    DeclaredUse.ELECTRICAL_ACCESSORY: _Told(
        text="Electrical accessory: it can give a shock or catch fire. In the EU equipment for 50 to 1000 V "
        "alternating or 75 to 1500 V direct current must be shown to be safe and carry the CE marking; household plugs "
        "and sockets follow national rules. Leave design, tests and installation to licensed electricians under "
        "local codes.",
        source="Directive 2014/35/EU (Low Voltage), scope and Annex II",
    ),
    DeclaredUse.LIFTING: _Told(
        text="Lifting: if it breaks, the load falls. A lifting accessory needs a working load that is computed, tested "
        "and marked, and regular inspection by a competent person, as local rules say. Do not supply it without.",
        source="Directive 2006/42/EC on machinery; from 20 January 2027 Regulation (EU) 2023/1230",
    ),
    DeclaredUse.CLIMBING: _Told(
        text="Climbing: if it breaks, a person falls. Holds need tests of strength and fixing; what is worn to hold a "
        "fall is protective equipment and needs an approved body. Do not supply it without, and follow local rules.",
        source="EN 12572-3:2017, Artificial climbing structures, climbing holds; Regulation (EU) 2016/425",
    ),
    DeclaredUse.PROTECTIVE_EQUIPMENT: _Told(
        text="Protective equipment: it protects health or life. In the EU all but what protects from minimal risks "
        "needs a type examination by a notified body before sale. Elsewhere local rules decide.",
        source="Regulation (EU) 2016/425 on personal protective equipment, risk categories",
    ),
    DeclaredUse.MEDICAL: _Told(
        text="Medical: what is meant to diagnose, treat or compensate an illness or injury is a medical device. In the "
        "EU its maker must show before sale that it is safe and performs as meant. Elsewhere local law decides.",
        source="Regulation (EU) 2017/745 on medical devices",
    ),
    DeclaredUse.OUTDOOR: _Told(
        text="Outdoors: sunlight ages plastic, heat hastens it, and how long it lasts depends on its stabilisers. Do "
        "not count on its first strength after years; inspect and replace it, and follow local rules where people sit, "
        "stand or pass under it.",
        source="A. L. Andrady et al., Effects of climate change and UV-B on materials, 2003, abstract",
    ),
}
USE_CAUTIONS = {
    use: Caution(code=f"use-{use.value.replace('_', '-')}", text=Message(text), source=source)
    for use, (text, source, _) in _USES.items()
}
