"""The verdict on a month that lacks time, and volumes beyond the available time."""

from datetime import date
from decimal import Decimal

import pytest

from service.domain.month.break_even import PlannedSale
from service.domain.month.fixed_costs import FixedCost
from service.domain.month.month import Month, PlannedProduct
from service.domain.month.statement import MonthStatement, month_statement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import Milestone
from service.domain.scheduling.plan_load import Load
from tests.domain.examples import euros

PRESS, BATCH = "machines/press", Decimal(10)


def product(pieces: int, price: str = "10") -> PlannedProduct:
    """A product that contributes its price less 4."""
    net = Decimal(price)
    sale = PlannedSale(
        pieces=Decimal(pieces), net_price=net, proceeds=net, variable_cost=Decimal(4), tooling=Decimal(0)
    )
    return PlannedProduct(
        product="sheet",
        listing=None,
        name="Sheet",
        standard_batch=BATCH,
        least=Decimal(0),
        most=None,
        in_whole_batches=False,
        price=euros(price),
        shown_variable_cost=Decimal(4),
        sale=sale,
    )


def load(*minutes_a_piece: str, needed: str, available: str | None, resource: str = PRESS) -> Load:
    return Load(
        resource=resource,
        name=resource,
        minutes_per_batch=tuple(Decimal(each) * BATCH for each in minutes_a_piece),
        minutes_needed=Decimal(needed),
        minutes_available=None if available is None else Decimal(available),
    )


def stated(
    products: tuple[PlannedProduct, ...], *loads: Load, fixed: str = "600", target: str = "60"
) -> MonthStatement:
    month = Month(
        as_of=date(2026, 11, 25),
        currency="EUR",
        weeks=Decimal(4),
        products=products,
        fixed_costs=(FixedCost(resource=None, name="Rent", components={"amount": Decimal(fixed)}),),
        target_profit=Decimal(target),
        loads=loads,
    )
    return month_statement(month, None, (), (), ())


class TestTheVerdict:
    @pytest.mark.parametrize(
        ("pieces", "available", "verdict"),
        [
            (200, "400", Verdict.PAYS),
            (100, "400", Verdict.BREAKS_EVEN),
            (99, "400", Verdict.LOSES),
            (200, "399", Verdict.CANNOT_BE_MADE),
            (99, "197", Verdict.CANNOT_BE_MADE),
            (99, "0", Verdict.CANNOT_BE_MADE),
            (200, None, Verdict.PAYS),
        ],
    )
    def test_looks_at_the_time_first(self, pieces: int, available: str | None, verdict: Verdict) -> None:
        found = stated((product(pieces),), load("2", needed=str(2 * pieces), available=available))

        assert found.verdict is verdict
        assert (Milestone.PLAN in found.beyond_capacity) is (verdict is Verdict.CANNOT_BE_MADE)

    def test_a_plan_without_machines_or_people_lacks_no_time(self) -> None:
        assert stated((product(200),)).verdict is Verdict.PAYS


class TestTimeThatNobodyRegistered:
    def test_is_warned_of_since_the_verdict_takes_it_as_unlimited(self) -> None:
        drill = load("1", needed="200", available="201", resource="machines/drill")

        (warning,) = stated((product(200),), load("2", needed="400", available=None), drill).warnings

        assert (warning.code, warning.resources) == ("time-not-known", (PRESS,))
        assert warning.text == (
            f"Nobody has registered how much time there is of: {PRESS}. The verdict takes it as unlimited. Register "
            "hours_per_week."
        )

    @pytest.mark.parametrize(("needed", "available"), [("400", "400"), ("400", "0"), ("0", None)])
    def test_is_not_missed_where_it_is_known_or_not_needed(self, needed: str, available: str | None) -> None:
        assert stated((product(200),), load("2", needed=needed, available=available)).warnings == ()


class TestVolumes:
    @pytest.mark.parametrize(
        ("available", "beyond"),
        [
            ("199.9", {Milestone.BREAK_EVEN, Milestone.TARGET}),  # time for 99 whole pieces; break-even is at 100
            ("200", {Milestone.TARGET}),  # the target is reached at 110
            ("220", set()),
            (None, set()),
        ],
    )
    def test_beyond_the_available_time_are_reported(self, available: str | None, beyond: set[Milestone]) -> None:
        found = stated((product(50),), load("2", needed="100", available=available))

        assert found.beyond_capacity == beyond
        assert found.break_even is not None
        assert found.break_even.is_beyond_capacity is (Milestone.BREAK_EVEN in beyond)

    def test_do_not_exist_at_a_loss_per_piece_so_none_is_beyond_capacity(self) -> None:
        found = stated((product(50, "3"),), load("2", needed="100", available="100"))

        assert (found.break_even, found.target, found.beyond_capacity) == (None, None, frozenset())

    def test_are_compared_in_whole_pieces(self) -> None:
        """Break-even is at 100.17 pieces, so 101 are needed; there is time for 100.5."""
        found = stated((product(50),), load("2", needed="100", available="201"), fixed="601")

        assert found.break_even is not None
        assert (found.break_even.whole_pieces, found.break_even.is_beyond_capacity) == (101, True)

    def test_of_one_product_alone_are_measured_by_its_own_time(self) -> None:
        """Both contribute 6 a piece, so either breaks even at 100 pieces; the second takes four times the minutes."""
        loads = (
            load("1", "4", needed="50", available="250"),
            load("0", "1", needed="10", available="1000", resource="machines/drill"),
        )

        quick, slow = stated((product(10), product(10)), *loads).lines

        assert [each.alone_break_even and each.alone_break_even.is_beyond_capacity for each in (quick, slow)] == [
            False,
            True,
        ]
        assert slow.alone_target is not None
        assert slow.alone_target.is_beyond_capacity

    def test_the_narrowest_resource_limits_the_mix(self) -> None:
        loads = (
            load("2", "2", needed="80", available="1000"),
            load("0", "3", needed="30", available="90", resource="machines/drill"),
        )

        found = stated((product(30), product(10)), *loads)

        (full,) = [each for each in found.profit_by_volume if each.milestone is Milestone.FULL_CAPACITY]
        assert full.pieces == 120  # 30 of the second, and three times as many of the first
        assert full.bottleneck_share == 1
        assert found.bottleneck == "machines/drill"
        assert found.beyond_capacity == frozenset()  # break-even is at 100, the target at 110


class TestTheOrder:
    def test_puts_what_takes_none_of_the_bottleneck_last_if_it_contributes_nothing(self) -> None:
        at_cost = product(10, "4")

        found = stated((at_cost, product(10)), load("0", "2", needed="20", available="100"))

        assert [line.rank for line in found.lines] == [2, 1]
