"""What a batch consumes, what it costs, what to ask for it: on any date, and what if other rates held."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.bill import BillOfResources, bill_of_resources, stated
from service.domain.cautions import Caution
from service.domain.cost_sheet import CostSheet, cost_sheet
from service.domain.cost_statement import CostStatement, cost_statement
from service.domain.errors import InvalidValueError, InvalidValuesError, MissingRate, MissingRatesError
from service.domain.exact import ZERO, exactly
from service.domain.exchange import DayRates, ExchangeRates
from service.domain.money import Money, is_at_minor_unit
from service.domain.plausibility import Implausibility, cautions_of, warnings
from service.domain.pricing import Price, PriceStatement, PricingPolicy, kept_at, price, price_statement, unit_costs
from service.domain.rates import DatedRate, RateCard, RateTerms, TaxRate, rate_problems, unit_rates
from service.domain.resources import Overhead, Path, Tax
from service.store import exchange, registrations
from service.store.database import Connection, Database
from service.store.registrations import Surroundings
from service.store.workshops import Workshop
from service.workflows.errors import NotRegisteredError
from service.workflows.registering import described

WhatIf = Mapping[str, RateTerms]
"""Terms that replace those in force, by resource, for one answer only."""


class Exchange:
    """Converts amounts on a date, reading rates only once there is a foreign one; remembers the days used."""

    def __init__(self, connection: Connection, workshop: Workshop, as_of: date) -> None:
        self._connection, self._workshop, self._as_of = connection, workshop, as_of
        self._rates: ExchangeRates | None = None
        self._used: dict[tuple[date, str], DayRates] = {}

    def __call__(self, money: Money) -> Decimal:
        """The amount in the workshop's currency.

        Raises:
            MissingExchangeRateError: no rate within the maximum age.
        """
        if money.currency == self._workshop.currency:
            return money.amount
        if self._rates is None:
            empty = ExchangeRates(as_of=self._as_of)
            days = exchange.days_until(self._connection, self._workshop.workshop_id, self._as_of, empty.max_age_days)
            self._rates = ExchangeRates(as_of=self._as_of, days=days)
        day = self._rates.day_for(money.currency, self._workshop.currency)
        self._used[day.published_on, day.source] = day
        return self._rates.converted(money, self._workshop.currency)

    @property
    def used(self) -> ExchangeRates:
        """The published days that were needed, and no others."""
        return ExchangeRates(as_of=self._as_of, days=tuple(self._used[key] for key in sorted(self._used)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Costing:
    """Everything needed to cost some products on a date.

    Attributes:
        surroundings: the products, what they name, and the rates.
        card: the rates in force on the date, what-if terms included.
        exchange: converts amounts, and remembers the exchange rates used.
    """

    surroundings: Surroundings
    card: RateCard
    exchange: Exchange

    def bill(self, code: str, quantity: int) -> BillOfResources:
        """What a batch consumes."""
        return bill_of_resources(code, quantity, self.surroundings.catalogue)

    def sheet(self, bill: BillOfResources) -> CostSheet:
        """What it costs.

        Raises:
            MissingRatesError: naming every resource without a rate.
            MissingExchangeRateError: a rate in another currency cannot be converted.
        """
        rates = unit_rates(self.card, bill.resources, pools_of(self.surroundings), self.exchange)
        return cost_sheet(bill, rates, as_of=self.card.as_of, currency=self.card.currency)


def pools_of(surroundings: Surroundings) -> dict[str, Overhead]:
    """The overhead pools by resource."""
    return {f"overheads/{code}": pool for code, pool in surroundings.catalogue.overheads.items()}


def prepare(
    connection: Connection, workshop: Workshop, products: Iterable[str], as_of: date, what_if: WhatIf | None = None
) -> Costing:
    """Load what costing these products on the date takes.

    Raises:
        NotRegisteredError: one of the products is not registered.
        InvalidValuesError: a what-if rate does not fit what it is for.
    """
    wanted = list(products)
    around = registrations.surroundings(connection, workshop.workshop_id, wanted, as_of)
    for code in wanted:
        if code not in around.catalogue.products:
            raise NotRegisteredError(described("products", code))
    card = RateCard(as_of=as_of, currency=workshop.currency, rates=around.rates)
    if what_if:
        _check_what_if(connection, workshop, what_if)
        card = card.replaced(what_if)
    return Costing(surroundings=around, card=card, exchange=Exchange(connection, workshop, as_of))


def _check_what_if(connection: Connection, workshop: Workshop, what_if: WhatIf) -> None:
    problems = []
    for resource, terms in what_if.items():
        collection, _, code = resource.partition("/")
        found = registrations.find_registration(connection, workshop.workshop_id, collection, code)
        if found is None or found.retired_at is not None:
            problems.append(InvalidValueError(("rates", resource), f"there is no {described(collection, code)}"))
        else:
            problems += [
                InvalidValueError(("rates", resource, *problem.path), problem.reason)
                for problem in rate_problems(terms, found.facts)
            ]
    if problems:
        raise InvalidValuesError(problems)


def _with_first_days(connection: Connection, workshop: Workshop, error: MissingRatesError) -> MissingRatesError:
    """The error, saying besides when each missing rate first begins."""
    firsts = registrations.first_rate_days(
        connection, workshop.workshop_id, (missing.resource for missing in error.missing)
    )
    return MissingRatesError(
        error.as_of,
        [
            MissingRate(resource=missing.resource, first_valid_from=firsts.get(missing.resource))
            for missing in error.missing
        ],
    )


def costed(
    connection: Connection, workshop: Workshop, costing: Costing, batches: Iterable[tuple[str, int]]
) -> list[tuple[BillOfResources, CostSheet]]:
    """The bill and the cost sheet of each batch.

    Raises:
        MissingRatesError: naming every resource without a rate, and when its first one begins.
    """
    try:
        return [(bill, costing.sheet(bill)) for bill in (costing.bill(*batch) for batch in batches)]
    except MissingRatesError as error:
        raise _with_first_days(connection, workshop, error) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedBill:
    """What a batch consumes, as it is shown.

    Attributes:
        bill: the quantities, at most nine decimals each.
        warnings: what looks implausible; never a refusal.
        cautions: where the work or the product can hurt someone.
    """

    bill: BillOfResources
    warnings: tuple[Implausibility, ...]
    cautions: tuple[Caution, ...]


def bill_of_product(database: Database, workshop: Workshop, code: str, quantity: int) -> StatedBill:
    """Everything a batch consumes, in physical units; no rates are needed.

    Raises:
        NotRegisteredError: the product is not registered.
    """
    with database.reading() as connection:
        around = registrations.surroundings(connection, workshop.workshop_id, [code], date.min)
    if code not in around.catalogue.products:
        raise NotRegisteredError(described("products", code))
    bill = bill_of_resources(code, quantity, around.catalogue)
    return StatedBill(
        bill=stated(bill), warnings=warnings(bill, around.catalogue), cautions=cautions_of(bill, around.catalogue)
    )


def cost_product(
    database: Database, workshop: Workshop, code: str, quantity: int, as_of: date, what_if: WhatIf | None = None
) -> CostStatement:
    """What a batch costs on a date, line by line; with other rates if these are given.

    Raises:
        NotRegisteredError: the product is not registered.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: a rate in another currency cannot be converted.
    """
    with database.reading() as connection:
        costing = prepare(connection, workshop, [code], as_of, what_if)
        ((bill, sheet),) = costed(connection, workshop, costing, [(code, quantity)])
    used = dict.fromkeys(line.resource.partition("#")[0] for line in sheet.lines)
    return cost_statement(
        sheet,
        rates_valid_from={resource: costing.card.rates[resource].valid_from for resource in used},
        exchange_rates=costing.exchange.used.days,
        warnings=warnings(bill, costing.surroundings.catalogue),
        cautions=cautions_of(bill, costing.surroundings.catalogue),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceQuestion:
    """What is asked about a price.

    Attributes:
        quantity: pieces in the batch.
        as_of: the date of the rates.
        policy: how the price is found; for the inverse question, its floor and display alone count.
        tax: code of the tax; none if left out.
        kept_at: the inverse question: what is kept at this price.
    """

    quantity: int
    as_of: date
    policy: PricingPolicy
    tax: str | None = None
    kept_at: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceSheet:
    """What to ask for a product, and what is kept.

    Attributes:
        product: its code.
        name: its name.
        quantity: pieces in the batch.
        as_of: the date of the rates.
        currency: of every amount.
        tax: code of the tax, if any.
        policy: what was aimed at; None for the inverse question.
        price_per_piece: the price with every term of the way.
        warnings: what looks implausible about the product.
        cautions: where the work or the product can hurt someone; a price never implies fitness for a use.
    """

    product: str
    name: str
    quantity: int
    as_of: date
    currency: str
    tax: str | None
    policy: PricingPolicy | None
    price_per_piece: PriceStatement
    warnings: tuple[Implausibility, ...]
    cautions: tuple[Caution, ...]


def price_product(database: Database, workshop: Workshop, code: str, question: PriceQuestion) -> PriceSheet:
    """What to ask for a piece of a batch, or what is kept at a given price.

    Raises:
        NotRegisteredError: the product or the tax is not registered.
        InvalidValuesError: a price, a step or an ending is finer than the currency's minor unit.
        MissingRatesError: naming every resource without a rate.
    """
    _check_grid(question, workshop.currency)
    with database.reading() as connection:
        costing = prepare(connection, workshop, [code], question.as_of)
        ((bill, sheet),) = costed(connection, workshop, costing, [(code, question.quantity)])
        tax_share = _tax_share(connection, workshop, question.tax, question.as_of)
    priced = _priced(question, sheet, tax_share)
    policy = None if question.kept_at is not None else question.policy
    return PriceSheet(
        product=code,
        name=sheet.name,
        quantity=question.quantity,
        as_of=question.as_of,
        currency=workshop.currency,
        tax=question.tax,
        policy=policy,
        price_per_piece=price_statement(priced, policy, quantity=question.quantity, currency=workshop.currency),
        warnings=warnings(bill, costing.surroundings.catalogue),
        cautions=cautions_of(bill, costing.surroundings.catalogue),
    )


def _check_grid(question: PriceQuestion, currency: str) -> None:
    problems = list(question.policy.grid_problems(currency))
    if question.kept_at is not None and not is_at_minor_unit(question.kept_at, currency):
        problems.append(InvalidValueError(("kept_at",), f"must be a multiple of the minor unit of {currency}"))
    if problems:
        raise InvalidValuesError(problems)


@exactly
def _priced(question: PriceQuestion, sheet: CostSheet, tax_share: Decimal) -> Price:
    costs = unit_costs(sheet)
    if question.kept_at is not None:
        return kept_at(question.kept_at, question.policy, costs, tax_share=tax_share, currency=sheet.currency)
    return price(question.policy, costs, tax_share=tax_share, currency=sheet.currency)


def _tax_share(connection: Connection, workshop: Workshop, code: str | None, as_of: date) -> Decimal:
    if code is None:
        return ZERO
    _, rate = taxes_on(connection, workshop, [(("tax",), code)], as_of)[code]
    assert isinstance(rate.terms, TaxRate)  # a tax has no other terms
    return rate.terms.rate_share


def taxes_on(
    connection: Connection, workshop: Workshop, named: Iterable[tuple[Path, str]], as_of: date
) -> dict[str, tuple[Tax, DatedRate]]:
    """The taxes and their rates on a date, by code.

    Args:
        named: where each is named, and its code.

    Raises:
        InvalidValuesError: one is not registered.
        MissingRatesError: one has no rate on the date.
    """
    found: dict[str, tuple[Tax, DatedRate]] = {}
    problems, missing = [], []
    for path, code in named:
        registered = registrations.find_registration(connection, workshop.workshop_id, "taxes", code)
        rate = registrations.find_rate_on(connection, workshop.workshop_id, "taxes", code, as_of)
        if registered is None or registered.retired_at is not None:
            problems.append(InvalidValueError(path, f"there is no {described('taxes', code)}; register it first"))
        elif rate is None:
            missing.append(MissingRate(resource=f"taxes/{code}"))
        else:
            assert isinstance(registered.facts, Tax)  # the collection holds nothing else
            found[code] = (registered.facts, rate)
    if problems:
        raise InvalidValuesError(problems)
    if missing:
        raise _with_first_days(connection, workshop, MissingRatesError(as_of, missing))
    return found
