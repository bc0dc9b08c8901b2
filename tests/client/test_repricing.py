"""pugmill change-tariff and pugmill reprice: what they put in force, their output, and their exit status."""

import csv
import io
import re
import shlex
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import flask
import pytest
import requests

from service.client.text.repricing import repricing_text
from service.domain.values.exact import half_up
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import Ended, end_of, items, loaded_demo, run_command
from tests.support.readable import percentage

TODAY = datetime.now(UTC).date()
MONDAY = (TODAY + timedelta(days=5)).isoformat()
GRID = ("change-tariff", "grid", "--from", MONDAY)
DEARER = (*GRID, "--price", "day=0.69", "--price", "night=0.44")
PRICES = {"day": {"amount": "0.69", "currency": "EUR"}, "night": {"amount": "0.44", "currency": "EUR"}}
COLUMNS = (
    "listing,product,channel,decision,currency,old_price,new_price,old_base_quantity,new_base_quantity,move_share,"
    "cost_currency,old_unit_cost,new_unit_cost,old_margin_share,kept_margin_share,new_margin_share,effects,problem,"
    "unit"
)

Run = Callable[..., Ended]


@pytest.fixture
def demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop, with no prices in force yet."""
    return loaded_demo(app, contract)


@pytest.fixture
def run(demo: Client, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command on the demo workshop."""
    monkeypatch.setenv("COLUMNS", "80")

    def run(command: str, *arguments: str, **options: Any) -> Ended:
        return end_of(demo, capsys, command, *arguments, **options)

    return run


@pytest.fixture
def priced(run: Run) -> Run:
    """The same, after today's prices were put in force."""
    ended = run("reprice")
    assert ended.status == 0, ended.err
    return run


def prices(client: Client, day: str = MONDAY) -> dict[str, Decimal | None]:
    """The price of each listing that is in force on the day."""
    return {each["code"]: price_in_force(client, each["code"], day) for each in items(client, "listings")}


def price_in_force(client: Client, listing: str, day: str) -> Decimal | None:
    history = client.get(f"listings/{listing}/price-history?as_of={day}").json["items"]
    standing = [each for each in history if each["rolled_back_at"] is None]
    newest = max(standing, key=lambda each: (each["valid_from"], each["applied_at"]), default=None)
    return None if newest is None else Decimal(newest["price"]["amount"])


def price_asked(client: Client, listing: str, query: str = "") -> Decimal:
    sheet = client.get(f"listings/{listing}/price-sheet{query}").json
    return Decimal(sheet["price_per_piece"]["price"]["amount"])


def preview(client: Client, **question: Any) -> dict[str, Any]:
    found: dict[str, Any] = client.post("repricings?limit=500", question).json
    return found


def shown(text: str) -> dict[str, list[str]]:
    """The rows of the table of changes, by listing."""
    body = text[text.index("\nlisting ") :]
    rows = [re.split(" {2,}", line) for line in body.splitlines()[3:] if line and not line.startswith(" ")]
    return {row[0]: row[1:] for row in rows if len(row) == 7}


def repricings(client: Client) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("repricings").json["items"]
    return found


class TestChangingATariff:
    def test_changes_the_rate_and_every_price_that_it_touches(self, demo: Client, priced: Run) -> None:
        before = prices(demo)
        rate = demo.get("tariffs/grid/rates/2026-04-01").json

        ended = priced(*DEARER)

        assert ended.status == 0, ended.err
        assert demo.get(f"tariffs/grid/rates/{MONDAY}").json == {**rate, "price_per_kwh": PRICES}
        after = prices(demo)
        moved = {listing for listing, price in after.items() if price != before[listing]}
        assert moved
        assert moved == {listing for listing, row in shown(ended.out).items() if row[0] == "changed"}
        assert {code: after[code] for code in moved} == {
            code: price_asked(demo, code, f"?as_of={MONDAY}") for code in moved
        }

    def test_shows_the_figures_of_the_service(self, demo: Client, priced: Run) -> None:
        terms = demo.get("tariffs/grid/rates/2026-04-01").json
        what_if = {"tariffs/grid": {**terms, "price_per_kwh": PRICES}}
        expected = preview(demo, as_of=MONDAY, rates=what_if, rules={"greatest_move_share": "0.1"})

        ended = priced(*DEARER, "--greatest-move", "0.1", "--dry-run")

        rows = shown(ended.out)
        assert re.search("^listing .* move +cost EUR +margin$", ended.out, re.MULTILINE)
        assert {each["listing"] for each in expected["changes"]["items"]} == set(rows)
        for each in expected["changes"]["items"]:
            old, new = each["old"], each["new"]
            decision, *prices_shown, move, cost, margin = rows[each["listing"]]
            left = each["kept_margin_share"] if decision == "held" else new["margin_share"]
            assert decision == each["decision"]
            assert prices_shown == [f"{price['price']['amount']} {price['price']['currency']}" for price in (old, new)]
            assert move == f"+{percentage(each['move_share'])}"
            more = sum((Decimal(effect["amount"]["amount"]) for effect in each["effects"]), Decimal(0))
            assert cost == f"+{half_up(more, 3 if more >= Decimal('0.1') else 4)}"
            assert margin == percentage(left)
            for effect in each["effects"]:
                amount = half_up(Decimal(effect["amount"]["amount"]), len(cost.partition(".")[2]))
                assert f"{effect['resource']} +{amount}" in " ".join(ended.out.split())

    def test_in_a_dry_run_stores_nothing(self, demo: Client, priced: Run) -> None:
        before, count = prices(demo), len(repricings(demo))
        sent: list[tuple[str, str]] = []

        ended = priced(*DEARER, "--dry-run", before=lambda request: sent.append((request.method, request.path)))

        assert ended.status == 0, ended.err
        assert f"The rate of tariffs/grid from {MONDAY} would be new." in ended.out
        assert "PREVIEW OF A REPRICING, nothing is stored" in ended.out
        assert shown(ended.out)
        asked = ("/v1/repricings", "/v1/register")
        assert {method for method, path in sent if path not in asked} == {"GET"}
        assert demo.get(f"tariffs/grid/rates/{MONDAY}").status_code == 404
        assert (prices(demo), len(repricings(demo))) == (before, count)

    def test_a_second_time_finds_nothing_left_to_change(self, demo: Client, priced: Run) -> None:
        priced(*DEARER)
        after, count = prices(demo), len(repricings(demo))

        ended = priced(*DEARER)

        assert ended.status == 0, ended.err
        assert f"The rate of tariffs/grid from {MONDAY} is unchanged." in ended.out
        assert "nothing left to change" in ended.out
        assert (prices(demo), len(repricings(demo))) == (after, count)

    def test_that_dies_between_rate_and_prices_continues_when_it_is_run_again(self, demo: Client, priced: Run) -> None:
        before = prices(demo)

        def die(request: Any) -> None:
            if request.path == "/v1/repricings":
                raise requests.ConnectionError

        cut_short = priced(*DEARER, before=die)
        rate, meanwhile = demo.get(f"tariffs/grid/rates/{MONDAY}").status_code, prices(demo)
        again = priced(*DEARER)

        assert (cut_short.status, rate, meanwhile) == (4, 200, before)
        assert again.status == 0, again.err
        assert prices(demo) != before

    def test_whose_answer_is_lost_is_found_done_when_it_is_run_again(self, demo: Client, priced: Run) -> None:
        def lose(request: Any) -> None:
            if request.path == "/v1/repricings" and b'"apply": true' in request.body:
                headers = dict(request.headers)
                demo.request("POST", request.path_url, request.body, headers=headers)
                raise requests.ReadTimeout

        lost = priced(*DEARER, before=lose)
        after, count = prices(demo), len(repricings(demo))
        again = priced(*DEARER)

        assert (lost.status, again.status) == (4, 0)
        assert (prices(demo), len(repricings(demo))) == (after, count)

    def test_puts_prices_in_force_also_where_nobody_reads_what_it_prints(
        self, demo: Client, priced: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        class ClosedPipe(io.TextIOWrapper):
            def write(self, text: str, /) -> int:
                raise BrokenPipeError

        before = prices(demo)

        with ClosedPipe((tmp_path / "pipe").open("wb")) as pipe, monkeypatch.context() as patch:
            patch.setattr("sys.stdout", pipe)
            run_command(demo, *DEARER)

        assert prices(demo) != before

    def test_does_not_apply_changes_that_it_has_not_previewed(self, demo: Client, priced: Run) -> None:
        before = prices(demo)

        def interfere(request: Any) -> None:
            if request.path == "/v1/repricings" and b'"apply": true' in request.body:
                demo.put("taxes/standard/rates/2026-01-02", {"rate_share": "0.21"})

        ended = priced(*DEARER, before=interfere)
        meanwhile = prices(demo)
        again = priced(*DEARER)

        assert ended.status == 4
        assert "refused with 412" in ended.err
        assert meanwhile == before
        assert again.status == 0, again.err
        assert prices(demo) != before

    def test_can_change_the_rate_alone_and_leave_the_prices_for_another_day(self, demo: Client, priced: Run) -> None:
        before = prices(demo)

        ended = priced(*DEARER, "--rate-only")
        rate_only = prices(demo)
        later = priced("reprice", "--as-of", MONDAY, "--resource", "tariffs/grid")

        assert (ended.status, later.status) == (0, 0)
        assert ended.out == f"The rate of tariffs/grid from {MONDAY} is new.\n"
        assert rate_only == before
        assert prices(demo) != before

    def test_tells_what_looks_wrong_about_the_rate_also_before_it_is_stored(self, demo: Client, priced: Run) -> None:
        cents = ("change-tariff", "grid", "--from", MONDAY, "--price", "day=39")

        tried = priced(*cents, "--dry-run")
        before = demo.get(f"tariffs/grid/rates/{MONDAY}").status_code
        ended = priced(*cents, "--rate-only")

        assert (tried.status, before, ended.status) == (0, 404, 0), tried.err + ended.err
        assert tried.out.splitlines()[1] == ended.out.splitlines()[1]
        assert ended.out.splitlines()[1].startswith("Warning: The rate of ")
        assert ", day is at least ten times the one before: 39 after 0.3" in ended.out

    def test_can_change_every_term_and_remove_one(self, demo: Client, priced: Run) -> None:
        terms = ("--standing-charge", "41.50", "--demand-charge", "", "--expected-kwh", "1800", "--rate-only")

        ended = priced(*GRID, *terms)

        rate = demo.get(f"tariffs/grid/rates/{MONDAY}").json
        assert ended.status == 0, ended.err
        assert rate["standing_charge_per_month"] == {"amount": "41.50", "currency": "EUR"}
        assert (rate["demand_charge_per_month"], rate["expected_kwh_per_month"]) == (None, "1800")
        assert rate["price_per_kwh"] == demo.get("tariffs/grid/rates/2026-04-01").json["price_per_kwh"]

    def test_says_that_a_later_rate_follows(self, demo: Client, run: Run) -> None:
        later = (date.fromisoformat(MONDAY) + timedelta(days=30)).isoformat()
        run(*DEARER, "--rate-only", "--from", later)

        ended = run(*DEARER, "--rate-only")

        assert ended.out == f"The rate of tariffs/grid from {MONDAY} is new, until another begins on {later}.\n"

    def test_of_a_tariff_without_a_rate_needs_the_currency(self, demo: Client, run: Run) -> None:
        demo.put("tariffs/new", {"name": "New", "bands": ["day"]})
        new = ("change-tariff", "new", "--from", MONDAY, "--price", "day=0.30", "--rate-only")

        without, with_one = run(*new), run(*new, "--currency", "GBP")

        assert without.status == 2
        assert "give --currency" in without.err
        assert with_one.status == 0
        price = {"day": {"amount": "0.30", "currency": "GBP"}}
        assert demo.get(f"tariffs/new/rates/{MONDAY}").json["price_per_kwh"] == price

    @pytest.mark.parametrize(
        ("arguments", "status", "told"),
        [
            (GRID, 2, "say what changes"),
            ((*GRID, "--price", "day"), 2, "'day' is not the price of a band"),
            ((*GRID, "--price", "day=0.39", "--from", "Monday"), 2, "'Monday' is not a day"),
            ((*GRID, "--price", "day=0.52", "--price", "day=0.60"), 2, "'day' is given twice: day=0.52 and day=0.60"),
            ((*DEARER, "--confirm", "brick-stall", "--confirm-all"), 2, "not allowed with"),
            ((*DEARER, "--rate-only", "--csv", "changes.csv"), 2, "--csv"),
            ((*GRID, "--price", "noon=0.39"), 1, "must price exactly the tariff's bands: day, night"),
            ((*GRID, "--price", "day=dear"), 1, "/price_per_kwh/day/amount: "),
            ((*GRID, "--price", "noon=0.39", "--rate-only", "--dry-run"), 1, "must price exactly the tariff's bands"),
            (("change-tariff", "nowhere", "--from", MONDAY, "--price", "day=0.39"), 1, "there is no tariff 'nowhere'"),
        ],
        ids=lambda value: " ".join(value[2:]) if isinstance(value, tuple) else "",
    )
    def test_that_cannot_be_is_refused(
        self, demo: Client, run: Run, arguments: tuple[str, ...], status: int, told: str
    ) -> None:
        ended = run(*arguments)

        assert ended.status == status
        assert told in ended.err
        assert demo.get(f"tariffs/grid/rates/{MONDAY}").status_code == 404


class TestThePricesOfMonday:
    def test_are_in_force_on_monday_and_leave_those_of_today(self, demo: Client, priced: Run) -> None:
        before = prices(demo, TODAY.isoformat())

        ended = priced(*DEARER)

        assert prices(demo, TODAY.isoformat()) == before
        assert prices(demo, MONDAY) != before
        assert f"The new prices are in force from {MONDAY}." in ended.out

    def test_are_not_undone_by_a_repricing_today(self, demo: Client, priced: Run) -> None:
        priced(*DEARER)
        after = prices(demo, MONDAY)

        ended = priced("reprice")

        assert "nothing left to change" in ended.out
        assert f"What is set from {MONDAY} on stays." in ended.out
        assert f"  pugmill reprice --as-of {MONDAY}\n" in ended.out
        assert prices(demo, MONDAY) == after

    def test_are_what_is_exported_of_that_day(self, demo: Client, priced: Run, tmp_path: Path) -> None:
        priced(*DEARER)
        today, monday = tmp_path / "today.csv", tmp_path / "monday.csv"

        priced("export-prices", "--csv", str(today))
        priced("export-prices", "--csv", str(monday), "--as-of", MONDAY)

        for path, day in ((today, TODAY.isoformat()), (monday, MONDAY)):
            listed = csv.DictReader(io.StringIO(path.read_text(), newline=""))
            assert {each["listing"]: Decimal(each["price"]) for each in listed} == prices(demo, day)
        assert today.read_text() != monday.read_text()

    def test_are_previewed_as_such(self, priced: Run) -> None:
        ended = priced(*DEARER, "--dry-run")

        assert f"The new prices would be in force from {MONDAY}." in ended.out

    def test_tell_the_day_of_their_rates_where_that_is_an_earlier_one(self, demo: Client, run: Run) -> None:
        yesterday = (TODAY - timedelta(days=1)).isoformat()

        demo.put(f"exchange-rates/{yesterday}", {"base": "EUR", "rates": {"CHF": "0.94", "GBP": "0.86", "JPY": "161"}})
        ended = run("reprice", "--as-of", yesterday)

        told = f"The new prices are in force from {TODAY}, with the rates of {yesterday}."
        assert told in " ".join(ended.out.split())


class TestTheCommandThatLetsThrough:
    def through(self, ended: Ended) -> list[str]:
        """The words of the command that is told, without its program and the address, which the test gives itself."""
        program, *words = shlex.split(ended.err.splitlines()[-1])
        place = words.index("--url")
        assert program == "pugmill"
        return words[:place] + words[place + 2 :]

    @pytest.mark.parametrize("more", [(), ("--dry-run",)], ids=["applied", "dry run"])
    def test_is_the_one_that_was_given_with_what_is_held_back_confirmed(
        self, demo: Client, priced: Run, more: tuple[str, ...]
    ) -> None:
        before = prices(demo)
        held = priced(*DEARER, "--demand-charge", "", "--greatest-move=0.0001", *more)
        waiting = [listing for listing, row in shown(held.out).items() if row[0] == "held"]

        words = self.through(held)
        ended = priced(*words)

        given = [*DEARER, "--demand-charge", ""]
        assert words[: len(given)] == given
        assert words[len(given) :] == [
            "--greatest-move",
            "0.0001",
            *(word for each in waiting for word in ("--confirm", each)),
        ]
        assert ended.status == 0, ended.err
        assert {listing for listing, price in prices(demo).items() if price != before[listing]} == set(waiting)

    def test_keeps_every_option_but_the_key(self, demo: Client, priced: Run, tmp_path: Path) -> None:
        priced(*DEARER, "--rate-only")
        path = str(tmp_path / "the changes.csv")
        options = ("--resource", "tariffs/grid", "--resource", "machines/extruder", "--csv", path)

        held = priced("reprice", "--as-of", MONDAY, *options, "--greatest-move", "0", "--confirm", "brick-stall")

        words = self.through(held)
        assert demo.key not in held.err
        assert words[words.index("--as-of") :][: 2 + len(options)] == ["--as-of", MONDAY, *options]
        assert words.count("--confirm") == 1 + held.out.count(" held ")
        assert priced(*words).status == 0

    def test_confirms_all_where_they_are_many(self, demo: Client, priced: Run) -> None:
        facts = demo.get("listings/brick-stall").json
        facts["policy"]["price_step"] = "0.01"
        for number in range(51):
            demo.put(f"listings/stall-{number}", facts)
        priced("reprice")

        held = priced(*DEARER, "--greatest-move", "0.0001", "--confirm", "stall-7")

        words = self.through(held)
        assert words[-1] == "--confirm-all"
        assert "--confirm" not in words
        assert priced(*words).status == 0


class TestMoreThanOneCanRead:
    def test_is_shown_as_what_waits_or_moves_most(self, demo: Client, priced: Run) -> None:
        answer = preview(demo, as_of=MONDAY, rates={"tariffs/grid": {"price_per_kwh": PRICES}})
        (moved,) = (each for each in answer["changes"]["items"] if each["listing"] == "beam-market-ch")
        many = [{**moved, "listing": f"beam-{place}", "move_share": f"{place / 1000}"} for place in range(12)]
        many[3] |= {"decision": "unpriced", "problem": "no fee fits", "new": None, "move_share": None}
        answer["changes"]["items"] = many

        short, full = (repricing_text(answer, 80, full=full) for full in (False, True))

        assert [*shown(short)] == ["beam-3", *(f"beam-{place}" for place in (11, 10, 9, 8, 7, 6, 5, 4, 2))]
        assert "These 10 wait or move most; --full shows 12, --csv FILE writes all." in short
        assert [*shown(full)] == [each["listing"] for each in many]


class TestWhatIsNotSoldByThePiece:
    @pytest.mark.parametrize(
        ("units", "told"),
        [
            (("piece", "piece"), "cost: extra cost a piece, the reason"),
            (("kg", "kg"), "cost: extra cost per kg, the reason"),
            (("kg", "piece"), "cost: extra cost a piece, or a unit of what is not sold by the piece, the reason"),
        ],
    )
    def test_has_prices_and_costs_of_its_unit(self, demo: Client, units: tuple[str, str], told: str) -> None:
        answer = preview(demo, as_of=MONDAY, rates={"tariffs/grid": {"price_per_kwh": PRICES}})
        first, *_ = answer["changes"]["items"]
        first = {name: value for name, value in first.items() if name != "unit"}  # as it was before there were units
        named = [{**first, "listing": f"beam-{place}", "unit": unit} for place, unit in enumerate(units)]
        answer["changes"]["items"] = [each if each["unit"] != "piece" else first for each in named]

        text = " ".join(repricing_text(answer, 120).split())

        assert told in text
        assert (" per kg" in text) == ("kg" in units)
        assert "made, ordered or charged with overhead another way" not in text

    def test_says_what_the_product_s_part_in_a_cost_is(self, demo: Client, priced: Run) -> None:
        answer = preview(demo, as_of=MONDAY, rates={"tariffs/grid": {"price_per_kwh": PRICES}})
        answer["changes"]["items"][0]["effects"][0]["cause"] = "product"

        text = " ".join(repricing_text(answer, 120).split())

        assert "takes has changed: the product is made, ordered or charged with overhead another way now" in text


class TestWhatWaits:
    def test_is_a_price_that_moves_too_far_until_it_is_confirmed(self, demo: Client, priced: Run) -> None:
        before = prices(demo)
        terms = (*DEARER, "--greatest-move", "0.0001")

        held = priced(*terms)
        waiting = [listing for listing, row in shown(held.out).items() if row[0] == "held"]
        one, *others = waiting
        still = prices(demo)
        confirmed = priced(*terms, "--confirm", one)
        after_one = prices(demo)
        all_of_them = priced(*terms, "--confirm-all")

        assert (held.status, confirmed.status, all_of_them.status) == (3, 3 if others else 0, 0)
        assert held.err.startswith(
            f"pugmill change-tariff: {len(waiting)} held back until confirmed: {', '.join(waiting)}\nTo let through"
        )
        assert "nothing left to change" not in held.out
        assert still == before
        assert {listing for listing in before if after_one[listing] != before[listing]} == {one}
        assert {listing for listing in before if prices(demo)[listing] != before[listing]} == set(waiting)

    def test_is_not_a_price_that_would_hardly_move(self, demo: Client, priced: Run) -> None:
        before = prices(demo)

        ended = priced(*GRID, "--price", "day=0.25", "--price", "night=0.15", "--least-move", "0.5")

        assert ended.status == 0, ended.err
        assert re.search(r"[1-9][0-9]* kept", ended.out)
        assert prices(demo) == before

    def test_is_a_listing_that_cannot_be_priced(self, demo: Client, priced: Run) -> None:
        demo.put("listings/unpriced", {**demo.get("listings/brick-stall").json, "currency": "USD"})

        ended = priced("reprice")

        assert ended.status == 3
        assert ended.err == "pugmill reprice: 1 without a price: unpriced\n"
        assert "no exchange rate between EUR and USD" in " ".join(ended.out.split())


class TestRepricing:
    def test_puts_the_first_prices_in_force(self, demo: Client, run: Run) -> None:
        ended = run("reprice")

        assert ended.status == 0, ended.err
        assert prices(demo) == {each["code"]: price_asked(demo, each["code"]) for each in items(demo, "listings")}
        assert {row[0] for row in shown(ended.out).values()} == {"first"}

    def test_says_how_many_pieces_a_price_is_for(self, demo: Client, run: Run) -> None:
        facts: dict[str, Any] = demo.get("listings/brick-stall").json
        demo.put("listings/brick-stall", {**facts, "base_quantity": 12})

        ended = run("reprice", "--dry-run")

        (change,) = (each for each in preview(demo)["changes"]["items"] if each["listing"] == "brick-stall")
        demo.put("listings/brick-stall", facts)
        assert f"{change['new']['price']['amount']} EUR per 12" in ended.out

    @pytest.mark.parametrize(
        ("arguments", "touched"),
        [
            (("--channel", "quay-market"), {"beam-market-ch", "coasters-market"}),
            (("--product", "hook"), {"hook-shop-jp"}),
            (("--tag", "garden"), {"brick-stall"}),
        ],
        ids=["channel", "product", "tag"],
    )
    def test_can_be_limited_to_some_listings(
        self, demo: Client, run: Run, arguments: tuple[str, str], touched: set[str]
    ) -> None:
        demo.put("listings/brick-stall", {**demo.get("listings/brick-stall").json, "tags": ["garden"]})

        ended = run("reprice", *arguments)

        assert ended.status == 0, ended.err
        assert set(shown(ended.out)) == touched
        assert {listing for listing, price in prices(demo).items() if price} == touched

    def test_can_be_limited_to_what_rates_changed_since_a_day_affect(self, demo: Client, priced: Run) -> None:
        priced(*DEARER, "--rate-only", "--from", TODAY.isoformat())
        before = prices(demo)

        ended = priced("reprice", "--changed-since", TODAY.isoformat())

        assert ended.status == 0, ended.err
        assert prices(demo) != before

    def test_writes_every_change_as_the_service_does(self, demo: Client, priced: Run, tmp_path: Path) -> None:
        planned, done, nothing = (tmp_path / name for name in ("planned.csv", "done.csv", "nothing.csv"))
        planned.write_text("what stood there before")

        priced(*DEARER, "--dry-run", "--csv", str(planned))
        ended = priced(*DEARER, "--csv", str(done))
        priced(*DEARER, "--csv", str(nothing))

        (latest, *_) = repricings(demo)
        recorded = demo.get(f"repricings/{latest['id']}/changes.csv").data
        assert done.read_bytes() == recorded
        assert recorded.decode().splitlines()[0] == COLUMNS
        changed = csv.DictReader(io.StringIO(recorded.decode(), newline=""))
        assert {each["listing"] for each in changed} == set(shown(ended.out))
        assert planned.read_bytes().splitlines()[1:] == recorded.splitlines()[1:]
        assert nothing.read_text().splitlines() == [COLUMNS]
        assert {path.name for path in tmp_path.iterdir()} == {"planned.csv", "done.csv", "nothing.csv"}

    def test_with_a_file_that_cannot_be_written_changes_nothing(
        self, demo: Client, priced: Run, tmp_path: Path
    ) -> None:
        before = prices(demo)

        ended = priced(*DEARER, "--csv", str(tmp_path / "missing" / "changes.csv"))

        assert ended.status == 1
        assert "changes.csv cannot be written: No such file or directory" in ended.err
        assert demo.get(f"tariffs/grid/rates/{MONDAY}").status_code == 404
        assert prices(demo) == before

    @pytest.mark.parametrize("way", ["broken off", "silently short"])
    def test_whose_file_is_cut_off_says_that_the_prices_are_in_force(
        self, demo: Client, priced: Run, tmp_path: Path, way: str
    ) -> None:
        def cut_off(request: Any) -> bytes | None:
            if not request.path.endswith("/changes.csv"):
                return None
            if way == "broken off":
                raise requests.ConnectionError
            return f"{COLUMNS}\r\n".encode()

        ended = priced(*DEARER, "--csv", str(tmp_path / "changes.csv"), before=cut_off)

        (latest, *_) = repricings(demo)
        assert ended.status == 4
        assert f"the prices are applied, by repricing {latest['id']}, but its changes" in ended.err
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize(
        ("arguments", "status", "told"),
        [
            (("--resource", "tariffs/grid", "--changed-since", "2026-11-01"), 2, "not allowed with"),
            (("--rollback", "x", "--channel", "quay-market"), 2, "--channel: not allowed with --rollback"),
            (("--list", "--dry-run"), 2, "--dry-run: not allowed with --list"),
            (("--least-move", "-1"), 1, "/rules/least_move_share: "),
            (("--as-of", "Monday"), 1, "/as_of: "),
            (("--channel", "nowhere"), 1, "/scope/channel"),
        ],
        ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
    )
    def test_that_cannot_be_is_refused(self, run: Run, arguments: tuple[str, ...], status: int, told: str) -> None:
        ended = run("reprice", *arguments)

        assert ended.status == status
        assert told in ended.err


class TestRollingBack:
    def test_puts_back_the_prices_before(self, demo: Client, priced: Run, tmp_path: Path) -> None:
        before = prices(demo)
        priced(*DEARER)
        after = prices(demo)
        (latest, *_) = repricings(demo)
        path = tmp_path / "undone.csv"

        tried = priced("reprice", "--rollback", latest["id"], "--dry-run")
        still = prices(demo)
        ended = priced("reprice", "--rollback", latest["id"], "--csv", str(path))

        assert (tried.status, ended.status) == (0, 0), ended.err
        assert still == after
        assert prices(demo) == before
        assert tried.out.startswith("PREVIEW OF A ROLLBACK, nothing is stored")
        assert ended.out.startswith("REPRICING, rolled back")
        for told in (tried.out, ended.out):
            assert "those set before them count again." in " ".join(told.split())
            assert f"- tariffs/grid: the rate from {MONDAY} stands" in told
            assert "Prices of earlier days were changed" not in told
            assert "had none before" not in told
        assert path.read_text().splitlines()[0] == COLUMNS

    def test_of_what_was_partly_held_back_does_not_wait_for_anybody(self, demo: Client, priced: Run) -> None:
        held = priced(*DEARER, "--greatest-move", "0.01")
        (latest, *_) = repricings(demo)
        assert "held: waiting for you" in held.out

        tried = priced("reprice", "--rollback", latest["id"], "--dry-run")
        ended = priced("reprice", "--rollback", latest["id"])

        assert (tried.status, ended.status) == (0, 0), tried.err + ended.err
        assert "waiting for you" not in tried.out + ended.out

    def test_of_today_leaves_the_prices_of_monday(self, demo: Client, priced: Run) -> None:
        priced(*DEARER)
        after = prices(demo, MONDAY)
        (_, first) = repricings(demo)

        tried = priced("reprice", "--rollback", first["id"], "--dry-run")
        ended = priced("reprice", "--rollback", first["id"])

        assert ended.status == 0, ended.err
        assert set(prices(demo, TODAY.isoformat()).values()) == {None}
        codes = sorted(prices(demo))
        without = f"{len(codes)} listings had none before, and so no price from {TODAY} on until another is set:"
        for told in (" ".join(each.out.split()) for each in (tried, ended)):
            assert f"The new prices are taken back. {without} {', '.join(codes)}. The rates stay" in told
        moved = {listing for listing, price in prices(demo, MONDAY).items() if price is not None}
        assert {listing: after[listing] for listing in moved} == {
            listing: price for listing, price in prices(demo, MONDAY).items() if price is not None
        }
        assert moved

    def test_tells_where_other_prices_than_the_old_ones_come_back(self, demo: Client, priced: Run) -> None:
        priced(*DEARER)
        (monday, _) = repricings(demo)
        priced("change-tariff", "grid", "--from", TODAY.isoformat(), "--price", "day=0.55", "--price", "night=0.33")
        (today, *_) = repricings(demo)

        ended = priced("reprice", "--rollback", monday["id"])

        told = " ".join(ended.out.split())
        assert f"Prices of earlier days were changed since it was applied, by repricing {today['id']}" in told
        assert prices(demo, MONDAY) == prices(demo, TODAY.isoformat())

    def test_tells_of_a_rate_that_is_no_longer_there(self, demo: Client, run: Run) -> None:
        demo.register("tariffs/spare", {"name": "Spare", "bands": ["day", "night"]})
        demo.put("tariffs/spare/rates/2026-01-01", {"price_per_kwh": PRICES})
        for code in ("shredder", "extruder", "mould-press"):
            found = demo.get(f"machines/{code}")
            if found.status_code == 200:
                demo.put(f"machines/{code}", {**found.json, "tariff": "spare"})
        run("reprice")
        dearer = {band: {"amount": "0.99", "currency": "EUR"} for band in PRICES}
        demo.put(f"tariffs/spare/rates/{MONDAY}", {"price_per_kwh": dearer})
        run("reprice", "--as-of", MONDAY)
        (monday, _) = repricings(demo)
        demo.delete(f"tariffs/spare/rates/{MONDAY}")
        demo.delete("tariffs/spare/rates/2026-01-01")

        ended = run("reprice", "--rollback", monday["id"])

        assert f"- tariffs/spare: no rate stands on {MONDAY}" in ended.out

    def test_a_second_time_has_nothing_left_to_do(self, demo: Client, priced: Run) -> None:
        before = prices(demo)
        priced(*DEARER)
        (latest, *_) = repricings(demo)
        priced("reprice", "--rollback", latest["id"])

        again = priced("reprice", "--rollback", latest["id"])

        assert again.status == 0, again.err
        assert again.out.startswith("It was rolled back already, at ")
        assert prices(demo) == before

    def test_is_refused_where_a_later_price_is_in_force(self, demo: Client, priced: Run) -> None:
        priced(*DEARER, "--from", TODAY.isoformat())
        (_, first) = repricings(demo)

        tried = priced("reprice", "--rollback", first["id"], "--dry-run")
        ended = priced("reprice", "--rollback", first["id"])

        for refused in (tried, ended):
            assert refused.status == 1
            assert "refused with 409" in refused.err
            assert "roll back the later repricings first" in refused.err

    def test_of_an_invalid_id_is_refused(self, run: Run) -> None:
        ended = run("reprice", "--rollback", "../taxes")

        assert ended.status == 1

    def test_lists_the_repricings(self, demo: Client, run: Run) -> None:
        none = run("reprice", "--list")
        run("reprice")

        ended = run("reprice", "--list")

        (only,) = repricings(demo)
        assert (none.status, none.out) == (0, "No repricing yet.\n")
        assert ended.status == 0
        *_, row, shown_id = ended.out.splitlines()
        assert re.split(" {2,}", row)[:2] == ["tests", "applied"]
        assert row.split()[-1] == "6"
        assert shown_id.strip() == only["id"]
