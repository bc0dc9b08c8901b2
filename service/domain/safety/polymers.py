"""Handbook data of polymers: the least heat that melts them, and their decomposition temperatures."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from types import MappingProxyType

from service.domain.values.exact import ZERO, exactly

KJ_PER_KWH = Decimal(3600)
ROOM_TEMPERATURE_C = Decimal(20)


class Polymer(StrEnum):
    """What a material is made of, by the trade's abbreviation.

    LDPE includes linear low density, as recycling code 4 does; PS includes high impact and expanded polystyrene.
    OTHER is identified but not in the table.
    """

    HDPE = "HDPE"
    LDPE = "LDPE"
    PP = "PP"
    PS = "PS"
    PET = "PET"
    ABS = "ABS"
    PVC = "PVC"
    PA = "PA"
    PLA = "PLA"
    OTHER = "other"
    UNIDENTIFIED = "unidentified"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A published figure, in the unit at the end of the field's name."""

    value: Decimal
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureRange:
    """A published range, in the unit at the end of the field's name."""

    low: Decimal
    high: Decimal
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermalData:
    """Thermal data of a polymer; where sources give a range, the end that needs the least heat.

    Attributes:
        specific_heat_kj_per_kg_k: of the solid.
        softening_temperature_c: the melting temperature; of an amorphous polymer the glass transition.
        enthalpy_of_fusion_kj_per_kg: of the polymer as received, which is partly crystalline at most; 0 if amorphous.
        processing_temperature_c: the melt temperatures at which it is usually moulded.
        decomposition_temperature_c: above this, decomposition is to be expected; fume begins well below it.
    """

    specific_heat_kj_per_kg_k: Figure
    softening_temperature_c: Figure
    enthalpy_of_fusion_kj_per_kg: Figure
    processing_temperature_c: FigureRange
    decomposition_temperature_c: Figure


_NETZSCH = "NETZSCH, Thermal Properties of Polymers (polymers.netzsch.com)"
_BLAINE = "R. L. Blaine, Polymer Heats of Fusion, TA Instruments TN048, Table 1"
_ANDRADY = "A. L. Andrady, Plastics and Environmental Sustainability, 2015, Table 3.4"  # name, year from memory
_CRAWFORD = "R. J. Crawford, Plastics Engineering, Table 1.8, p. 31"  # author from memory
_BRITANNICA = "Encyclopaedia Britannica, Properties and Applications of Commercially Important Plastics, Table 1"
_HILADO = (
    "Polymer Science Learning Center, pslc.ws/fire/howwhy/thermalp.htm "
    "(after C. J. Hilado, Flammability Handbook for Plastics, 5th ed., 1998, p. 41-44)"
)
_INRS = "INRS, Plastiques, risque et analyse thermique (inrs.fr)"
# Its thermograms show where the loss of mass begins (polyethylene 274 °C, polypropylene 247 °C, polystyrene 244 °C).
# The usual temperatures end near there, and above them the caution is that of degradation. Decomposition is later: the
# handbook and the low ends of the DGUV rule (polyethylene 340 °C, polystyrene 300 °C) agree.
_DGUV = "DGUV Rule 113-011, annex 8, table 6, low end"
_PVC_WORKS = (
    "Air impurities in the PVC plastics processing industry, Annals of Occupational Hygiene 34 (1990) 585, abstract: "
    "worked at 150 to 200 °C, where hydrogen chloride shows its degradation"
)
_ABS_RECYCLED = (
    "Recovery of recycled ABS through mixing with SEBS, J. Materials Processing Technology (2013), "
    "doi 10.1016/j.jmatprotec.2013.02.012, abstract"
)
_PP_EMISSIONS = (
    "Development of Emission Factors for Polypropylene Processing, J. Air & Waste Management Association (1999), "
    "doi 10.1080/10473289.1999.10463782, abstract: worked from 400 °F, above 510 °F is extreme"
)
_LDPE_REPROCESSED = (
    "Influence of Processing Conditions on ... Reprocessed Low Density Polyethylene, International Polymer Processing "
    "26 (2011) 383, abstract: 200, 250 and 300 °C, the last left out"
)
_PET_MOULDED = "S. R. Shukla et al., Polymer International 54 (2005) 946, abstract"
_NYLON_MOULDED = (
    "Effect of melt temperature and skin-core morphology ... of nylon 6, Polymer Engineering and Science 42 (2002) "
    f"940, abstract: from 225 °C; {_INRS}, PA 6-10: mould at 290 to 300 °C at most"
)
_PLA_EXTRUDED = (
    "Effect of Processing Conditions on Process-Induced Degradation of Poly(Lactic Acid), J. Applied Polymer Science "
    "(2025), doi 10.1002/app.56698, abstract: from 190 °C; J. Composites Science 8 (2024) 305, abstract: to 220 °C"
)
_NO_SOURCE = "common practice, no published source; ends below the temperature at which INRS saw it lose mass"
_VELGHE = (
    "I. Velghe et al., Review on the Degradation of Poly(lactic acid) during Melt Processing, "
    "Polymers 15 (2023) 2047, section 2.2"
)


def _figure(value: str, source: str) -> Figure:
    return Figure(value=Decimal(value), source=source)


def _range(low: str, high: str, source: str) -> FigureRange:
    return FigureRange(low=Decimal(low), high=Decimal(high), source=source)


def _fusion(crystal_kj_per_kg: str, crystal_source: str, crystallinity_share: str, share_source: str) -> Figure:
    """Enthalpy of fusion of the crystal × the least crystallinity of the polymer."""
    return Figure(
        value=Decimal(crystal_kj_per_kg) * Decimal(crystallinity_share),
        source=f"{crystal_kj_per_kg} kJ/kg of crystal: {crystal_source}; {crystallinity_share} crystal: {share_source}",
    )


_AMORPHOUS = _figure("0", f"amorphous: {_BRITANNICA}")
# Cooled fast, these three stay nearly amorphous. They crystallise when heated; the heat released may equal the heat of
# melting, so the balance can be 0.
_NEARLY_AMORPHOUS = _figure("0", f"can be nearly amorphous as received: {_NETZSCH}, measurements of PET, PA6, PLA")

_TABLE = {
    Polymer.HDPE: ThermalData(
        specific_heat_kj_per_kg_k=_figure("1.8", f"{_NETZSCH}, PE-HD, low end"),
        softening_temperature_c=_figure("125", f"{_NETZSCH}, PE-HD, and {_ANDRADY}, low end of both"),
        enthalpy_of_fusion_kj_per_kg=_fusion("293", _BLAINE, "0.55", _ANDRADY),
        processing_temperature_c=_range("190", "260", _NO_SOURCE),
        decomposition_temperature_c=_figure("335", _HILADO),
    ),
    Polymer.LDPE: ThermalData(
        specific_heat_kj_per_kg_k=_figure(
            "1.9", "matmake.com, Properties of LDPE (after F. Cardarelli, Materials Handbook, 2018)"
        ),
        softening_temperature_c=_figure("98", f"{_ANDRADY}, low end"),
        enthalpy_of_fusion_kj_per_kg=_fusion("293", _BLAINE, "0.22", f"{_ANDRADY}, linear low density"),
        processing_temperature_c=_range("200", "250", _LDPE_REPROCESSED),
        decomposition_temperature_c=_figure("335", _HILADO),
    ),
    Polymer.PP: ThermalData(
        specific_heat_kj_per_kg_k=_figure(
            "1.68",
            "W. Martienssen, H. Warlimont, Handbook of Condensed Matter and Materials Data, Table 3.3-6, at 20 °C",
        ),
        softening_temperature_c=_figure("160", f"{_NETZSCH}, PP, low end of commercial types"),
        enthalpy_of_fusion_kj_per_kg=_fusion(
            "170", "F. J. Lanyi et al., Advanced Engineering Materials, doi 10.1002/adem.201900796", "0.30", _ANDRADY
        ),
        processing_temperature_c=_range("204", "265", _PP_EMISSIONS),
        decomposition_temperature_c=_figure("328", _HILADO),
    ),
    Polymer.PS: ThermalData(
        specific_heat_kj_per_kg_k=_figure("1.3", _CRAWFORD),
        softening_temperature_c=_figure("80", f"{_NETZSCH}, PS, low end of the glass transition"),
        enthalpy_of_fusion_kj_per_kg=_AMORPHOUS,
        processing_temperature_c=_range("200", "240", _NO_SOURCE),
        decomposition_temperature_c=_figure("300", _HILADO),
    ),
    Polymer.PET: ThermalData(
        specific_heat_kj_per_kg_k=_figure("1.0", _CRAWFORD),
        softening_temperature_c=_figure(
            "242", "NETZSCH Analyzing & Testing, Polymers: Polyethylene terephthalate (PET)"
        ),
        enthalpy_of_fusion_kj_per_kg=_NEARLY_AMORPHOUS,
        processing_temperature_c=_range("280", "300", _PET_MOULDED),
        decomposition_temperature_c=_figure("283", _HILADO),
    ),
    Polymer.ABS: ThermalData(
        specific_heat_kj_per_kg_k=_figure("1.3", _CRAWFORD),
        softening_temperature_c=_figure("90", f"{_BRITANNICA}, low end of the glass transition"),
        enthalpy_of_fusion_kj_per_kg=_AMORPHOUS,
        processing_temperature_c=_range("220", "260", _ABS_RECYCLED),
        decomposition_temperature_c=_figure("260", f"{_ABS_RECYCLED}: it crosslinks and loses impact strength"),
    ),
    Polymer.PVC: ThermalData(
        specific_heat_kj_per_kg_k=_figure("0.8", f"{_NETZSCH}, PVC-P, low end"),
        softening_temperature_c=_figure("80", f"{_INRS}, PVC, glass transition"),
        enthalpy_of_fusion_kj_per_kg=_AMORPHOUS,
        processing_temperature_c=_range("150", "200", _PVC_WORKS),
        decomposition_temperature_c=_figure("150", _PVC_WORKS),  # the stabiliser left in scrap is unknown
    ),
    Polymer.PA: ThermalData(  # polyamide 6 stands for the family
        specific_heat_kj_per_kg_k=_figure("1.59", f"{_NETZSCH}, PA6, low end"),
        softening_temperature_c=_figure("223", f"{_NETZSCH}, PA6, measured"),
        enthalpy_of_fusion_kj_per_kg=_NEARLY_AMORPHOUS,
        processing_temperature_c=_range("225", "290", _NYLON_MOULDED),
        decomposition_temperature_c=_figure("300", f"{_DGUV}, PA 6"),
    ),
    Polymer.PLA: ThermalData(
        specific_heat_kj_per_kg_k=_figure("1.0", "matmatch.com, Polylactide (PLA), data of M-Base, low end at 20 °C"),
        softening_temperature_c=_figure("130", f"{_NETZSCH}, PLA, where the measured melting begins"),
        enthalpy_of_fusion_kj_per_kg=_NEARLY_AMORPHOUS,
        processing_temperature_c=_range("190", "220", _PLA_EXTRUDED),
        decomposition_temperature_c=_figure("200", _VELGHE),
    ),
}
THERMAL_DATA: Mapping[Polymer, ThermalData] = MappingProxyType(_TABLE)
"""By polymer; there is none for OTHER and UNIDENTIFIED."""


_DENSITY_ACS = "ACS Omega 7 (2022) 13403, Table 1, high end"
_DENSITY_EUROPE = "Environmental Sciences Europe, doi 10.1186/s12302-015-0069-y, Table 1, high end"
HIGHEST_DENSITY_G_PER_CM3: Mapping[Polymer, Figure] = MappingProxyType(
    {
        Polymer.HDPE: _figure("0.97", f"{_BRITANNICA}, high end"),
        Polymer.LDPE: _figure("0.940", _DENSITY_ACS),
        Polymer.PP: _figure("0.910", _DENSITY_ACS),
        Polymer.PS: _figure("1.1", f"{_BRITANNICA}, high end"),
        Polymer.PET: _figure("1.4", f"{_BRITANNICA}, high end"),
        Polymer.ABS: _figure("1.21", "omnexus.specialchem.com, polymer properties, density, high end"),
        Polymer.PVC: _figure("1.58", _DENSITY_EUROPE),
        Polymer.PA: _figure("1.19", "matmake.com, density of polymers and plastics, PA610, high end"),
        Polymer.PLA: _figure("1.43", "CAMEO, Museum of Fine Arts Boston, polylactic acid, high end"),
    }
)
"""The highest published density of the solid polymer without fillers; there is none for OTHER and UNIDENTIFIED."""


@exactly
def heating_energy_kwh_per_kg(
    polymer: Polymer, to_c: Decimal | None = None, from_c: Decimal = ROOM_TEMPERATURE_C
) -> Decimal | None:
    """The least heat to bring a kilogram from a temperature in °C to another, melting it if that is hot enough.

    (specific heat * (to_c - from_c) + enthalpy of fusion, from the softening temperature on) / (3600 kJ/kWh)

    Each figure is the lowest of handbooks; losses of the machine are not counted, and the melt, which takes more heat
    a kelvin, is counted with the specific heat of the solid. A warning should leave room all the same: an average of
    whole processes may be lower still.

    >>> heating_energy_kwh_per_kg(Polymer.PET)
    Decimal('0.06166666666666666666666666666666667')

    Args:
        to_c: its melting or softening temperature if left out.

    Returns:
        Kilowatt-hours a kilogram, 0 if it is that hot already; None for a polymer without data.

    Raises:
        FigureTooLargeError: the temperature has more digits than the exact arithmetic carries.

    Source: the definition of specific heat and enthalpy of fusion; the figures name theirs in THERMAL_DATA.
    """
    data = THERMAL_DATA.get(polymer)
    if data is None:
        return None
    softening_c = data.softening_temperature_c.value
    rise = (softening_c if to_c is None else to_c) - from_c
    if rise <= ZERO:
        return ZERO
    heat_kj = data.specific_heat_kj_per_kg_k.value * rise
    if from_c < softening_c <= from_c + rise:
        heat_kj += data.enthalpy_of_fusion_kj_per_kg.value
    return heat_kj / KJ_PER_KWH
