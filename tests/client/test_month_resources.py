"""What pugmill month prints of what a month rests on, takes and earns an hour, against the service's figures."""

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import yaml

from service import clock
from tests.conftest import Client
from tests.support.builders import machine, machine_rate, money, month_plan, planned, register_workshop
from tests.support.demo import end_of

LOAN = {"name": "Interest on the loan", "amount": money("250", "USD")}


@pytest.fixture(autouse=True)
def in_november(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("COLUMNS", "100")
    with clock.set_to(datetime(2026, 11, 25, 12, tzinfo=UTC)):
        yield


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.25"}})
    client.put("closures/year-end", {"name": "x", "first_day": "2026-12-24", "last_day": "2027-01-04"})
    return client


def printed(client: Client, capsys: Any, tmp_path: Path, plan: dict[str, Any], *options: str) -> list[str]:
    path = tmp_path / "plan.yaml"
    path.write_text(yaml.safe_dump(plan))
    ended = end_of(client, capsys, "month", str(path), "--full", *options)
    assert ended.status == 0, ended.err
    return [" ".join(line.split()) for line in ended.out.splitlines()]


def test_what_is_taken_and_earned_has_people_s_digits(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    plan = month_plan(lines=[planned(policy=None, price="60")], income_tax_share="0.2555")
    month = workshop.post("break-even", plan).json

    lines = printed(workshop, capsys, tmp_path, plan)

    used = month["resources_used"]
    assert "HDPE flakes 1010.526 kg 0 kg 1010.526 kg 50.526 kg" in lines  # 960 ÷ 0.95, less 960
    assert "Grid, day 353.684 kWh" in lines  # 100 ÷ 0.95 × 40 ÷ 60 × 12 × 0.6 × 0.7
    assert "Grid, night 151.579 kWh" in lines
    assert "Operator 19.2 h" in lines  # (5 × 20 + 100 ÷ 0.95 × 40 × 0.25) ÷ 60
    hour = Decimal(used["contribution_per_hour_worked"]["amount"])
    assert f"contribution an hour worked (19.2 hours) {hour:.2f}" in lines
    assert f"profit an hour worked (19.2 hours) {Decimal(used['profit_per_hour_worked']['amount']):.2f}" in lines
    left = month["after_income_tax"]["profit_after_tax"]["amount"]
    assert f"after income tax of 25.55 %, an illustration; ask a tax adviser {left}" in lines


def test_a_plan_that_takes_nothing_has_no_such_tables(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    workshop.register("products/look", {"name": "Look", "operations": [{"name": "looking", "cycle_minutes": "5"}]})

    lines = printed(workshop, capsys, tmp_path, month_plan(lines=[planned(product="look", policy=None, price="1")]))

    assert not {"Materials", "Electricity and work"} & set(lines)
    assert not any("an hour worked" in line or "income tax" in line for line in lines)


def test_pieces_and_square_metres_have_their_units(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    for code, unit in (("screws", "piece"), ("foil", "m2")):
        facts = {"name": code, "unit": unit}
        workshop.register(f"materials/{code}", facts, **{"2026-01-01": {"price": money("1")}})
    bill = [{"material": code, "quantity_per_piece": "1.5"} for code in ("screws", "foil")]
    workshop.register("products/box", {"name": "Box", "bill_of_materials": bill})

    lines = printed(workshop, capsys, tmp_path, month_plan(lines=[planned(product="box", policy=None, price="9")]))

    assert {"screws 150 0 150", "foil 150 m² 0 m² 150 m²"} <= set(lines)


def test_a_later_month_tells_its_days_and_the_rates_of_today(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    plan = {**month_plan(other_fixed_costs=[LOAN]), "as_of": None}

    told = " ".join(printed(workshop, capsys, tmp_path, plan, "--month", "2026-12"))

    assert "at the rates of 2026-12-01 From 2026-12-01 to 2026-12-31, closed on 8 days, 3.4 working weeks." in told
    used = "manual of 2026-11-20, 5 days old"
    assert f"No exchange rates of 2026-12-01 are known yet; the last ones are used: {used}." in told


def test_a_month_may_stand_in_the_file_without_quotes(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text("month: 2026-12\nlines: [{product: sheet, standard_batch: 20, pieces: 5, price: 60}]")

    ended = end_of(workshop, capsys, "month", str(path))

    assert ended.status == 0, ended.err
    assert "From 2026-12-01 to 2026-12-31, closed on 8 days" in ended.out


def test_what_is_supposed_and_today_s_exchange_rates_are_told(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    workshop.put("exchange-rates/2026-11-24", {"base": "EUR", "rates": {"USD": "1.25"}})
    supposed = {"facts": {"machines/press": machine(rated_power_kw="20")}, "other_fixed_costs": [LOAN]}

    lines = printed(workshop, capsys, tmp_path, month_plan(**supposed))

    assert "Supposed, not registered, are rates or facts of: machines/press." in lines
    assert "Exchange rates: manual of 2026-11-24, 1 day old." in lines


def test_interest_that_is_counted_twice_is_warned_of(workshop: Client, capsys: Any, tmp_path: Path) -> None:
    rates = {"machines/press": machine_rate(interest_share="0.06")}

    told = " ".join(printed(workshop, capsys, tmp_path, month_plan(rates=rates, other_fixed_costs=[LOAN])))

    assert "Warnings: - Interest may be counted twice. It is entered as a fixed cost: Interest on the loan." in told
    assert "hold 60.00 EUR of it a month: Sheet press." in told
