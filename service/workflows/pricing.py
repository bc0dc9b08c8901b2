"""What to ask for a product, and what is kept at a price."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.cautions import Caution
from service.domain.cost_sheet import CostSheet
from service.domain.errors import InvalidValueError, InvalidValuesError, MissingRate, MissingRatesError
from service.domain.exact import ZERO, exactly
from service.domain.money import is_at_minor_unit
from service.domain.plausibility import Implausibility, cautions_of, warnings
from service.domain.price_statement import PriceStatement, price_statement
from service.domain.pricing import Price, PricingPolicy, kept_at, price, unit_costs
from service.domain.rates import DatedRate, TaxRate
from service.domain.resources import Path, Tax
from service.store import rates, registrations
from service.store.database import Database
from service.store.workshops import Workshop
from service.workflows.costing import costed, prepare, with_first_days
from service.workflows.registering import described


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
    costing = prepare(database, workshop, [code], question.as_of)
    ((bill, sheet),) = costed(database, workshop, costing, [(code, question.quantity)])
    tax_share = _tax_share(database, workshop, question.tax, question.as_of)
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


def _tax_share(database: Database, workshop: Workshop, code: str | None, as_of: date) -> Decimal:
    if code is None:
        return ZERO
    _, rate = taxes_on(database, workshop, [(("tax",), code)], as_of)[code]
    assert isinstance(rate.terms, TaxRate)  # a tax has no other terms
    return rate.terms.rate_share


def taxes_on(
    database: Database, workshop: Workshop, named: Iterable[tuple[Path, str]], as_of: date
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
        with database.reading() as connection:
            registered = registrations.find_registration(connection, workshop.workshop_id, "taxes", code)
            rate = rates.find_rate_on(connection, workshop.workshop_id, "taxes", code, as_of)
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
        raise with_first_days(database, workshop, MissingRatesError(as_of, missing))
    return found
