"""What a plan absorbs of the fixed costs, and how the profits of its products become the month's."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.cost_sheet import cost_sheet
from service.domain.costing.rates import LabourRate, OverheadRate, TariffRate
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Tooling
from service.domain.making.resources import Tool
from service.domain.month.break_even import PlannedSale
from service.domain.month.fixed_costs import Absorbed, FixedCost, absorbed_by_a_piece
from service.domain.month.month import Month, PlannedProduct
from service.domain.month.statement import MonthStatement, month_statement
from service.domain.values.exact import exactly
from tests.domain.examples import D, a_product, a_shop, an_operation, an_overhead, bench_work, euros, terms_of
from tests.domain.strategies import figures, tried
from tests.support import builders

PRESS, OPERATOR, RENT = "machines/press", "labour-grades/operator", "overheads/rent"


def product(pieces: int, contribution: str, **absorbed: str) -> PlannedProduct:
    """A piece that contributes, and absorbs of the resources named by their codes."""
    named = {resource.partition("/")[2]: resource for resource in (PRESS, OPERATOR, RENT)}
    net = Decimal(contribution) + 4
    sale = PlannedSale(
        pieces=Decimal(pieces), net_price=net, proceeds=net, variable_cost=Decimal(4), tooling=Decimal(0)
    )
    return PlannedProduct(
        product="sheet",
        listing=None,
        name="Sheet",
        standard_batch=Decimal(1),
        least=Decimal(0),
        most=None,
        in_whole_batches=False,
        price=euros("1"),
        shown_variable_cost=Decimal(4),
        sale=sale,
        absorbed=tuple(
            Absorbed(resource=named[code], name=code, amount=Decimal(amount)) for code, amount in absorbed.items()
        ),
    )


def cost(resource: str | None, amount: str) -> FixedCost:
    return FixedCost(resource=resource, name=resource or "Own pay", components={"amount": Decimal(amount)})


def stated(products: Sequence[PlannedProduct], costs: Sequence[FixedCost]) -> MonthStatement:
    month = Month(
        as_of=date(2026, 11, 25),
        currency="EUR",
        weeks=Decimal(4),
        products=tuple(products),
        fixed_costs=tuple(costs),
        target_profit=None,
        loads=(),
    )
    return month_statement(month, None, (), (), ())


def rows(found: MonthStatement) -> dict[str, tuple[str, str, str, bool]]:
    return {
        each.resource: (
            str(each.incurred.amount),
            str(each.absorbed.amount),
            str(each.under_absorbed.amount),
            each.is_left_out,
        )
        for each in found.absorption
    }


class TestAPlan:
    def test_absorbs_the_fixed_cost_that_its_pieces_bear_of_each_resource(self) -> None:
        products = (product(100, "10", press="1.50", operator="3"), product(50, "8", press="2"))

        found = stated(products, [cost(PRESS, "400"), cost(OPERATOR, "280"), cost(RENT, "90"), cost(None, "25")])

        assert rows(found) == {
            PRESS: ("400.00", "250.00", "150.00", False),
            OPERATOR: ("280.00", "300.00", "-20.00", False),
            RENT: ("90.00", "0.00", "90.00", False),
        }
        assert [(str(each.month_absorbed.amount), str(each.month_profit.amount)) for each in found.lines] == [
            ("450.00", "550.00"),
            ("100.00", "300.00"),
        ]

    def test_is_reconciled_with_the_profits_of_its_products(self) -> None:
        products = (product(100, "10", press="1.50", operator="3", rent="0.1"), product(50, "8", press="2"))

        found = stated(products, [cost(PRESS, "400"), cost(OPERATOR, "280"), cost(None, "25")])

        told = found.reconciliation
        assert told.profit_of_products == euros("840.00")  # 1,400 less 450 + 100 + 10
        assert told.under_absorbed == euros("150.00")
        assert told.over_absorbed == euros("20.00")
        assert told.left_out == euros("10.00")  # the rent that its pieces bear and the month does not
        assert told.other_fixed_costs == euros("25.00")
        assert told.profit == found.profit == euros("695.00")
        assert rows(found)[RENT] == ("0.00", "10.00", "-10.00", True)

    def test_without_pieces_absorbs_nothing(self) -> None:
        found = stated([product(0, "10", press="1.50", rent="1")], [cost(PRESS, "400")])

        assert rows(found) == {PRESS: ("400.00", "0.00", "400.00", False)}
        assert found.reconciliation.profit == found.profit == euros("-400.00")

    def test_that_bears_and_absorbs_nothing_leaves_the_profits_of_its_products(self) -> None:
        found = stated([product(3, "10")], [])

        assert found.absorption == ()
        assert found.reconciliation.profit == found.reconciliation.profit_of_products == found.profit

    def test_leaves_cents_to_the_largest_remainder(self) -> None:
        """A third of a cent three times over: a cent in all."""
        third = str(D(1) / D(300))
        found = stated([product(1, "1", press=third, operator=third, rent=third)], [cost(PRESS, "0.005")])

        assert sum(each.absorbed.amount for each in found.absorption) == D("0.01")
        assert found.reconciliation.profit == found.profit


class TestPaidIdleTime:
    def test_is_pay_by_the_month_that_the_plan_does_not_absorb(self) -> None:
        helper = cost("labour-grades/helper", "500")

        found = stated(
            [product(10, "10", operator="20", press="1")], [cost(OPERATOR, "180"), helper, cost(PRESS, "99")]
        )

        assert found.paid_idle == euros("500.00")  # the operator is not idle, and the press is not paid
        assert stated([product(10, "10", operator="8")], [cost(OPERATOR, "180")]).paid_idle == euros("100.00")

    def test_is_zero_in_cents_where_all_is_absorbed(self) -> None:
        idle = stated([product(10, "10", operator="20")], [cost(OPERATOR, "180")]).paid_idle

        assert idle is not None
        assert str(idle.amount) == "0.00"

    @pytest.mark.parametrize("costs", [[], [cost(PRESS, "99")]])
    def test_is_unknown_where_the_month_bears_no_such_pay(self, costs: list[FixedCost]) -> None:
        assert stated([product(10, "10", operator="8")], costs).paid_idle is None

    def test_more_than_is_paid_is_warned_of(self) -> None:
        (warning,) = stated([product(10, "10", operator="18.25")], [cost(OPERATOR, "180")]).warnings

        assert (warning.code, warning.resources) == ("more-than-paid", (OPERATOR,))
        assert warning.text.startswith(
            "The plan takes more hours than the month pays for of: labour-grades/operator. Overtime, 2.50 EUR at the "
            "ordinary rate, is not in these figures; "
        )

    @pytest.mark.parametrize("costs", [[cost(OPERATOR, "180")], []])
    def test_as_much_as_is_paid_is_not_warned_of_nor_a_grade_that_is_left_out(self, costs: list[FixedCost]) -> None:
        assert stated([product(10, "10", operator="18")], costs).warnings == ()


class TestAPieceAbsorbs:
    def shop(self, **pay: str) -> Any:
        people = [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.5"}]
        pressing = an_operation(
            setup_minutes="30",
            cycle_minutes="6",
            yield_share="1",
            labour=people,
            band_shares={"day": "1"},
            tool="mould",
            tooling=Tooling.ENTIRE,
        )
        charged = builders.tariff_rate(standing_charge_per_month=builders.money("50"), expected_kwh_per_month="1000")
        return a_shop(
            a_product(operations=[pressing]),
            overheads={"rent": an_overhead(), "bags": an_overhead("piece", variable=True)},
            tools={"mould": Tool(name="Mould")},
            terms={
                "tariffs/grid": terms_of(TariffRate, charged),
                OPERATOR: terms_of(LabourRate, builders.labour_rate(**pay)),
                "overheads/bags": OverheadRate(amount_per_month=euros("10"), base_per_month=Decimal(200)),
            },
        )

    def absorbed(self, **pay: str) -> dict[str, Decimal]:
        return {each.resource: each.amount for each in absorbed_by_a_piece(self.shop(**pay).sheet(10))}

    def test_its_machines_fixed_pools_and_charges_but_no_tool_and_nothing_variable(self) -> None:
        assert self.absorbed() == {
            PRESS: D("0.225"),  # 1.5 h × 24,000 ÷ 10 ÷ 1,600 ÷ 10
            RENT: D("0.45"),
            "tariffs/grid": D("0.036"),  # 12 kW × 0.6 × 1 h × 50 ÷ 1,000 ÷ 10
        }

    def test_its_labour_if_that_is_paid_by_the_month(self) -> None:
        assert self.absorbed(paid_hours_per_month="160") == {**self.absorbed(), OPERATOR: D("1.5")}


class TestPoolsOnOrdersAndSetUps:
    """Every one at 3.00 of its base: 600 ÷ 200."""

    def absorbed(self, orders: str = "1", **pool: Any) -> dict[str, Decimal]:
        shop = a_shop(
            a_product(operations=[an_operation(band_shares={"day": "1"}), bench_work(setup_minutes="5")]),
            overheads={"office": an_overhead(**pool)},
        )
        bill = bill_of_resources("sheet", 20, shop.catalogue, orders=D(orders))
        found = absorbed_by_a_piece(cost_sheet(bill, shop.unit_rates(), shop.card))
        return {each.resource: each.amount for each in found if each.resource == "overheads/office"}

    def test_an_order_is_shared_by_the_pieces_that_are_ordered_together(self) -> None:
        assert self.absorbed(base="order") == {"overheads/office": D("0.15")}  # one order of 20
        assert self.absorbed("5", base="order") == {"overheads/office": D("0.75")}  # orders of 4

    def test_every_operation_that_is_set_up_bears_one_a_batch(self) -> None:
        assert self.absorbed(base="setup") == {"overheads/office": D("0.3")}

    def test_a_pool_of_a_machine_or_a_product_bears_on_nothing_else(self) -> None:
        assert self.absorbed(base="setup", machines=["press"]) == {"overheads/office": D("0.15")}
        assert self.absorbed(base="order", products=["beam"]) == {}


amounts = figures("-20", "40", 3)


@st.composite
def months(draw: st.DrawFn) -> tuple[list[PlannedProduct], list[FixedCost]]:
    """Some of the resources are borne, some only absorbed, and some costs have no rate."""
    absorbs = st.dictionaries(st.sampled_from(["press", "operator", "rent"]), figures("0", "9", 4).map(str))
    products = [
        product(draw(st.integers(0, 300)), str(draw(amounts)), **draw(absorbs)) for _ in range(draw(st.integers(1, 4)))
    ]
    borne = draw(st.lists(st.sampled_from([PRESS, OPERATOR, RENT]), unique=True))
    names: list[str | None] = [*borne, *[None] * draw(st.integers(0, 2))]
    return products, [cost(name, str(draw(figures("0", "900", 4)))) for name in names]


@tried
@given(months())
@exactly
def test_the_profits_of_the_products_add_up_to_the_profit_of_the_month(
    month: tuple[list[PlannedProduct], list[FixedCost]],
) -> None:
    found = stated(*month)

    told = found.reconciliation
    assert told.profit == found.profit
    assert told.profit_of_products.amount == sum(each.month_profit.amount for each in found.lines)
    assert told.under_absorbed.amount >= 0 <= told.over_absorbed.amount
    differences = sum(each.under_absorbed.amount for each in found.absorption)
    assert differences == told.under_absorbed.amount - told.over_absorbed.amount - told.left_out.amount
    incurred = sum(each.incurred.amount for each in found.absorption)
    assert incurred + told.other_fixed_costs.amount == found.fixed_cost.amount
    assert sum(each.absorbed.amount for each in found.absorption) == sum(
        each.month_absorbed.amount for each in found.lines
    )


@tried
@given(months())
def test_what_is_absorbed_changes_no_verdict_and_no_volume(month: tuple[list[PlannedProduct], list[FixedCost]]) -> None:
    """A plan is judged by its contribution and the whole fixed cost alone."""
    products, costs = month
    found = stated(products, costs)
    bare = stated([replace(each, absorbed=()) for each in products], costs)

    for name in ("verdict", "profit", "contribution", "break_even", "profit_by_volume"):
        assert getattr(found, name) == getattr(bare, name)
