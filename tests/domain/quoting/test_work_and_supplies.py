"""Lines by weight, work of the workshop, purchases, the customer's own material, and pools that an order bears once."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.rates import MaterialRate, OverheadRate
from service.domain.making.products import Product
from service.domain.quoting.batch_costs import once_warnings
from service.domain.quoting.figures import quotation_figures
from service.domain.quoting.items import Item, Work
from service.domain.quoting.lines import QuotedLines
from service.domain.quoting.quotation import QuotationFigures
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded
from tests.domain.examples import (
    D,
    Shop,
    a_line,
    a_material,
    a_product,
    a_request,
    a_shop,
    an_operation,
    an_overhead,
    euros,
    money,
)
from tests.domain.quoting.test_quoted_batches import MARKUP_OF_NOTHING, a_sheet_line, figures, the_basis
from tests.support import builders

PEOPLE = [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.25"}]
PRESS = {"machine": "press", "labour": PEOPLE, "setup_minutes": "20", "band_shares": {"day": "0.7", "night": "0.3"}}
HOURS = ("machine_hour", "labour_hour", "direct_labour_value", "setup")


def work_line(quantity: str = "2.5", unit: str = "hour", **work: Any) -> dict[str, Any]:
    item = {"name": "Press work", "unit": unit, "work": {**PRESS, **work}}
    return {"item": item, "quantity": quantity, "tax": "vat", "policy": MARKUP_OF_NOTHING}


def costs_of(shop: Shop, *lines: dict[str, Any], **changes: Any) -> list[Decimal]:
    """The full cost of each line, unrounded."""
    request = a_request(lines=list(lines))
    quoted = QuotedLines(request.lines, the_basis(request, shop, **changes))
    return [quoted.costs(place, line.quantity).line.full for place, line in enumerate(request.lines)]


def quoted_by(shop: Shop, *lines: dict[str, Any], **changes: Any) -> QuotationFigures:
    request = a_request(lines=list(lines))
    return quotation_figures(request, the_basis(request, shop, **changes))


class TestWork:
    @given(st.integers(1, 2000).map(lambda each: D(each) / 20))
    def test_of_some_hours_costs_what_as_many_minutes_of_the_same_operation_cost(self, hours: Decimal) -> None:
        minutely = an_operation(cycle_minutes="1", yield_share="1", warm_up_minutes="15", labour=PEOPLE)
        pools = {base: an_overhead(base) for base in HOURS}
        shop = a_shop(a_product(bill_of_materials=[], operations=[minutely]), overheads=pools)

        by_hours, by_minutes = costs_of(
            shop, work_line(str(hours), warm_up_minutes="15"), a_sheet_line(quantity=str(hours * 60))
        )

        assert by_hours == by_minutes

    def test_has_its_unit_and_no_product(self) -> None:
        (line,) = quoted_by(a_shop(), work_line()).lines

        assert (line.product, line.description, line.unit, line.quoted.quantity) == (
            *(None, "Press work", "hour"),
            D("2.5"),
        )

    def test_by_the_kilogram_is_timed_by_what_an_hour_does(self) -> None:
        hourly, by_weight = work_line("2.5"), work_line("100", "kg", units_per_hour="40")

        first, second = costs_of(a_shop(), hourly, by_weight)

        assert first == second

    def test_pays_for_a_tool_in_its_price_or_beside_it(self) -> None:
        line = work_line(tool="mould")

        within, beside = (quoted_by(a_shop(), {**line, "tooling": each}) for each in ("as_product", "charged_once"))

        assert within.kept.full_cost == beside.kept.full_cost
        (tool,) = beside.lines[0].quoted.charges
        assert (tool.reason, tool.amount) == ("Mould", euros("3000.00"))

    @pytest.mark.parametrize(
        ("work", "unit", "path", "told"),
        [
            ({}, "kg", "work/units_per_hour", "is required where the unit is kg"),
            ({"units_per_hour": "2"}, "hour", "work/units_per_hour", "is 1 where it is sold by the hour"),
            ({"units_per_hour": "0"}, "kg", "units_per_hour", "more than 0"),
            ({"machine": None}, "hour", "machine", "is required where warm_up_minutes, load_factor or band_shares"),
            ({"labour": [*PEOPLE, *PEOPLE]}, "hour", "labour", "names a labour grade twice"),
        ],
    )
    def test_that_cannot_be_done_so_is_refused(self, work: dict[str, Any], unit: str, path: str, told: str) -> None:
        with pytest.raises(InvalidValuesError) as refused:
            decoded({"name": "Press work", "unit": unit, "work": {**PRESS, **work}}, Item)

        assert [("/".join(map(str, each.path)), told in each.reason) for each in refused.value.problems] == [
            (path, True)
        ]

    def test_of_nobody_and_no_machine_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match="name a machine, or who works"):
            Work()

    def test_has_no_shots_that_a_tool_wears_by(self) -> None:
        with pytest.raises(InvalidValuesError, match="work has no shots"):
            a_request(lines=[{**work_line(tool="mould"), "tooling": "per_shot"}])


class TestItems:
    @pytest.mark.parametrize(
        ("changes", "path", "told"),
        [
            ({}, "cost", "is required, unless"),
            ({"cost": "1", "purchase": {"price": builders.money("1")}}, "purchase", "stands beside cost"),
            ({"cost": "1", "work": PRESS}, "work", "stands beside cost"),
            ({"work": PRESS, "variable_cost": "1"}, "variable_cost", "is a part of a stated cost"),
            ({"work": PRESS, "cost_once": "1"}, "cost_once", "setup_minutes of work"),
            ({"purchase": {"price": builders.money("1")}, "cost_once": "1"}, "cost_once", "the delivery_cost"),
        ],
    )
    def test_say_in_one_way_what_they_cost(self, changes: dict[str, Any], path: str, told: str) -> None:
        with pytest.raises(InvalidValuesError) as refused:
            decoded({"name": "Thing", "unit": "hour", **changes}, Item)

        (problem,) = refused.value.problems
        assert (problem.path, told in problem.reason) == ((path,), True)

    def test_that_are_bought_cost_their_price_on_the_day_and_their_delivery_once(self) -> None:
        purchase = {"price": builders.money("12.50", "USD"), "delivery_cost": builders.money("6")}
        line = {"item": {"name": "Hinge", "purchase": purchase}, "quantity": 40, "tax": "vat"}

        found = figures({**line, "policy": builders.policy("markup", "0.2")})

        assert found.kept.full_cost == found.kept.variable_cost == euros("406.00")  # 40 × 12.50 ÷ 1.25 + 6
        assert found.lines[0].quoted.unit_price == euros("12.18")  # 10.15 × 1.2
        assert figures({**line, "policy": MARKUP_OF_NOTHING}, currency="USD").kept.full_cost == money("507.50", "USD")


def by_weight(unit: str, **line: Any) -> Product:
    """A product that is shredded, of which a kilogram is a unit or a piece."""
    shredding = replace(an_operation(cycle_minutes="0", yield_share="0.9"), units_per_hour=D(40))
    line = {"process_loss_share": "0.2", "reclaim_share": "0.25", **line}
    mass = {} if unit == "kg" else {"mass_kg": "1"}
    return a_product(unit=unit, bill_of_materials=[a_line(**line)], operations=[shredding], **mass)


class TestAProductByWeight:
    @pytest.mark.parametrize("base_quantity", [1, 100])
    def test_costs_what_as_many_pieces_of_a_kilogram_cost(self, base_quantity: int) -> None:
        pools = {"sold": an_overhead("piece"), "bought": an_overhead("direct_material_value")}
        line = a_sheet_line(quantity=137, base_quantity=base_quantity, quantity_breaks=[1000])

        weighed, counted = (quoted_by(a_shop(by_weight(unit), overheads=pools), line) for unit in ("kg", "piece"))

        assert [each.unit for each in weighed.lines] == ["kg"]
        assert replace(weighed, lines=()) == replace(counted, lines=())
        assert replace(weighed.lines[0], unit=counted.lines[0].unit) == counted.lines[0]

    def test_is_quoted_and_counted_in_parts_of_a_kilogram(self) -> None:
        line = a_sheet_line(quantity="137.5", policy=builders.policy("fixed_price", "1.06"), quantity_breaks=["0.001"])

        (found,) = quoted_by(a_shop(by_weight("kg")), line).lines

        assert found.quoted.net_amount == euros("145.75")
        assert [each.quantity for each in found.quantity_breaks] == [D("0.001")]


def a_recycler(**changes: Any) -> Shop:
    """Flakes at 0.80 whose regrind is worth 0.30 and whose waste costs 0.10, with a pool of 5 % on material."""
    rate = decoded(
        builders.material_rate(reclaim_value=builders.money("0.30"), disposal_cost=builders.money("0.10")), MaterialRate
    )
    five = OverheadRate(amount_per_month=euros("5"), base_per_month=D(100))
    return a_shop(
        by_weight("kg", **changes),
        terms={"materials/hdpe": rate, "materials/blend": rate, "overheads/buying": five},
        overheads={"buying": an_overhead("direct_material_value")},
        materials={"hdpe": a_material(), "blend": a_material(name="Blend")},
    )


NEEDED = D("100") / D("0.9") / D("0.8")


class TestWhatTheCustomerSupplies:
    def test_in_part_costs_less_by_just_that_quantity(self) -> None:
        """300 of the 805 kg that 805 kg without loss take: 300 × 0.80, and the pool on it."""
        shop = a_recycler(process_loss_share="0", reclaim_share="0")
        shop = shop.with_product("sheet", a_product(unit="kg", bill_of_materials=[a_line()], operations=[]))
        line = a_sheet_line(quantity=805)

        bought, supplied = costs_of(shop, line, {**line, "supplied_quantities": {"hdpe": "300"}})

        assert bought - supplied == 300 * D("0.80") * D("1.05")

    def test_takes_its_share_of_the_regrind_with_it_and_leaves_its_waste(self) -> None:
        shop, line, half = a_recycler(), a_sheet_line(quantity=72), {"hdpe": "50"}  # 100 kg, of which 28 are lost

        bought, supplied, everything = costs_of(
            shop, line, {**line, "supplied_quantities": half}, {**line, "supplied_materials": ["hdpe"]}
        )

        credited = 28 * D("0.25") * D("0.30")
        assert bought - everything == (100 * D("0.80") - credited) * D("1.05")
        assert bought - supplied == (50 * D("0.80") - credited / 2) * D("1.05")

    @pytest.mark.parametrize("reclaimed_as", [None, "blend"])
    def test_as_all_that_is_needed_is_all_of_it(self, reclaimed_as: str | None) -> None:
        shop, line = a_recycler(reclaimed_as=reclaimed_as), a_sheet_line(quantity=72)

        told, all_of_it = costs_of(
            shop, {**line, "supplied_quantities": {"hdpe": "100"}}, {**line, "supplied_materials": ["hdpe"]}
        )

        assert told == all_of_it

    def test_needs_no_rate_and_then_its_waste_costs_nothing(self) -> None:
        shop, line = a_recycler(), a_sheet_line(quantity=72, supplied_materials=["hdpe"])
        unrated = replace(shop, terms={each: terms for each, terms in shop.terms.items() if each != "materials/hdpe"})

        (rated,), (free,) = costs_of(shop, line), costs_of(unrated, line)

        assert rated - free == 28 * D("0.75") * D("0.10") * D("1.05")

    def test_left_no_waste_under_the_editions_before(self) -> None:
        shop, line = a_recycler(), a_sheet_line(quantity=72, supplied_materials=["hdpe"])

        (now,), (before,) = costs_of(shop, line), costs_of(shop, line, edition=2)

        assert now - before == 28 * D("0.75") * D("0.10") * D("1.05")

    def test_stands_on_the_quotation_beside_what_is_needed(self) -> None:
        line = a_sheet_line(quantity=72)

        parts, whole = quoted_by(
            a_recycler(), {**line, "supplied_quantities": {"hdpe": "12.5"}}, {**line, "supplied_materials": ["hdpe"]}
        ).lines

        assert [(each.quantity, each.needed) for each in (*parts.supplied, *whole.supplied)] == [
            (D("12.5"), D(100)),
            (D(100), None),
        ]

    def test_is_named_once(self) -> None:
        both = {"supplied_materials": ["hdpe"], "supplied_quantities": {"hdpe": "1"}}

        with pytest.raises(InvalidValuesError, match="supplied_quantities/hdpe: is supplied as a whole"):
            a_request(lines=[a_sheet_line(**both)])


def handling(**pool: Any) -> Shop:
    """Sheets, and a pool of 3 for each order."""
    shop = a_shop(a_product(bill_of_materials=[a_line()], operations=[]), overheads={"order": an_overhead("order")})
    pools = {"order": replace(shop.catalogue.overheads["order"], **pool)}
    return replace(shop, catalogue=replace(shop.catalogue, overheads=pools))


GIFT = {"item": {"name": "Gift box", "cost": "2"}, "quantity": 10, "tax": "vat", "policy": MARKUP_OF_NOTHING}


class TestAPoolOfOrders:
    def test_is_borne_once_by_the_first_line_with_a_bill(self) -> None:
        assert costs_of(handling(), GIFT, a_sheet_line(), a_sheet_line()) == [20, 83, 80]
        assert costs_of(handling(), a_sheet_line(), work_line()) == [83, *costs_of(a_shop(), work_line())]

    def test_is_told_once(self) -> None:
        request = a_request(lines=[GIFT, a_sheet_line(), a_sheet_line(quantity=7), a_sheet_line(quantity=9)])
        basis = the_basis(request, handling())
        bills = [None, *basis.bills]

        assert [(each.code, each.product, each.text) for each in once_warnings(bills, basis.pools_of_orders)] == [
            ("pool-once", None, "Rent is borne once by the whole order: line 2 bears all of it.")
        ]
        assert [*once_warnings(bills[:2], basis.pools_of_orders)] == []

    def test_is_borne_by_the_first_line_where_none_has_a_bill(self) -> None:
        found = quoted_by(handling(), GIFT, GIFT)

        assert [line.quoted.kept.full_cost for line in found.lines] == [euros("23.00"), euros("20.00")]
        assert [line.quoted.kept.variable_cost for line in found.lines] == [euros("20.00"), euros("20.00")]
        assert costs_of(handling(variable=True), GIFT) == [23]
        assert costs_of(handling(products=("sheet",)), GIFT) == [20]

    def test_was_borne_by_each_line_under_the_editions_before(self) -> None:
        assert costs_of(handling(), GIFT, a_sheet_line(), a_sheet_line(), edition=2) == [20, 83, 83]
        assert costs_of(handling(), GIFT, edition=2) == [20]
