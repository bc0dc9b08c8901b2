"""A plan for a later day in another currency: the last published exchange rates, as old as they may be today."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest

from service import clock
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.month.statement import MonthStatement
from service.domain.values.errors import InvalidValuesError
from tests.domain.examples import D, euros
from tests.support import builders
from tests.support.builders import planned
from tests.workflows.listing.repriced import applied
from tests.workflows.owner import Owner

TODAY, LATER = date(2026, 11, 25), "2027-06-30"
LOAN = {"name": "Loan", "amount": builders.money("250", "USD")}


@pytest.fixture(autouse=True)
def stopped() -> Iterator[None]:
    with clock.set_to(datetime(2026, 11, 25, 12, tzinfo=UTC)):
        yield


@pytest.fixture
def lender(furnished: Owner) -> Owner:
    """The last exchange rates are five days old."""
    furnished.put_exchange_rates("2026-11-20", USD="1.25")
    return furnished


def loan(owner: Owner, **changes: Any) -> MonthStatement:
    return owner.plan_month(other_fixed_costs=[LOAN], **changes)


def test_the_age_is_counted_from_today_and_told(lender: Owner) -> None:
    found = loan(lender, as_of=LATER)

    assert found.fixed_costs[-1].amount == euros("200.00")
    assert (found.as_of, found.converted_on) == (date(2027, 6, 30), TODAY)
    (used,) = found.exchange_rates
    assert (used.published_on, used.age_days, used.max_age_days) == (date(2026, 11, 20), 5, 31)


def test_a_month_that_is_named_is_planned_alike(lender: Owner) -> None:
    found = loan(lender, as_of=None, month="2027-06")

    assert (found.as_of, found.converted_on) == (date(2027, 6, 1), TODAY)
    assert found.fixed_costs[-1].amount == euros("200.00")


def test_prices_in_another_currency_are_brought_home_with_it_too(lender: Owner) -> None:
    found = lender.plan_month(as_of=LATER, lines=[planned(policy=None, price="50", currency="USD", tax=None)])

    assert found.lines[0].net_price == euros("40.000000")


def test_today_and_earlier_days_have_their_own(lender: Owner) -> None:
    lender.put_exchange_rates("2026-11-25", USD="2")

    earlier, today, later = (loan(lender, as_of=day) for day in ("2026-11-24", "2026-11-25", "2026-11-26"))

    amounts = [found.fixed_costs[-1].amount for found in (earlier, today, later)]
    assert amounts == [euros("200.00"), euros("125.00"), euros("125.00")]
    assert [found.converted_on.day for found in (earlier, today, later)] == [24, 25, 25]


def test_a_later_plan_is_converted_anew_when_today_is_another_day(lender: Owner) -> None:
    """Sales are remembered between requests: a rate of yesterday must not be remembered for today."""
    line = planned(policy=None, price="50", currency="USD", tax=None, channel="quay-market")
    lender.put_exchange_rates("2026-11-26", USD="2")
    fee = builders.fee(share="0", fixed="1")
    lender.put_rate("channels/quay-market", "2026-01-01", builders.channel_rate(currency="EUR", fees=[fee]))

    today = lender.plan_month(as_of=LATER, lines=[line]).lines[0]
    with clock.set_to(datetime(2026, 11, 26, 12, tzinfo=UTC)):
        tomorrow = lender.plan_month(as_of=LATER, lines=[line]).lines[0]

    kept = [(line.net_price.amount, line.net_price.amount - line.proceeds.amount) for line in (today, tomorrow)]
    assert kept == [(D(40), D(1)), (D(25), D(1))]


def test_what_is_too_old_today_is_refused(lender: Owner) -> None:
    with clock.set_to(datetime(2026, 12, 22, 12, tzinfo=UTC)), pytest.raises(MissingExchangeRateError) as refusal:
        loan(lender, as_of=LATER)

    assert "on 2026-12-22: the last one, of 'manual', is of 2026-11-20, 32 days before" in str(refusal.value)


def test_a_line_that_cannot_be_converted_is_named(furnished: Owner) -> None:
    with pytest.raises(InvalidValuesError, match="no exchange rate between EUR and USD on 2026-11-25"):
        furnished.plan_month(as_of=LATER, lines=[planned(policy=None, price="50", currency="USD", tax=None)])


def test_a_month_says_which_rates_change_within_it(lender: Owner) -> None:
    lender.put_rate("overheads/rent", "2027-06-15", builders.overhead_rate())
    lender.put_rate("materials/hdpe", "2027-07-01", builders.material_rate("1.80"))
    lender.register("materials/other", builders.material(), **{"2027-06-20": builders.material_rate()})

    in_june = loan(lender, as_of=None, month="2027-06").warnings
    any_month, in_may = loan(lender, as_of="2027-06-01").warnings, loan(lender, as_of=None, month="2027-05").warnings

    (told,) = (each for each in in_june if each.code == "rates-change")
    assert told.resources == ("overheads/rent",)
    assert told.text == (
        "Rates change within the month: Rent from 2027-06-15. All of it is counted at those of 2027-06-01; ask for "
        "another day of the month, too, before you rely on the result."
    )
    assert not any(each.code == "rates-change" for each in (*any_month, *in_may))


def test_a_month_says_where_it_counts_another_price_than_the_one_in_force(lender: Owner) -> None:
    line = {"listing": "sheet-online", "pieces": 100}
    lender.put("listings/sheet-online", builders.listing(policy={"target": "fixed_price", "value": "10"}))
    without = lender.plan_month(as_of=str(TODAY), lines=[line]).warnings
    applied(lender, str(TODAY))
    alike = lender.plan_month(as_of=str(TODAY), lines=[line]).warnings
    lender.put("listings/sheet-online", builders.listing(policy={"target": "fixed_price", "value": "12"}))

    differing = lender.plan_month(as_of=str(TODAY), lines=[line]).warnings
    told = lender.plan_month(as_of=str(TODAY), lines=[{**line, "price": "12"}]).warnings
    for_twelve = builders.listing(base_quantity=12, policy={"target": "fixed_price", "value": "120"})
    lender.put("listings/sheet-online", for_twelve)
    by_the_dozen = lender.plan_month(as_of=str(TODAY), lines=[{**line, "pieces": 120}]).warnings

    (found,) = (each for each in differing if each.code == "price-not-in-force")
    assert found.resources == ("listings/sheet-online",)
    assert found.text == (
        "Sheet: the plan counts the price that its policy gives, 12.00 EUR, and buyers pay 10.00 EUR until a repricing "
        "is applied."
    )
    assert any("gives, 120.00 EUR / 12, and buyers pay 10.00 EUR until" in each.text for each in by_the_dozen)
    assert not any(each.code == found.code for each in (*without, *alike, *told))
