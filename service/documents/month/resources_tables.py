"""What the plan takes of materials, electricity and work."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from service.documents.month.month_writing import MonthWriting
from service.documents.writing.formats import isolated
from service.documents.writing.tables import Cell, TableView
from service.domain.month.resources_used import MaterialTaken
from service.domain.values.units import Unit

_SYMBOLS = {
    Unit.KILOGRAM: "kg",
    Unit.LITRE: "l",
    Unit.METRE: "m",
    Unit.SQUARE_METRE: "m²",
    Unit.CUBIC_METRE: "m³",
    Unit.HOUR: "h",
}


def materials_table(of: MonthWriting) -> TableView | None:
    """The materials that the plan takes; None if it takes none."""
    words, used = of.words, of.month.resources_used.materials
    if not used:
        return None
    is_wasted = any(each.disposed for each in used)
    waste = (words("To be disposed of"),) if is_wasted else ()
    return TableView(
        title=words("Materials"),
        notes=(
            words(
                "With the losses and the scrap that are expected. What comes back is reground, as the same material or "
                "as another one."
            ),
            *_paid(of, used),
        ),
        columns=(words("What"), words("Issued"), words("Comes back"), words("Used up"), *waste),
        rows=tuple(
            (
                Cell(text=isolated(each.name), note=each.resource),
                Cell(text=_in_units(of, each.issued, each.unit)),
                Cell(text=_in_units(of, each.reclaimed, each.unit)),
                Cell(text=_used_up(of, each)),
                *((Cell(text=_in_units(of, each.disposed, each.unit)),) if is_wasted else ()),
            )
            for each in used
        ),
    )


def _used_up(of: MonthWriting, material: MaterialTaken) -> str:
    """The net quantity; more of a material may come back, of others too, than is issued."""
    if material.net >= 0:
        return _in_units(of, material.net, material.unit)
    return of.words("{quantity} gained", quantity=_in_units(of, -material.net, material.unit))


def _paid(of: MonthWriting, used: Iterable[MaterialTaken]) -> Iterator[str]:
    """What the workshop is paid for taking materials, and what it pays to get rid of waste."""
    for each in used:
        name = isolated(each.name)
        if each.gate_fee is not None:
            yield of.words("For taking {name} you are paid {amount}.", name=name, amount=of.money(each.gate_fee))
        if each.disposal_cost is not None and each.disposal_cost.amount:
            cost = of.money(each.disposal_cost)
            yield of.words("To get rid of the waste of {name} costs {amount}.", name=name, amount=cost)


def energy_and_work_table(of: MonthWriting) -> TableView | None:
    """Electricity by band and hours by grade; None if the plan takes neither."""
    words, rows = of.words, tuple(_rows(of))
    if not rows:
        return None
    return TableView(
        title=words("Electricity and work"), columns=(words("What"), words("What the plan takes")), rows=rows
    )


def _rows(of: MonthWriting) -> Iterator[tuple[Cell, Cell]]:
    used = of.month.resources_used
    for band in used.electricity:
        yield Cell(text=isolated(band.name), note=band.resource), Cell(text=f"{of.quantity(band.kwh)} kWh")
    for grade in used.labour:
        yield Cell(text=isolated(grade.name), note=grade.resource), Cell(text=of.hours(grade.hours))


def _in_units(of: MonthWriting, quantity: Decimal, unit: str) -> str:
    told = of.quantity(quantity)
    symbol = _SYMBOLS.get(Unit(unit))
    return f"{told} {symbol}" if symbol else of.words("{pieces} pieces", pieces=told)
