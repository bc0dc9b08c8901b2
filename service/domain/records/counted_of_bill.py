"""Whether what a record counts belongs to the batch of its product."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.making.nesting import made_in_order
from service.domain.making.overheads import Overhead
from service.domain.making.products import Catalogue
from service.domain.records.batch_record import BatchRecord
from service.domain.values.errors import InvalidValueError, Path
from service.nearest import did_you_mean


@dataclass(frozen=True, slots=True, kw_only=True)
class _Consumed:
    """The codes of all that a batch of a product consumes, with its sub-assemblies."""

    operations: dict[str, list[str]]
    materials: set[str]
    grades: set[str]
    tariffs: set[str]


def _consumed(code: str, catalogue: Catalogue) -> _Consumed:
    products = {each: catalogue.products[each] for each in made_in_order(code, catalogue.products)}
    operations = [each for product in products.values() for each in product.operations]
    machines = [catalogue.machines[each.machine] for each in operations if each.machine is not None]
    return _Consumed(
        operations={each: [operation.name for operation in product.operations] for each, product in products.items()},
        materials={
            line.material
            for product in products.values()
            for line in product.bill_of_materials
            if line.material is not None
        },
        grades={people.labour_grade for each in operations for people in each.labour},
        tariffs={machine.tariff for machine in machines if machine.tariff is not None},
    )


def foreign_counts(record: BatchRecord, catalogue: Catalogue) -> Iterator[InvalidValueError]:
    """A problem for everything counted that a batch of the product does not consume, with the name nearest to it."""
    consumed = _consumed(record.product, catalogue)
    bill = f"the bill of resources of '{record.product}'"

    def unknown(what: str, name: str, names: Collection[str], path: Path) -> Iterator[InvalidValueError]:
        if name not in names:
            among = did_you_mean(name, names) or (f"; there are {', '.join(sorted(names))}" if names else "")
            yield InvalidValueError(path, f"{bill} has no {what} '{name}'{among}")

    for place, material in enumerate(record.materials):
        yield from unknown("material", material.material, consumed.materials, ("materials", place, "material"))
    for place, grade in enumerate(record.labour):
        yield from unknown("labour grade", grade.labour_grade, consumed.grades, ("labour", place, "labour_grade"))
    for place, operation in enumerate(record.operations):
        product = operation.product or record.product
        path: Path = ("operations", place)
        if product not in consumed.operations:
            yield from unknown("product", product, consumed.operations, (*path, "product"))
        else:
            names = consumed.operations[product]
            yield from unknown("operation", operation.operation, names, (*path, "operation"))
    for place, electricity in enumerate(record.electricity):
        path = ("electricity", place)
        known = list(unknown("tariff", electricity.tariff, consumed.tariffs, (*path, "tariff")))
        yield from known
        if not known and electricity.band is not None:
            bands = catalogue.tariffs[electricity.tariff].bands
            yield from unknown("band", electricity.band, bands, (*path, "band"))
    for place, overhead in enumerate(record.overheads):
        path = ("overheads", place, "overhead")
        yield from unknown("overhead pool", overhead.overhead, catalogue.overheads, path)
        pool = catalogue.overheads.get(overhead.overhead)
        yield from () if pool is None else _fixed(pool, path)


def _fixed(pool: Overhead, path: Path) -> Iterator[InvalidValueError]:
    if not pool.variable:
        yield InvalidValueError(path, "is a fixed pool, which no batch is paid for; what it cost belongs to the month")


def uneven_units(record: BatchRecord, catalogue: Catalogue) -> Iterator[InvalidValueError]:
    """A problem for every number of units that is none of its product's unit, such as half a piece."""
    counted: list[tuple[Path, str, Decimal | None]] = [
        (("good_units",), record.product, record.good_units),
        (("units_started",), record.product, record.units_started),
    ]
    for place, each in enumerate(record.operations):
        counted.append((("operations", place, "scrap"), each.product or record.product, each.scrap))
    for path, product, units in counted:
        if units is not None and (problem := catalogue.products[product].unit.problem(units)):
            yield InvalidValueError(path, problem)
