"""Interest that a month bears by its own name and in the rates of machines: which names say so, and the warning."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.interest_counted_twice import interest_counted_twice, is_interest
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import MachineRate, TariffRate
from service.domain.making.resources import Machine
from service.domain.values.money import Money
from service.domain.values.references import Registered
from service.encoding import decoded
from tests.support import builders

INTEREST = {"residual_value": builders.money("4000"), "interest_share": "0.06"}
"""Of a press of 24,000: 14,000 × 0.06 ÷ 12 = 70 a month."""


def home(amount: Money) -> Decimal:
    return amount.amount


def machine(code: str, **terms: Any) -> tuple[DatedRate, Registered]:
    rate = decoded(builders.machine_rate(**terms), MachineRate)
    return DatedRate(resource=f"machines/{code}", valid_from=date(2026, 1, 1), terms=rate), Machine(name=code.title())


@pytest.mark.parametrize(
    ("name", "language"),
    [
        ("Interest on the loan for the extruder", "en"),
        ("Bank loans", "sv"),
        ("INTEREST", "de"),
        ("Kreditzinsen", "de"),
        ("Darlehen der Bank", "de"),
        ("Intereses del banco", "es"),
        ("Préstamo", "es"),
        ("Intérêts d’emprunt", "fr"),
        ("Prêt bancaire", "fr"),
        ("Hypotheekrente", "nl"),
        ("Rentelasten", "nl"),
        ("Lening", "nl"),
        ("Juros do empréstimo", "pt"),
        ("Inte\u0301re\u0302ts", "fr"),
    ],
)
def test_a_name_may_say_interest(name: str, language: str) -> None:
    assert is_interest(name, language)


@pytest.mark.parametrize(
    ("name", "language"),
    [
        ("The owner's own pay", "en"),
        ("Disinterested help", "en"),
        ("Rent", "nl"),
        ("Mietzins", "de"),
        ("Kreditkartengebühr", "de"),
        ("Rente der Eltern", "de"),
        ("Zinsen", "fr"),
        ("Hulpverlening", "nl"),
        ("Interesante", "es"),
        ("Jurista", "pt"),
        ("", "xx"),
    ],
)
def test_other_names_do_not(name: str, language: str) -> None:
    assert not is_interest(name, language)


def test_a_month_that_bears_both_is_warned_once_with_names_and_amount() -> None:
    rates = [machine("press", **INTEREST), machine("saw"), machine("extruder", **INTEREST)]

    (found,) = interest_counted_twice(["Loan", "Interest"], rates, home, "EUR")

    assert (found.code, found.resources) == ("interest-counted-twice", ("machines/press", "machines/extruder"))
    assert "It is entered as a fixed cost: Loan, Interest. " in found.text
    assert "hold 140.00 EUR of it a month: Press, Extruder. " in found.text


@pytest.mark.parametrize(
    ("costs", "rates"),
    [([], [machine("press", **INTEREST)]), (["Loan"], [machine("press", interest_share="0")]), (["Loan"], [])],
    ids=["no cost is interest", "no machine holds any", "no machine at all"],
)
def test_neither_alone_is_warned_of(costs: list[str], rates: list[tuple[DatedRate, Registered]]) -> None:
    assert interest_counted_twice(costs, rates, home, "EUR") == ()


def test_other_resources_hold_none() -> None:
    tariff = DatedRate(
        resource="tariffs/grid", valid_from=date(2026, 1, 1), terms=decoded(builders.tariff_rate(), TariffRate)
    )

    assert interest_counted_twice(["Loan"], [(tariff, Machine(name="Grid"))], home, "EUR") == ()
