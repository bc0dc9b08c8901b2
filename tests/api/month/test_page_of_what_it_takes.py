"""The page of a month: what it rests on, what it takes and what an hour earns, with the digits that people read."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from service import clock
from tests.conftest import Client
from tests.documents.pictures import Picture
from tests.support.builders import machine, machine_rate, money, month_plan, planned, register_workshop

LOAN = {"name": "Interest on the loan", "amount": money("250", "USD")}


@pytest.fixture(autouse=True)
def in_november() -> Iterator[None]:
    with clock.set_to(datetime(2026, 11, 25, 12, tzinfo=UTC)):
        yield


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.25"}})
    client.put("closures/year-end", {"name": "x", "first_day": "2026-12-24", "last_day": "2027-01-04"})
    return client


def page(client: Client, **changes: Any) -> str:
    """The words of the page, one after the other."""
    response = client.post("break-even.html", month_plan(**changes))
    assert response.status_code == 200, response.text
    body = response.text.partition("<body")[2]
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def test_what_is_taken_and_earned_is_told_in_people_s_digits(workshop: Client) -> None:
    plan = {"lines": [planned(policy=None, price="60")], "income_tax_share": "0.2555"}
    month = workshop.post("break-even", month_plan(**plan)).json

    text = page(workshop, **plan)

    assert "HDPE flakes materials/hdpe 1,010.526 kg 0 kg 1,010.526 kg 50.526 kg" in text
    assert "Grid, day tariffs/grid 353.684 kWh" in text
    assert "Operator labour-grades/operator 19.2 hours" in text
    hour = Decimal(month["resources_used"]["contribution_per_hour_worked"]["amount"])
    assert f"Contribution an hour worked €{hour:.2f} 19.2 hours" in text
    left = Decimal(month["after_income_tax"]["profit_after_tax"]["amount"])
    assert f"Profit after income tax of 25.55% €{left:,.2f} an illustration; ask a tax adviser" in text


def test_what_would_be_earned_is_a_supposition_where_the_plan_cannot_be_made(workshop: Client) -> None:
    workshop.put("machines/press", machine(hours_per_week="1"))

    text = page(workshop, lines=[planned(policy=None, price="100")], income_tax_share="0.2")

    assert "an illustration; ask a tax adviser, if the plan could be made" in text
    assert "19.2 hours, if the plan could be made" in text


def test_nothing_of_it_is_told_where_nothing_is_taken(workshop: Client) -> None:
    workshop.register("products/look", {"name": "Look", "operations": [{"name": "looking", "cycle_minutes": "5"}]})

    text = page(workshop, lines=[planned(product="look", policy=None, price="1")])

    for words in ("Materials", "Electricity and work", "an hour worked", "income tax", "Exchange rates", "Supposed"):
        assert words not in text


def test_pieces_and_square_metres_have_their_units(workshop: Client) -> None:
    for code, unit in (("screws", "piece"), ("foil", "m2")):
        workshop.register(f"materials/{code}", {"name": code, "unit": unit}, **{"2026-01-01": {"price": money("1")}})
    bill = [{"material": code, "quantity_per_piece": "1.5"} for code in ("screws", "foil")]
    workshop.register("products/box", {"name": "Box", "bill_of_materials": bill})

    text = page(workshop, lines=[planned(product="box", policy=None, price="9")])

    assert "150 pieces 0 pieces 150 pieces" in text
    assert "150 m² 0 m² 150 m²" in text


def test_a_later_month_tells_its_days_and_the_rates_of_today(workshop: Client) -> None:
    text = page(workshop, as_of=None, month="2026-12", other_fixed_costs=[LOAN])

    used = "manual, 20 November 2026, 5 days old"
    assert f"No exchange rates of that day are known yet; the last ones are used: {used}." in text
    assert "In minutes from 1 December 2026 to 31 December 2026, 3.4 working weeks; closed on 8 days." in text


def test_a_supposition_says_so_and_today_s_exchange_rates_are_named(workshop: Client) -> None:
    workshop.put("exchange-rates/2026-11-25", {"base": "EUR", "rates": {"USD": "1.25"}})

    text = page(workshop, facts={"machines/press": machine(rated_power_kw="20")}, other_fixed_costs=[LOAN])

    assert "Exchange rates: manual, 25 November 2026." in text
    assert "Supposed, not registered, are rates or facts of: machines/press." in text


def test_its_picture_says_so_too(workshop: Client) -> None:
    body = month_plan(facts={"machines/press": machine(rated_power_kw="20")})

    response = workshop.post("break-even.svg", body)

    picture = Picture(response.data)
    assert "supposed rates or facts of: machines/press" in picture.words
    assert "supposed rates or facts of: machines/press" in picture.description


def test_interest_that_is_counted_twice_is_warned_of(workshop: Client) -> None:
    text = page(workshop, rates={"machines/press": machine_rate(interest_share="0.06")}, other_fixed_costs=[LOAN])

    assert "What looks wrong" in text
    assert "It is entered as a fixed cost: Interest on the loan." in text
