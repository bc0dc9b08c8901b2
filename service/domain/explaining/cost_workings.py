"""How a cost sheet was computed: quantities, rates, amounts and sums, each with its formula."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from service.domain.costing.cost_sheet import CONVERSION, PRIME, CostedBatch, CostSheet, cost_sheet
from service.domain.costing.cost_statement import CostStatement, StatedLine, Subtotal
from service.domain.costing.rate_card import RateCard, components_of, sums_of
from service.domain.costing.rates import Convert
from service.domain.explaining.naming import naming
from service.domain.explaining.traced_facts import with_traced_figures
from service.domain.explaining.workbook import Section, Workbook
from service.domain.making.bill_of_resources import BillOfResources, ResourceLine, Step
from service.domain.making.cost_classes import CostClass
from service.domain.making.explosion import bill_of_resources
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.making.products import Catalogue
from service.domain.values.errors import TooComplexError
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.references import Registered, Thing, part_of
from service.domain.values.shown import shown
from service.domain.values.traced import Traced

_SETUP = OverheadBase.SETUP.traits.unit
MAX_FIGURES = 2_000
"""The most operations, issues of material and lines that are explained; nobody would read more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CostWorkings(CostedBatch):
    """Every figure of a cost sheet with its formula.

    Attributes:
        sections: in the order of computation: quantities product by product, rates, amounts, sums.
    """

    sections: tuple[Section, ...]


@exactly
def cost_workings(
    statement: CostStatement,
    catalogue: Catalogue,
    card: RateCard,
    pools: Mapping[str, Overhead],
    convert: Convert,
    orders: Decimal = ONE,
) -> CostWorkings:
    """Explains a shown sheet by running the functions of costing again with traced figures.

    `convert` should use traced exchange rates (`traced_conversion`), which then appear in the formulas.

    Raises:
        TooComplexError: there are more than MAX_FIGURES operations, issues and lines.
    """
    pieces, known = Traced(statement.quantity, label=naming(statement.unit).batch), _traced_catalogue(catalogue)
    bill = bill_of_resources(statement.product, pieces, known, orders=Traced(orders, label="orders"))
    bill = replace(bill, lines=tuple(map(_with_setups, bill.lines)))
    if len(bill.steps) + len(bill.issues) + len(bill.lines) > MAX_FIGURES:
        raise TooComplexError("operations, issues and lines in workings", MAX_FIGURES)
    gathered = _Gathered(Workbook(), statement, bill, known)
    gathered.quantities()
    gathered.costs(_traced_rates(card, bill), pools, convert, pieces)
    gathered.sums()
    return shown(CostWorkings, "", statement, sections=gathered.book.sections())


def _traced_catalogue(catalogue: Catalogue) -> Catalogue:
    """The facts with traced figures; those of a product are named by its unit."""
    products = {
        code: with_traced_figures(each, names=naming(each.unit).fields) for code, each in catalogue.products.items()
    }
    return replace(with_traced_figures(replace(catalogue, products={})), products=products)


def _with_setups(line: ResourceLine) -> ResourceLine:
    """Names the number of setups, which is counted and not computed."""
    return replace(line, quantity=Traced(line.quantity, label="setups")) if line.unit == _SETUP else line


def _traced_rates(card: RateCard, bill: BillOfResources) -> RateCard:
    rates = {
        resource: with_traced_figures(card.rates[resource]) for resource in bill.resources if resource in card.rates
    }
    return RateCard(as_of=card.as_of, currency=card.currency, rates=rates)


@dataclass(frozen=True, slots=True)
class _Gathered:
    """Notes figures in the order in which a person would compute them."""

    book: Workbook
    statement: CostStatement
    bill: BillOfResources
    catalogue: Catalogue

    def quantities(self) -> None:
        """Quantities of each product, pieces from the last operation backwards, then of each resource."""
        for code, pieces in self.bill.pieces_made.items():
            product = self.catalogue.products[code]
            names, unit = naming(product.unit), product.unit.value
            self.book.section("Quantities", product.name)
            self.book.note(pieces, names.made, unit)
            steps = [step for step in self.bill.steps if step.product == code]
            for step in reversed(steps):
                self.book.note(step.pieces_started, names.started, unit, step.operation)
            for step in steps:
                self._operation(step)
            self._issues(code)
        self.book.section("Quantities of the batch")
        for line in self.bill.lines:
            self.book.note(line.quantity, "quantity", line.unit, line.name)

    def _operation(self, step: Step) -> None:
        self._learning(step.learning_factor)
        for figure, name, unit in (
            (step.cycles, "cycles", ""),
            (step.run_minutes, "run minutes", "min"),
            (step.machine_minutes, "machine minutes", "min"),
            (step.electricity_kwh, "electricity in kWh", "kWh"),
        ):
            self.book.note(figure, name, unit, step.operation)
        for grade, minutes in step.labour_minutes.items():
            name = self.catalogue.labour_grades[grade].name
            self.book.note(minutes, "labour minutes", "min", f"{step.operation}, {name}")

    def _learning(self, factor: Decimal) -> None:
        for exponent in _learning_exponents(factor):
            self.book.note(exponent, "learning exponent", "")
        self.book.note(factor, "learning factor", "")

    def _issues(self, code: str) -> None:
        contained = naming(self.catalogue.products[code].unit).contained
        for issue in self.bill.issues:
            if issue.product == code:
                collection, item = Thing.of(issue.item)
                if collection == "materials":
                    material = self.catalogue.materials[item]
                    name, unit = material.name, material.unit.value
                else:
                    name, unit = self.catalogue.products[item].name, self.catalogue.products[item].unit.value
                self.book.note(issue.in_good_pieces, contained, unit, name)
                self.book.note(issue.issued, "issued", unit, name)

    def costs(self, card: RateCard, pools: Mapping[str, Overhead], convert: Convert, pieces: Decimal) -> None:
        """The rates with their components, and each line for the batch and for a piece."""
        names = {line.resource: line.name for line in self.bill.lines}
        names |= {pool.resource: pool.name for pool in self.bill.value_pools}
        units = {line.resource: line.unit for line in self.bill.lines}
        components = components_of(card, self.bill.resources, pools, convert)
        rates = sums_of(components)
        for resource, parts in components.items():
            self.book.section("Rate", self._name_of(resource), card.rates[resource].valid_from)
            for part, amounts in parts.items():
                whole = part_of(resource, part)
                if whole in names:
                    unit = f"{card.currency}/{units[whole]}" if whole in units else ""
                    for name, amount in amounts.items():
                        self.book.note(amount, name, unit, names[whole])
                    self.book.note(rates[whole], "rate", unit, names[whole])
        self._lines(cost_sheet(self.bill, rates, card), pieces)

    def _name_of(self, resource: str) -> str:
        collection, code = Thing.of(resource)
        things: Mapping[str, Registered] = getattr(self.catalogue, collection.replace("-", "_"))
        return things[code].name

    def _lines(self, sheet: CostSheet, pieces: Decimal) -> None:
        both: list[tuple[StatedLine, Decimal]] = []
        self.book.section("Cost of the batch")
        for line, stated in zip(sheet.lines, self.statement.lines, strict=True):
            self.book.note(line.quantity, "value of the base", sheet.currency, line.name)
            self.book.note(line.amount, "amount", sheet.currency, line.name, stated.amount.amount)
            both.append((stated, line.amount))
        names = naming(self.statement.unit)
        self.book.section(names.cost)
        for stated, amount in both:
            self.book.note(amount / pieces, names.amount, sheet.currency, stated.name, stated.amount_per_piece.amount)

    def sums(self) -> None:
        for title, is_batch in (("Sums of the batch", True), (naming(self.statement.unit).sums, False)):
            self.book.section(title)
            for name, subtotal, lines in _summed(self.statement):
                amounts = [(line.amount if is_batch else line.amount_per_piece).amount for line in lines]
                total = sum((Traced(each, label="amount on the sheet") for each in amounts), ZERO)
                shown = subtotal.per_batch if is_batch else subtotal.per_piece
                self.book.note(total, name.replace("_", " "), self.statement.currency, on_sheet=shown.amount)


def _learning_exponents(factor: Decimal) -> Iterator[Traced]:
    """The exponents in the formula of a learning factor, each once."""
    waiting = [factor]
    found: dict[int, Traced] = {}
    while waiting:
        figure = waiting.pop()
        if isinstance(figure, Traced):
            waiting.extend(figure.operands)
            if figure.operator == "log2":
                found[id(figure)] = figure
    yield from found.values()


def _summed(statement: CostStatement) -> Iterator[tuple[str, Subtotal, list[StatedLine]]]:
    """The subtotals with the lines they are the sums of."""
    sums, lines = statement.subtotals, statement.lines
    for name, subtotal in statement.cost_classes.items():
        yield name, subtotal, [line for line in lines if line.cost_class is CostClass(name)]
    yield "prime_cost", sums.prime_cost, [line for line in lines if line.cost_class in PRIME]
    yield "conversion_cost", sums.conversion_cost, [line for line in lines if line.cost_class in CONVERSION]
    yield "variable_cost", sums.variable_cost, [line for line in lines if line.variable]
    yield "fixed_cost", sums.fixed_cost, [line for line in lines if not line.variable]
    yield "full_cost", sums.full_cost, list(lines)
