"""Plausibility of what was counted: less material than the good units contain was not saved, but not counted."""

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.nesting import made_in_order
from service.domain.making.products import Catalogue
from service.domain.making.resources import MaterialUse
from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import RecordBasis
from service.domain.values.exact import ZERO, exactly, readable
from service.domain.values.message import Fact, Message, PlausibilityWarning
from service.domain.values.references import Thing
from service.domain.values.units import Unit, several_of

_SHOWN_DECIMALS = 3
_ALL_BUT = Decimal("0.98")
"""Of what good units should contain: to miss less may come of weighing and rounding; common practice, no source."""


class _Together(NamedTuple):
    """Materials of one unit, any of which may have stood in for another.

    Attributes:
        contained: by the bill, in the good units.
        issued: as counted, or as estimated for the units begun where nobody counted.
        returned: as counted.
        is_estimated: whether nobody counted what was issued of some of them.
    """

    unit: Unit
    names: tuple[str, ...]
    contained: Decimal
    issued: Decimal
    returned: Decimal
    is_estimated: bool

    @property
    def is_too_little(self) -> bool:
        return self.issued - self.returned < self.unit.last_within(self.contained * _ALL_BUT)


@exactly
def record_warnings(
    record: BatchRecord, basis: RecordBasis, catalogue: Catalogue, supplied: Collection[str] = ()
) -> tuple[PlausibilityWarning, ...]:
    """A warning where less was counted as issued, without what came back, than the good units contain.

    Materials of one unit are taken together, for more of one may have stood in for another. Of what is not divided,
    such as screws, parts of one are left out.

    Args:
        basis: of the record.
        catalogue: the facts that it is compared with.
        supplied: materials that the customer brings; nothing is said of what they may have stood in for.
    """
    good = record.good_units, catalogue.products[record.product].unit
    return tuple(
        PlausibilityWarning(
            code="issued-below-contained",
            product=record.product,
            text=_told(each, *good),
            source="conservation of mass",
        )
        for each in _together(record, basis.begun, catalogue, supplied)
        if each.is_too_little
    )


def _together(
    record: BatchRecord, begun: BillOfResources, catalogue: Catalogue, supplied: Collection[str]
) -> Iterator[_Together]:
    issued = {each.material: each.issued for each in record.materials if each.issued is not None}
    returned = {each.material: each.returned or ZERO for each in record.materials}
    contained, estimated = _contained(record, catalogue), _estimated(begun)
    by_unit: dict[Unit, list[str]] = {}
    for code in contained:
        by_unit.setdefault(catalogue.materials[code].unit, []).append(code)
    for unit, codes in by_unit.items():
        if not issued.keys().isdisjoint(codes) and not {*codes}.intersection(supplied):
            yield _Together(
                unit=unit,
                names=tuple(catalogue.materials[code].name for code in codes),
                contained=sum((contained[code] for code in codes), ZERO),
                issued=sum((issued.get(code, estimated[code]) for code in codes), ZERO),
                returned=sum((returned.get(code, ZERO) for code in codes), ZERO),
                is_estimated=not issued.keys() >= {*codes},
            )


def _contained(record: BatchRecord, catalogue: Catalogue) -> Mapping[str, Decimal]:
    """How much of each direct material is in the good units, and in the sub-assemblies that are in them."""
    found: dict[str, Decimal] = {}
    units = {record.product: record.good_units}
    for code in made_in_order(record.product, catalogue.products):
        for line in catalogue.products[code].bill_of_materials:
            in_units = units[code] * line.quantity_per_piece
            if line.product is not None:
                units[line.product] = units.get(line.product, ZERO) + in_units
            elif in_units and line.material is not None:
                found[line.material] = found.get(line.material, ZERO) + in_units
    direct = MaterialUse.DIRECT_MATERIAL
    return {code: each for code, each in found.items() if catalogue.materials[code].use is direct}


def _estimated(bill: BillOfResources) -> Mapping[str, Decimal]:
    """What a bill draws of each material."""
    found: dict[str, Decimal] = {}
    for each in bill.issues:
        item = Thing.of(each.item)
        if item.collection == "materials":
            found[item.code] = found.get(item.code, ZERO) + each.issued
    return found


def _told(of: _Together, good: Decimal, unit: Unit) -> Message:
    figures = {"issued": of.issued, "returned": of.returned, "contained": of.contained, "good": good}
    facts: dict[str, Fact] = {name: readable(each, _SHOWN_DECIMALS) for name, each in figures.items()}
    facts |= {"names": of.names, "unit": several_of(of.unit), "units": several_of(unit, good)}
    told = Message("{issued} {unit} were issued, but {good} {units} contain {contained} {unit}: {names}", **facts)
    if of.returned:
        told = Message(
            "{issued} {unit} were issued and {returned} {unit} came back, but {good} {units} contain {contained} "
            "{unit}: {names}",
            **facts,
        )
    if of.is_estimated:
        told = Message("{told}, as estimated where nobody counted", told=told)
    return Message(
        "{told}. What was not counted is no saving. Count all that was issued, or check good_units and "
        "quantity_per_piece.",
        told=told,
    )
