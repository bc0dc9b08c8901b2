"""pugmill month: its requests, its output compared with the service's figures, its files and its exit status."""

import re
from collections.abc import Iterator
from decimal import Decimal
from math import ceil, floor
from pathlib import Path
from typing import Any, ClassVar

import flask
import pytest
import yaml

from service.domain.values.exact import half_up
from tests.conftest import Client
from tests.documents.pictures import Picture
from tests.support.contract import Contract
from tests.support.demo import DEMO, Ended, end_of, loaded_demo
from tests.support.readable import readable_amount

DEMO_PLAN = DEMO / "month.yaml"
CSV = """listing,product,pieces,standard_batch,price,tax,most_per_month,in_whole_batches
brick-stall,,1500,,,,2500,true

,sheet,120,40,40.00,standard,240,false
"""


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    return loaded_demo(app, contract)


@pytest.fixture(autouse=True)
def columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")


def planned(demo: Client, capsys: pytest.CaptureFixture[str], *arguments: Any, **options: Any) -> Ended:
    return end_of(demo, capsys, "month", *map(str, arguments), "--full", **options)


def cells(text: str) -> list[str]:
    """Every line with single spaces between its columns."""
    return [" ".join(line.split()) for line in text.splitlines()]


def with_whole_numbers(line: dict[str, Any]) -> dict[str, Any]:
    """A line of text values, with numbers and flags as the service takes them."""
    whole = {name: int(text) for name, text in line.items() if isinstance(text, str) and text.isdecimal()}
    return {**line, **whole, "in_whole_batches": line.get("in_whole_batches") == "true"}


def asked(demo: Client, plan: Any) -> Any:
    response = demo.post("break-even", plan)
    assert response.status_code == 200, response.json
    return response.json


class TestTheDemoPlan:
    def test_is_printed_with_the_figures_of_the_service(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        plan = yaml.load(DEMO_PLAN.read_text(), yaml.BaseLoader)
        plan["lines"] = [with_whole_numbers(line) for line in plan["lines"]]
        month = asked(demo, plan)

        ended = planned(demo, capsys, DEMO_PLAN)

        lines = cells(ended.out)
        assert ended.status == 0
        assert f"The month pays: it earns {month['profit']['amount']} EUR" in lines[0]
        for cost in month["fixed_costs"]:
            assert f"{cost['name']} {cost['amount']['amount']}" in lines
        for load in month["loads"]:
            minutes = (half_up(Decimal(load[name]), 0) for name in ("minutes_needed", "minutes_available"))
            figures = " ".join(map(str, minutes))
            assert any(line.startswith(load["name"]) and figures in line for line in lines)
        for line, best in zip(month["lines"], month["best_mix"]["lines"], strict=True):
            assert any(f"{line['pieces']} {best['pieces']} " in each for each in lines)
            assert any(readable_amount(line["contribution"]) in each for each in lines)
        assert f"break-even, pieces {month['break_even']['whole_pieces']}" in lines
        assert f"for a profit of 600.00, sales {month['target']['sales']['amount']}" in lines
        assert any(line.startswith("No mix that you can make and sell earns more") for line in lines)

    def test_in_short_is_the_verdict_and_the_figures_behind_it(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        lines = cells(end_of(demo, capsys, "month", str(DEMO_PLAN)).out)

        full = cells(planned(demo, capsys, DEMO_PLAN).out)
        assert len(lines) <= 15
        assert lines[:2] == full[:2]
        told = [
            line for line in lines if line.startswith(("sales", "contribution", "fixed", "profit", "break", "bott"))
        ]
        mix = next(line for line in full if line.startswith("The mix that earns the most: "))
        assert told.pop() == f"profit of the mix that earns the most {mix.rpartition(' ')[2]}"
        assert len(told) == 6
        assert [line for line in told if line not in full] == []
        assert lines[-1].endswith("--full shows them, and every table.")

    def test_says_how_many_pieces_a_price_is_for(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        facts: dict[str, Any] = demo.get("listings/brick-stall").json
        demo.put("listings/bricks", {**facts, "base_quantity": 12})
        plan, page = tmp_path / "plan.yaml", tmp_path / "month.html"
        plan.write_text('{"lines": [{"listing": "bricks", "pieces": 1200}]}')

        ended = planned(demo, capsys, plan, "--html", page)

        (line,) = asked(demo, {"lines": [{"listing": "bricks", "pieces": 1200}]})["lines"]
        demo.delete("listings/bricks")
        assert any(f"1200 {line['price']['amount']} per 12 " in row for row in cells(ended.out)), ended.err
        assert " per 12" in page.read_text()
        assert "Price a piece" not in page.read_text()

    def test_pays_and_its_machines_have_time_for_it(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        out = planned(demo, capsys, DEMO_PLAN).out

        assert "does not pay" not in out
        assert "too much" not in out

    def test_is_written_as_a_page_and_as_pictures(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        places = {form: tmp_path / f"month.{form}" for form in ("html", "svg", "png")}

        ended = planned(demo, capsys, DEMO_PLAN, *(each for form in places for each in (f"--{form}", places[form])))

        assert ended.status == 0
        assert places["html"].read_text().startswith("<!DOCTYPE html>")
        assert Picture(places["svg"].read_bytes()).title.startswith("A month's plan leaves €")
        assert places["png"].read_bytes().startswith(b"\x89PNG")
        assert f"{places['html']} is written." in ended.out


class TestPayByTheMonth:
    LINE: ClassVar = {"product": "sheet", "standard_batch": 40, "pieces": 12, "price": "40.00", "tax": "standard"}
    PLAN = """
leave_out: [machines/sheet-press]
lines:
  - {product: sheet, standard_batch: 40, pieces: 12, price: 40.00, tax: standard}
other_fixed_costs: [{name: Own pay, amount: {amount: 90.00, currency: EUR}}]
"""

    @pytest.fixture
    def paid(self, demo: Client) -> Iterator[Client]:
        """The demo with two operators who are paid for 30 hours a month each, as long as it lasts."""
        path = "labour-grades/operator/rates/2026-01-01"
        terms = demo.get(path).json
        assert demo.put(path, {**terms, "paid_hours_per_month": "30"}).status_code == 200
        yield demo
        demo.put(path, terms)

    def test_is_printed_with_idle_time_absorption_and_warnings(
        self, paid: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "plan.yaml"
        path.write_text(self.PLAN)
        month = asked(paid, yaml.load(self.PLAN, yaml.BaseLoader) | {"lines": [self.LINE]})

        lines = cells(planned(paid, capsys, path).out)

        assert f"of the fixed cost, pay for idle time {month['paid_idle']['amount']}" in lines
        for each in month["absorption"]:
            figures = " ".join(each[name]["amount"] for name in ("incurred", "absorbed", "under_absorbed"))
            assert f"{each['name']}{' (left out)' * each['is_left_out']} {figures}" in lines
        told = month["reconciliation"]
        assert f"profits of the products at full cost {told['profit_of_products']['amount']}" in lines
        assert f"less what the plan does not absorb -{told['under_absorbed']['amount']}" in lines
        assert f"plus what it absorbs of costs that are left out {told['left_out']['amount']}" in lines
        assert "less other fixed costs -90.00" in lines
        assert f"profit {told['profit']['amount']}" in lines[lines.index("From the products' profits to the month's") :]
        assert "Warnings:" in lines
        assert "Operator (60 against 199.3)" in " ".join(lines)


class TestAPlanOfOneSOwn:
    def test_a_table_is_read_with_whole_numbers_and_flags(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "plan.csv"
        path.write_text(CSV)
        sent: list[Any] = []
        today = demo.workshop.today().isoformat()

        ended = planned(
            demo,
            capsys,
            path,
            *("--weeks", "4", "--target", "50000.00", "--as-of", today),
            before=lambda request: sent.append(request.json()),
        )

        assert ended.status == 0
        assert sent[0] == {
            "as_of": today,
            "weeks": "4",
            "target_profit": {"amount": "50000.00", "currency": "EUR"},
            "lines": [
                {"listing": "brick-stall", "pieces": 1500, "most_per_month": 2500, "in_whole_batches": True},
                {
                    "product": "sheet",
                    "pieces": 120,
                    "standard_batch": 40,
                    "price": "40.00",
                    "tax": "standard",
                    "most_per_month": 240,
                    "in_whole_batches": False,
                },
            ],
        }

    @pytest.mark.parametrize(
        ("plan", "told"),
        [
            ("lines: [{listing: brick-stall, pieces: 10}]", "The month does not pay: it loses"),
            ("lines: [{listing: brick-stall, pieces: 9, price: 0.50}]", "break-even, pieces  none reaches it"),
            ("lines: [{listing: brick-stall, pieces: 0}]", "break-even, pieces  nothing is planned"),
            ("lines: [{listing: brick-stall, pieces: 0}]", "bottleneck: nothing is planned"),
            ("lines: [{listing: brick-stall, pieces: 1, least_per_month: 99999}]", "Even the least that must be sold"),
            ("lines: [{listing: beam-market-ch, pieces: 9}]\nbest_mix: false", "bottleneck: Extruder"),
        ],
    )
    def test_the_outcome_is_printed(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, plan: str, told: str
    ) -> None:
        path = tmp_path / "plan.yaml"
        path.write_text(plan)

        ended = planned(demo, capsys, path)

        assert ended.status == 0
        assert told in re.sub(" {2,}", "  ", ended.out)

    def test_too_little_time_by_a_fraction_of_a_minute_does_not_look_like_enough(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        lines = [{"listing": "brick-stall", "pieces": 1000}]
        loads = {load["resource"]: load for load in asked(demo, {"lines": lines})["loads"]}
        needed = Decimal(loads["machines/extruder"]["minutes_needed"])
        available = needed - Decimal("0.01")
        facts = {
            f"machines/{code}": {**demo.get(f"machines/{code}").json, "hours_per_week": str(hours)}
            for code, hours in (("extruder", half_up(available * 12 / 52 / 60, 6)), ("granulator", 99))
        }
        path = tmp_path / "plan.yaml"
        path.write_text(yaml.safe_dump({"lines": lines, "facts": facts}))

        told = cells(planned(demo, capsys, path).out)

        up, down = ceil(needed), floor(available)
        assert f"It needs {up} minutes of Extruder with mould-filling nozzle, and there are {down}" in " ".join(told)
        assert any(f"(too much) {up} {down} 100 %" in each for each in told)

    def test_a_plan_that_cannot_be_made_does_not_pay(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path, page = tmp_path / "plan.yaml", tmp_path / "month.html"
        lines = [{"listing": "brick-stall", "pieces": 9999}]
        path.write_text(yaml.safe_dump({"lines": lines, "target_profit": {"amount": "99999.00", "currency": "EUR"}}))
        month = asked(demo, yaml.safe_load(path.read_text()))
        (extruder,) = [load for load in month["loads"] if load["is_bottleneck"]]

        ended = planned(demo, capsys, path, "--html", page)

        told = cells(ended.out)
        assert ended.status == 3
        assert ended.err == "pugmill month: the plan cannot be made with the hours there are\n"
        assert told[0].startswith("The plan cannot be made, at the rates of ")
        assert "The month pays" not in ended.out
        needed, available = (half_up(Decimal(extruder[f"minutes_{each}"]), 0) for each in ("needed", "available"))
        figures = f"{needed} minutes of {extruder['name']}, and there are {available}"
        assert f"It needs {figures} (" in " ".join(told)
        profit = month["best_mix"]["profit"]["amount"]
        earns = f"loses {profit[1:]}" if profit.startswith("-") else f"earns {profit}"
        assert f"The best mix found that fits {earns} EUR." in told
        assert f"profit, if the plan could be made {month['profit']['amount']}" in told
        assert any(each.startswith("for a profit of 99999.00, pieces (not with the hours there are) ") for each in told)
        assert any(each.startswith("the plan (not with the hours there are) 9999 ") for each in told)
        assert told.index(f"The mix that earns the most: {profit}") < told.index("What is sold")
        assert any("Extruder with mould-filling nozzle (too much)" in each for each in told)
        assert page.exists()

    def test_a_break_even_alone_beyond_the_hours_is_marked(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "plan.yaml"
        path.write_text("lines: [{listing: brick-stall, pieces: 10}]\nweeks: 0.1\nbest_mix: false")

        ended = planned(demo, capsys, path)

        assert ended.status == 0
        assert "The month does not pay: it loses" in ended.out
        assert "(too many)" in ended.out
        assert "break-even, pieces (not with the hours there are)" in ended.out

    def test_a_product_that_nothing_limits_is_reported(self, client: Client, capsys: Any, tmp_path: Path) -> None:
        price = {"price": {"amount": "1", "currency": "EUR"}}
        client.register("materials/flakes", {"name": "Flakes", "unit": "kg"}, **{"2026-01-01": price})
        line = {"material": "flakes", "quantity_per_piece": "1"}
        client.register("products/bag", {"name": "Bag", "bill_of_materials": [line]})
        path = tmp_path / "plan.yaml"
        path.write_text("lines: [{product: bag, standard_batch: 1, pieces: 5, price: 3}]")

        ended = planned(client, capsys, path)

        assert "neither demand nor known time limits Bag" in ended.out
        assert "bottleneck: not known: register hours_per_week" in ended.out

    @pytest.mark.parametrize(
        ("name", "text", "told"),
        [
            ("plan.txt", "", "must end in .yaml or .csv"),
            ("plan.yaml", "lines: 5", "a plan must have the member lines: a list of what is made and sold"),
            ("plan.csv", "listing\nbrick-stall\n", "the first line must name the columns, among them pieces"),
            ("plan.csv", "listing,pieces\nbrick-stall,many\n", "/lines/0/pieces"),
            ("plan.yaml", "lines: [{listing: gold, pieces: 1}]", "/lines/0/listing"),
        ],
    )
    def test_errors_are_reported_and_nothing_is_written(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, text: str, told: str
    ) -> None:
        path, page = tmp_path / name, tmp_path / "month.html"
        path.write_text(text)

        ended = planned(demo, capsys, path, "--html", page)

        assert ended.status == 1
        assert told in ended.err
        assert ended.out == ""
        assert not page.exists()
