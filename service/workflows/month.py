"""Whether a month pays: its plan, priced and costed, against fixed costs and available time."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from service import linear_programming
from service.domain.costing.cost_sheet import CostSheet, unit_costs
from service.domain.costing.hours_stated_twice import hours_stated_twice
from service.domain.costing.rate_card import DatedRate
from service.domain.listing.listings import Listing
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.cost_classes import CostClass
from service.domain.making.plausibility import cautions_of
from service.domain.making.products import Product
from service.domain.month.break_even import PlannedSale
from service.domain.month.fixed_costs import FixedCost, absorbed_by_a_piece, fixed_costs
from service.domain.month.month import Month, PlannedProduct
from service.domain.month.plan import MonthPlan, PlannedLine
from service.domain.month.resources_used import uses
from service.domain.month.statement import MonthStatement, month_statement
from service.domain.pricing.policy import PricingPolicy, Target
from service.domain.scheduling.period import Period
from service.domain.scheduling.plan_load import ORDINARY_WEEKS, loads
from service.domain.selling.base_quantity import sold_together_problems
from service.domain.selling.route import Route
from service.domain.values.errors import InvalidValueError, InvalidValuesError, PugmillError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.message import RateWarning
from service.domain.values.money import currency_problems_on, in_currency
from service.domain.values.references import Reference, Registered, Thing, part_in, references_in
from service.time_limit import next_step
from service.workflows.costing.cost_sheets import Batch, costed
from service.workflows.costing.costing import Costing, prepare
from service.workflows.costing.rate_card import rates_in_force
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed, supposed_in_force
from service.workflows.currency.exchange import Exchange
from service.workflows.errors import NotRegisteredError
from service.workflows.listing.listings import find_listing, price_question
from service.workflows.month_time import minutes_in, period_planned
from service.workflows.month_warnings import interest, prices_not_in_force, rates_changing
from service.workflows.pricing.pricing import price_on_the_way
from service.workflows.pricing.sale_way import PriceQuestion
from service.workflows.workspace import Workspace

_AS_IT_IS = PricingPolicy(target=Target.FIXED_PRICE, value=ZERO)
_IN_POLICY = ("value", "price_step", "price_endings", "display")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A line of the plan, its place, and the question about the price of its product."""

    place: int
    line: PlannedLine
    listing: Listing | None
    question: PriceQuestion

    @property
    def batch(self) -> Batch:
        """The batch that it is made in."""
        return self.question.batch

    def references(self) -> Iterator[Reference]:
        """Everything it refers to, each with its place in the plan."""
        product = ("product",), Thing("products", self.question.product)
        for path, thing in (product, *references_in(self.question.route)):
            yield self.path(path), thing

    def path(self, path: Sequence[str | int]) -> tuple[str | int, ...]:
        """The place in the plan of a member of the price question; a listing's own members map to the listing."""
        member = ("price",) if path == ("kept_at",) else tuple(path)
        if self.listing is not None and member != ("price",):
            member = ("listing",)
        elif member and member[0] in _IN_POLICY:
            member = ("policy", *member)
        return ("lines", self.place, *member)


@exactly
def plan_month(workspace: Workspace, plan: MonthPlan, supposed: Supposed = NOTHING_SUPPOSED) -> MonthStatement:
    """The statement of a month; nothing is stored.

    No exchange rate of a later day is published yet, so a plan for one is converted with those of today.

    Raises:
        InvalidValuesError: something named is not registered, a quantity is none of its product's unit, a line cannot
            be priced, or what is supposed does not fit what is registered; each is named.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: an amount cannot be converted on the date, or today if that is earlier.
        TooComplexError: the bills of all products together exceed the limit of one request.
    """
    period = period_planned(workspace, plan, supposed)
    as_of = _day_of_rates(workspace, plan, period)
    asked = _asked(workspace, plan, as_of, supposed)
    named = [each for line in asked for each in line.references()]
    converted_on = min(as_of, workspace.workshop.today())
    costing = prepare(workspace, named, as_of, supposed, converted_on=converted_on)
    found = _costed(workspace, costing, asked)
    pieces = [(found[line.batch][0], line.line.pieces) for line in asked]
    in_force = supposed_in_force(workspace, rates_in_force(workspace, as_of), supposed, as_of)
    month = Month(
        as_of=as_of,
        converted_on=converted_on,
        currency=workspace.workshop.currency,
        weeks=(plan.weeks or ORDINARY_WEEKS) if period is None else period.weeks,
        period=period,
        products=_products(costing, asked, [found[line.batch][1] for line in asked], workspace.workshop.currency),
        fixed_costs=_fixed_costs(plan, in_force, as_of, costing.exchange),
        target_profit=None if plan.target_profit is None else costing.exchange(plan.target_profit),
        income_tax_share=plan.income_tax_share,
        loads=tuple(loads(pieces, minutes_in(period, plan.weeks, costing))),
        uses=uses(pieces, {line.resource: line.rate for _, sheet in found.values() for line in sheet.lines}),
        supposed=supposed.things,
    )
    warnings = (
        *hours_stated_twice(in_force),
        *interest(workspace, plan, in_force, costing.exchange),
        *rates_changing(workspace, month, costing, supposed),
        *prices_not_in_force(workspace, plan, month, supposed),
    )
    return _stated(costing, month, plan, [bill for bill, _ in pieces], warnings)


def _costed(
    workspace: Workspace, costing: Costing, asked: Sequence[_Asked]
) -> dict[Batch, tuple[BillOfResources, CostSheet]]:
    """Bill and cost sheet of every batch; raises InvalidValuesError for quantities that are none of a unit."""
    if problems := list(_unit_problems(asked, costing.surroundings.catalogue.products)):
        raise InvalidValuesError(problems)
    also = dict.fromkeys(resource for line in asked for resource in line.question.route.resources())
    batches = list(dict.fromkeys(line.batch for line in asked))
    return dict(zip(batches, costed(workspace, costing, batches, also), strict=True))


def _stated(
    costing: Costing, month: Month, plan: MonthPlan, bills: Sequence[BillOfResources], warnings: Sequence[RateWarning]
) -> MonthStatement:
    cautions = cautions_of(bills, costing.surroundings.catalogue)
    propose = linear_programming.propose if plan.best_mix else None
    return month_statement(month, propose, costing.exchange.used.stated(), warnings, cautions)


def _day_of_rates(workspace: Workspace, plan: MonthPlan, period: Period | None) -> date:
    """The day of the rates; raises InvalidValuesError for currencies that were not in use on it."""
    today = workspace.workshop.today()
    as_of = plan.as_of or (today if period is None else period.nearest(today))
    if problems := list(currency_problems_on(plan, as_of)):
        raise InvalidValuesError(problems)
    return as_of


def _asked(workspace: Workspace, plan: MonthPlan, as_of: date, supposed: Supposed) -> list[_Asked]:
    """The price question of each line; raises InvalidValuesError for unknown listings and small batches."""
    asked, problems = [], []
    for place, line in enumerate(plan.lines):
        try:
            listing = None if line.listing is None else _listing(workspace, line.listing, supposed)
        except NotRegisteredError as error:
            problems.append(InvalidValueError(("lines", place, "listing"), f"{error}; register it first"))
            continue
        if listing is not None and line.standard_batch is not None:
            found = sold_together_problems(
                listing.base_quantity, line.standard_batch, "standard_batch", listing.pieces_per_order
            )
            problems += [InvalidValueError(("lines", place, *each.path), each.reason) for each in found]
        question = _question(line, as_of) if listing is None else _listed_question(line, listing, as_of)
        asked.append(_Asked(place=place, line=line, listing=listing, question=question))
    if problems:
        raise InvalidValuesError(problems)
    return asked


def _unit_problems(asked: Sequence[_Asked], products: Mapping[str, Product]) -> Iterator[InvalidValueError]:
    """Quantities that the unit of their product does not have; a listing's own batch is named with the listing."""
    for each in asked:
        unit, is_listed = products[each.question.product].unit, each.listing is not None
        for problem in each.line.problems_in(unit):
            yield InvalidValueError(("lines", each.place, *problem.path), problem.reason)
        if is_listed and each.line.standard_batch is None and (reason := unit.problem(each.question.quantity)):
            yield InvalidValueError(("lines", each.place, "listing"), f"its standard_batch {reason}")


def _listing(workspace: Workspace, code: str, supposed: Supposed) -> Listing:
    listing = supposed.of(Thing("listings", code), find_listing(workspace, code))
    assert isinstance(listing, Listing)
    return listing


def _question(line: PlannedLine, as_of: date) -> PriceQuestion:
    assert line.product is not None  # a line names a listing, or a product and its batch
    assert line.standard_batch is not None
    return PriceQuestion(
        product=line.product,
        quantity=line.standard_batch,
        as_of=as_of,
        policy=line.policy or _AS_IT_IS,
        route=Route.of(line),
        kept_at=line.price,
    )


def _listed_question(line: PlannedLine, listing: Listing, as_of: date) -> PriceQuestion:
    question = price_question(listing, as_of, line.price)
    return question if line.standard_batch is None else replace(question, quantity=line.standard_batch)


def _products(
    costing: Costing, asked: Sequence[_Asked], sheets: Sequence[CostSheet], home: str
) -> tuple[PlannedProduct, ...]:
    """Every line priced; raises InvalidValuesError with the reason for each line that cannot be priced."""
    products, problems = [], []
    for line, sheet in zip(asked, sheets, strict=True):
        next_step()
        try:
            products.append(_product(costing, line, sheet, home))
        except InvalidValuesError as error:
            problems += [InvalidValueError(line.path(each.path), each.reason) for each in error.problems]
        except PugmillError as error:
            problems.append(InvalidValueError(("lines", line.place), f"cannot be priced: {error}"))
    if problems:
        raise InvalidValuesError(problems)
    return tuple(products)


def _product(costing: Costing, asked: _Asked, sheet: CostSheet, home: str) -> PlannedProduct:
    line, costs, base = asked.line, unit_costs(sheet), asked.question.base_quantity
    way, found = price_on_the_way(costing, asked.question, sheet, home)
    tools = (each.amount for each in sheet.lines if each.cost_class is CostClass.TOOLING and part_in(each.resource))
    return PlannedProduct(
        product=asked.question.product,
        listing=line.listing,
        name=(asked.listing.name if asked.listing else "") or sheet.name,
        standard_batch=sheet.quantity,
        least=line.least_per_month,
        most=line.most_per_month,
        in_whole_batches=line.in_whole_batches,
        price=in_currency(found.asked, way.currency),
        base_quantity=base,
        shown_variable_cost=costs.shown_variable,
        sale=PlannedSale(
            pieces=line.pieces,
            net_price=way.brought_home(found.net_price) / base,
            proceeds=way.brought_home(found.proceeds) / base,
            variable_cost=costs.variable,
            tooling=sum(tools, ZERO) / sheet.quantity,
            unit=sheet.unit,
        ),
        absorbed=absorbed_by_a_piece(sheet),
    )


def _fixed_costs(
    plan: MonthPlan, in_force: Sequence[tuple[DatedRate, Registered]], as_of: date, exchange: Exchange
) -> tuple[FixedCost, ...]:
    """The fixed costs of the rate card without those left out, then those the plan adds.

    Raises:
        InvalidValuesError: a resource to leave out has no rate on the date.
    """
    known = {rate.resource for rate, _ in in_force}
    unknown = [
        InvalidValueError(("leave_out", place), f"there is no {resource} with a rate in force on {as_of}")
        for place, resource in enumerate(plan.leave_out)
        if resource not in known
    ]
    if unknown:
        raise InvalidValuesError(unknown)
    left_out = set(plan.leave_out)
    others = (
        FixedCost(resource=None, name=each.name, components={"amount": exchange(each.amount)})
        for each in plan.other_fixed_costs
    )
    return (
        *fixed_costs(((rate, facts) for rate, facts in in_force if rate.resource not in left_out), exchange),
        *others,
    )
