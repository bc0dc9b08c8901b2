"""The month as a picture and as a page: the figures of the JSON answer, also in words, and nothing executable."""

import base64
import re
from typing import Any

import pytest
from babel.numbers import format_currency
from markupsafe import escape

from service.documents.drawing.drawing import ImageForm
from service.documents.month.month_chart import month_chart
from service.documents.month.month_page import month_page
from service.documents.month.month_time_chart import MOST_LOADS
from service.documents.writing.formats import isolated
from service.domain.month.statement import MonthStatement
from service.encoding import decoded
from tests.api.http.test_texts import NAMES
from tests.api.outside import in_form
from tests.conftest import Client
from tests.documents.costing.test_cost_chart import STRANGE
from tests.documents.pictures import Picture, png_size
from tests.support.builders import labour_rate, machine, money, month_plan, overhead_rate, planned, register_workshop
from tests.support.furnishing import furnishes

DAY, BY_THE_MONTH = "2026-01-01", labour_rate(paid_hours_per_month="24")
CELL = "</bdi>|<bdi>"
SVG, PNG, HTML = ImageForm.SVG.value, ImageForm.PNG.value, "text/html"


def euros(figure: dict[str, str]) -> str:
    return format_currency(figure["amount"], "EUR", locale="en_IE")


@pytest.fixture
@furnishes
def timed(client: Client) -> Client:
    register_workshop(client)
    client.put("machines/press", machine(hours_per_week="15"))
    return client


def plan(**changes: Any) -> dict[str, Any]:
    lines = [planned(policy=None, price="60", pieces=80)]
    return month_plan(lines=lines, target_profit=money("500"), **changes)


def too_much() -> dict[str, Any]:
    """A plan of 100 sheets that would pay, but there is time for only 90."""
    return month_plan(lines=[planned(policy=None, price="60")], target_profit=money("5000"))


def answered(client: Client, form: str, body: Any) -> Any:
    response = client.post(in_form("break-even", form), body)
    assert response.status_code == 200, response.json
    return response


def statement(client: Client, **changes: Any) -> MonthStatement:
    return decoded(answered(client, "application/json", month_plan(**changes)).json, MonthStatement)


class TestThePicture:
    def test_shows_the_profit_of_each_volume_and_the_load_of_each_machine(self, timed: Client) -> None:
        month = answered(timed, "application/json", plan()).json
        names = {"nothing": "nothing sold", "break_even": "break-even", "target": "target profit", "plan": "the plan"}

        picture = Picture(answered(timed, SVG, plan()).data)

        assert picture.title == f"A month's plan leaves {euros(month['profit'])}"
        for point in month["profit_by_volume"]:
            if point["milestone"] in names:
                assert f"{names[point['milestone']]}: {euros(point['profit'])}" in picture.words
        (press,) = [load for load in month["loads"] if load["is_bottleneck"]]
        needed, share = round(float(press["minutes_needed"])), round(float(press["load_share"]) * 100, 1)
        assert f"{needed:,} of 3,900 minutes ({share:g}%), bottleneck" in picture.words
        assert "Operator: 922 minutes; hours a week are not registered" in picture.description
        assert picture.dangers() == []

    def test_bars_are_proportional_to_the_load(self, timed: Client) -> None:
        timed.put("labour-grades/operator", {"name": "Operator", "hours_per_week": "15"})
        loads = {load.name: load for load in statement(timed, lines=[planned(pieces=80)]).loads}

        bars = {bar.about.partition(":")[0]: bar.width for bar in Picture(answered(timed, SVG, plan()).data).bars()}

        shares = [loads[name].load_share or 0 for name in ("Sheet press", "Operator")]
        assert bars["Sheet press"] / bars["Operator"] == pytest.approx(float(shares[0] / shares[1]), rel=1e-4)

    def test_an_overload_is_marked(self, timed: Client) -> None:
        picture = Picture(answered(timed, SVG, month_plan(lines=[planned(pieces=1000)])).data)

        assert any(word.endswith("bottleneck, too much") for word in picture.words)

    def test_a_plan_that_cannot_be_made_says_so_before_its_profit(self, timed: Client) -> None:
        body = too_much()
        month = answered(timed, "application/json", body).json
        assert month["verdict"] == "cannot_be_made"
        assert float(month["profit"]["amount"]) > 0
        (press,) = [load for load in month["loads"] if load["is_over_full"]]

        picture = Picture(answered(timed, SVG, body).data)

        assert picture.title == "A month's plan cannot be made"
        needed, share = round(float(press["minutes_needed"])), round(float(press["load_share"]) * 100, 1)
        missing = f"It needs {needed:,} minutes of Sheet press, and there are 3,900 ({share:g}%)."
        fits = f"The best mix found that fits leaves {euros(month['best_mix']['profit'])}."
        assert {missing, fits} <= set(picture.words)
        assert picture.description.startswith(f"{picture.title}; {missing}; {fits}; ")
        assert f"the plan (cannot be made): {euros(month['profit'])}" in picture.words

    def test_a_loss_and_a_break_even_beyond_capacity_are_shown(self, timed: Client) -> None:
        timed.put("machines/press", machine(hours_per_week="2"))  # time for 12 sheets
        body = month_plan(lines=[planned(policy=None, price="60", pieces=10)])
        month = answered(timed, "application/json", body).json
        assert month["break_even"]["is_beyond_capacity"]

        picture = Picture(answered(timed, SVG, body).data)

        short = euros({"amount": month["profit"]["amount"].removeprefix("-")})
        assert picture.title == f"A month's plan is {short} short"
        assert "break-even (cannot be made): €0.00" in picture.words

    def test_an_empty_plan_is_drawn_without_volumes(self, timed: Client) -> None:
        picture = Picture(answered(timed, SVG, month_plan(lines=[planned(pieces=0)])).data)

        assert "Nothing is planned, so there is no volume to show." in picture.words

    def test_a_month_without_machines_or_people_is_drawn_without_their_time(self, timed: Client) -> None:
        flakes = [{"material": "hdpe", "quantity_per_piece": "1"}]
        timed.register("products/bag", {"name": "Bag", "bill_of_materials": flakes})

        picture = Picture(answered(timed, SVG, month_plan(lines=[planned(product="bag")])).data)

        assert picture.bars() == []
        assert "all the time there is" not in picture.words

    def test_only_the_fullest_machines_are_drawn(self, timed: Client) -> None:
        operations = []
        for place in range(MOST_LOADS + 3):
            timed.register(
                f"machines/m{place}",
                {"name": f"Machine {place}", "hours_per_week": "40"},
                **{"2026-01-01": {"replacement_value": money("1"), "life_years": "1", "planned_hours_per_year": "1"}},
            )
            operations.append({"name": f"step {place}", "machine": f"m{place}", "cycle_minutes": str(place + 1)})
        timed.register("products/chain", {"name": "Chain", "operations": operations})

        picture = Picture(answered(timed, SVG, month_plan(lines=[planned(product="chain")])).data)

        assert [bar.about.partition(":")[0] for bar in picture.bars()][:2] == ["Machine 26", "Machine 25"]
        assert len(picture.bars()) == MOST_LOADS

    def test_a_png_is_a_png(self, timed: Client) -> None:
        response = answered(timed, PNG, plan())

        assert response.content_type == PNG
        assert png_size(response.data) > (600, 400)

    @pytest.mark.parametrize("name", STRANGE.values(), ids=STRANGE)
    def test_names_are_never_interpreted_as_markup(self, timed: Client, name: str) -> None:
        found = statement(timed)
        loads = tuple(type(load)(**{**_members(load), "name": name}) for load in found.loads)
        named = type(found)(**{**_members(found), "loads": loads})

        assert Picture(month_chart(named, ImageForm.SVG, locale="en_IE")).dangers() == []


def _members(value: Any) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


class TestThePage:
    def test_says_whether_the_month_pays_and_contains_its_picture(self, timed: Client) -> None:
        month = answered(timed, "application/json", plan()).json

        response = answered(timed, HTML, plan())

        assert response.content_type == "text/html; charset=utf-8"
        assert f"The month pays: the plan leaves {euros(month['profit'])}." in response.text
        (picture,) = re.findall(r'<img src="data:image/svg\+xml;base64,([^"]+)"', response.text)
        assert Picture(base64.b64decode(picture)).title.startswith("A month")
        assert '<div class="wide" role="region" tabindex="0" aria-labelledby="plot">' in response.text
        assert '<figcaption class="minor" id="plot">' in response.text

    def test_shows_pay_for_idle_time_absorption_and_the_way_to_the_profit_of_the_month(self, timed: Client) -> None:
        """Of 24 hours of the operator that are paid, 4 × 3.842… are worked."""
        timed.register("labour-grades/operator", {"name": "Operator", "hours_per_week": "40"}, **{DAY: BY_THE_MONTH})
        asked = plan(other_fixed_costs=[{"name": "Own pay", "amount": money("90")}], leave_out=["machines/press"])
        month = answered(timed, "application/json", asked).json

        text = answered(timed, HTML, asked).text

        told = month["reconciliation"]
        assert [figure for figure in told if not float(told[figure]["amount"])] == ["over_absorbed"]
        for line in (
            f"Pay for idle time</bdi></dt><dd><bdi>{euros(month['paid_idle'])}<",
            f"Profits of the products at full cost{CELL}{euros(told['profit_of_products'])}<",
            f"less what the plan does not absorb{CELL}-{euros(told['under_absorbed'])}<",
            f"plus what it absorbs of costs that are left out{CELL}{euros(told['left_out'])}<",
            f"less other fixed costs{CELL}-€90.00<",
            f"Profit{CELL}{euros(told['profit'])}<",
        ):
            assert line in re.sub(r"</th>\s*<td[^>]*>", "|", text), line
        assert "plus what it absorbs beyond the cost" not in text
        assert "left out of the plan" in text
        assert "than the hours a week come to: Operator (24 against 173.3)." in text
        picture = Picture(answered(timed, SVG, asked).data)
        assert f"{euros(month['paid_idle'])} of the fixed cost pays for idle time" in picture.description

    def test_shows_over_absorption(self, timed: Client) -> None:
        timed.put("overheads/rent/rates/2026-01-01", overhead_rate("30", "1"))

        text = answered(timed, HTML, plan()).text

        assert "more than it costs" in text
        assert f"plus what it absorbs beyond the cost{CELL}€" in re.sub(r"</th>\s*<td[^>]*>", "|", text)
        assert "idle time" not in text

    def test_has_no_table_of_absorption_without_fixed_costs(self, timed: Client) -> None:
        nothing = month_plan(lines=[planned(pieces=0)], leave_out=["machines/press", "overheads/rent"])

        assert "What the planned pieces absorb" not in answered(timed, HTML, nothing).text

    def test_may_neither_load_nor_run_anything(self, timed: Client) -> None:
        response = answered(timed, HTML, plan())

        assert "default-src 'none'" in response.headers["Content-Security-Policy"]
        assert "<script" not in response.text
        assert not re.search(r"""(src|href)=["'](?!data:)""", response.text)

    def test_states_a_loss_in_the_workshop_s_own_currency(self, timed: Client) -> None:
        text = answered(timed, HTML, month_plan(lines=[planned(policy=None, price="0.50", pieces=80)])).text

        assert "The month does not pay: the plan is €" in text
        assert "no volume reaches it" in text

    def test_a_plan_that_cannot_be_made_does_not_pay(self, timed: Client) -> None:
        month = answered(timed, "application/json", too_much()).json

        text = answered(timed, HTML, too_much()).text

        assert "The month pays" not in text
        (verdict,) = re.findall(r'role="status"><bdi>([^<]*)</bdi>', text)
        assert verdict.startswith("The plan cannot be made. It needs ")
        assert " minutes of Sheet press, and there are 3,900 (" in verdict
        assert verdict.endswith(f"The best mix found that fits leaves {euros(month['best_mix']['profit'])}.")
        assert f'alt="{verdict} What the month brings in' in text
        assert "if the plan could be made" in text
        assert "not reachable with the hours there are, sales of €" in text  # the target
        assert f"It leaves {euros(month['best_mix']['profit'])}; the plan cannot be made." in text
        assert text.index("<h2><bdi>The mix that leaves the most") < text.index("<h2><bdi>What is sold")

    def test_too_little_time_by_a_fraction_of_a_minute_does_not_look_like_enough(self, timed: Client) -> None:
        """19 sheets take 19 minutes of setup and 800 of pressing; there are 818.9997."""
        timed.put("machines/press", machine(hours_per_week="3.149999"))
        body = month_plan(lines=[planned(policy=None, price="60", pieces=19)])

        text = answered(timed, HTML, body).text

        assert "It needs 819 minutes of Sheet press, and there are 818 (" in text
        assert any(word.startswith("819 of 818 minutes") for word in Picture(answered(timed, SVG, body).data).words)

    def test_says_that_nothing_is_planned_and_not_that_no_volume_reaches_it(self, timed: Client) -> None:
        text = answered(timed, HTML, month_plan(lines=[planned(pieces=0)], target_profit=money("500"))).text

        assert text.count("<dd><bdi>nothing is planned") == 3  # break-even, target and bottleneck
        assert "no volume reaches it" not in text

    def test_the_best_mix_is_left_out_unless_requested(self, timed: Client) -> None:
        text = answered(timed, HTML, {**too_much(), "best_mix": False}).text

        (verdict,) = re.findall(r'role="status"><bdi>([^<]*)</bdi>', text)
        assert verdict.startswith("The plan cannot be made. It needs ")
        assert "best mix" not in text

    def test_a_mix_that_fits_may_make_a_loss_and_a_machine_may_have_no_hours(self, timed: Client) -> None:
        timed.put("machines/press", machine(hours_per_week="0"))

        text = answered(timed, HTML, too_much()).text

        assert "minutes of Sheet press, and there are 0. The best mix found that fits is €800.00 short." in text

    def test_does_not_say_what_can_be_made_if_no_hours_are_registered(self, timed: Client) -> None:
        timed.put("machines/press", machine())

        text = answered(timed, HTML, too_much()).text

        assert "The month pays: the plan leaves €" in text
        assert "cannot be made" not in text
        assert "not reachable" not in text

    def test_a_month_without_cost_and_sales_breaks_even(self, timed: Client) -> None:
        nothing = month_plan(lines=[planned(pieces=0)], leave_out=["machines/press", "overheads/rent"])

        assert "The month breaks even: nothing is left" in answered(timed, HTML, nothing).text

    @pytest.mark.parametrize(
        ("lines", "told"),
        [
            ([planned(policy=None, price="60")], "No mix that you can make and sell earns more."),
            ([planned(policy=None, price="60")], "Another hour of Sheet press would add about €"),
            ([planned(least_per_month=500)], "Even the least of everything takes more time than there is of: Sheet pr"),
        ],
    )
    def test_states_the_outcome_of_the_best_mix(self, timed: Client, lines: Any, told: str) -> None:
        assert told in answered(timed, HTML, month_plan(lines=lines)).text

    def test_names_what_nothing_limits_and_leaves_out_a_mix_that_was_not_requested(self, timed: Client) -> None:
        timed.put("machines/press", machine())

        assert "Neither demand nor known time limits: Sheet." in answered(timed, HTML, month_plan()).text
        assert "The mix that leaves the most" not in answered(timed, HTML, month_plan(best_mix=False)).text

    def test_states_the_cost_of_tools_and_the_upper_bound_of_an_unproven_mix(self, timed: Client) -> None:
        timed.register("tools/die", {"name": "Die"}, **{"2026-01-01": {"cost": money("30"), "life_shots": "500"}})
        sheet = timed.get("products/sheet").json
        sheet["operations"][0] |= {"tool": "die", "tooling": "entire"}
        timed.register("products/sheet", sheet)
        found = statement(timed, lines=[planned(policy=None, price="60")])
        assert found.best_mix is not None
        unproven = type(found.best_mix)(**{**_members(found.best_mix), "is_proven": False})

        page = month_page(type(found)(**{**_members(found), "best_mix": unproven}), "en_IE")

        assert "of it tools €1.50" in page
        assert "No mix that you can make and sell earns more than €" in page

    def test_has_no_table_of_time_if_nothing_takes_time(self, timed: Client) -> None:
        timed.register(
            "products/bag", {"name": "Bag", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1"}]}
        )

        text = answered(timed, HTML, month_plan(lines=[planned(product="bag", most_per_month=5)])).text

        assert "<h2>Time</h2>" not in text
        assert "not known" in text

    @pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
    def test_names_are_unchanged_and_escaped(self, timed: Client, name: str) -> None:
        timed.put("machines/press", machine(name=name, hours_per_week="15"))

        text = answered(timed, HTML, plan()).text

        assert f">{escape(isolated(name))}<" in text
        assert "<script" not in text
