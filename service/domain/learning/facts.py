"""A product with other facts than it has: those that its records teach, or those that one batch had."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from service.domain.making.products import BillLine, Catalogue, Operation, Product
from service.domain.making.resources import Machine
from service.domain.records.observation import Fact, Learnable
from service.domain.values.exact import ONE, ZERO, exactly, half_up

Facts = Mapping[Learnable, Decimal]
_OF_OPERATIONS = (Fact.YIELD_SHARE, Fact.CYCLE_MINUTES, Fact.UNITS_PER_HOUR, Fact.SETUP_MINUTES, Fact.LOAD_FACTOR)
_OF_LINES = (Fact.PROCESS_LOSS_SHARE, Fact.RECLAIM_SHARE)


def load_factor_of(operation: Operation, machine: Machine) -> Decimal:
    """The share of its rated power that a machine draws at an operation."""
    return machine.load_factor if operation.load_factor is None else operation.load_factor


def can_be(fact: Fact, value: Decimal) -> bool:
    """Whether a fact can have the value, at its decimals: none is below 0, and no share above 1.

    Where records come to another one, something was not counted, or another fact is wrong.
    """
    rounded = half_up(value, fact.traits.decimals)
    return rounded >= 0 and not (fact.traits.is_share and rounded > 1)


def stated(fact: Fact, value: Decimal) -> Decimal | None:
    """The value as a product may state it: a loss below 0 is none, a load above 1 is 1; None if it cannot."""
    is_impossible = value <= 0 and fact in (Fact.YIELD_SHARE, Fact.LOAD_FACTOR, Fact.UNITS_PER_HOUR)
    if is_impossible or (fact is Fact.PROCESS_LOSS_SHARE and value >= 1):
        return None
    return max(ZERO, min(value, ONE) if fact.traits.is_share else value)


@exactly
def with_facts(catalogue: Catalogue, facts: Facts) -> Catalogue:
    """The catalogue with products of these facts; facts of what is no longer there are left out.

    A machine that drew more than its rated power is taken to be as strong as it drew. A yield of 0 has no product: that
    operation keeps its own.
    """
    strengths = _strengths(catalogue.products, facts)
    machines, taken = dict(catalogue.machines), dict(facts)
    for code, strength in strengths.items():
        machines[code] = replace(machines[code], rated_power_kw=machines[code].rated_power_kw * strength)
    for code, product in catalogue.products.items() if strengths else ():
        for each in product.operations:
            if each.machine in strengths:
                about = Learnable(Fact.LOAD_FACTOR, code, each.name)
                load = facts.get(about, load_factor_of(each, catalogue.machines[each.machine]))
                taken[about] = load / strengths[each.machine]
    named = {about.product for about in taken}
    products = {
        code: _product(each, code, taken) if code in named else each for code, each in catalogue.products.items()
    }
    return replace(catalogue, products=products, machines=machines)


def _strengths(products: Mapping[str, Product], facts: Facts) -> dict[str, Decimal]:
    """By machine, the greatest load factor above 1."""
    found: dict[str, Decimal] = {}
    for code, product in products.items():
        for each in product.operations:
            load = facts.get(Learnable(Fact.LOAD_FACTOR, code, each.name), ZERO)
            if each.machine is not None and load > 1:
                found[each.machine] = max(load, found.get(each.machine, ONE))
    return found


def _product(product: Product, code: str, facts: Facts) -> Product:
    return replace(
        product,
        operations=tuple(_operation(each, code, facts) for each in product.operations),
        bill_of_materials=tuple(_line(each, code, facts) for each in product.bill_of_materials),
    )


def _operation(operation: Operation, code: str, facts: Facts) -> Operation:
    members = tuple(fact for fact in _OF_OPERATIONS if _has(operation, fact))
    changes = dict(_changes(members, code, operation.name, facts))
    people = []
    for each in operation.labour:
        attendance = facts.get(Learnable(Fact.ATTENDANCE, code, operation.name, each.labour_grade), each.attendance)
        if attendance or each.setup_crew:
            people.append(replace(each, attendance=attendance))
    return replace(operation, labour=tuple(people), **changes)


def _has(operation: Operation, fact: Fact) -> bool:
    """Whether an operation has such a fact: no load at a bench, and either cycles or a throughput."""
    match fact:
        case Fact.LOAD_FACTOR:
            return operation.machine is not None
        case Fact.CYCLE_MINUTES:
            return operation.units_per_hour is None
        case Fact.UNITS_PER_HOUR:
            return operation.units_per_hour is not None
    return True


def _line(line: BillLine, code: str, facts: Facts) -> BillLine:
    return line if line.material is None else replace(line, **dict(_changes(_OF_LINES, code, line.material, facts)))


def _changes(members: tuple[Fact, ...], product: str, item: str, facts: Facts) -> Iterator[tuple[str, Any]]:
    for fact in members:
        value = facts.get(Learnable(fact, product, item))
        if value is not None and (allowed := stated(fact, value)) is not None:
            yield fact.traits.member, allowed


def stated_by(catalogue: Catalogue, about: Learnable) -> Iterator[Decimal]:
    """What the product states today of a fact, for each operation or line that states it."""
    product = catalogue.products.get(about.product)
    if product is None:
        return
    if about.fact in _OF_LINES:
        yield from (getattr(line, about.fact) for line in product.bill_of_materials if line.material == about.item)
        return
    for operation in product.operations:
        if operation.name != about.item:
            continue
        if about.fact is Fact.ATTENDANCE:
            yield from (each.attendance for each in operation.labour if each.labour_grade == about.grade)
        elif about.fact is Fact.LOAD_FACTOR and operation.machine is not None:
            yield load_factor_of(operation, catalogue.machines[operation.machine])
        elif _has(operation, about.fact):
            yield getattr(operation, about.fact)
