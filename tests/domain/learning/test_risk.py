"""What a batch may come to cost, if it goes as recorded batches went."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.cost_sheet import cost_sheet
from service.domain.learning.learning import ObservedBatch
from service.domain.learning.risk import RiskBand, Spread, risk_band, told_together, ways_together
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Catalogue
from service.domain.records.record_basis import record_basis
from service.domain.values.money import Money
from tests.domain.examples import Shop, a_product, a_shop, an_operation
from tests.domain.records.recorded import a_record
from tests.domain.reviewing.reviewed import compared
from tests.domain.strategies import figures, tried

SHOP = a_shop(a_product(operations=[an_operation(yield_share="1")]))


def recorded(code: str, **changes: Any) -> ObservedBatch:
    basis = record_basis(a_record(**changes), SHOP.catalogue)
    return ObservedBatch(code=code, observations=basis.observations)


def minutes(figure: str) -> dict[str, Any]:
    return {"operations": [{"operation": "pressing", "minutes": figure}]}


def costed(shop: Shop, quantity: int) -> Any:
    rates = shop.unit_rates()

    def full_cost(facts: Catalogue) -> Money:
        return Money(
            amount=cost_sheet(bill_of_resources(shop.top, quantity, facts), rates, shop.card).full_cost, currency="EUR"
        )

    return full_cost


def band(*batches: ObservedBatch, asked: str | None = None, quantity: int = 20) -> RiskBand:
    return risk_band(costed(SHOP, quantity), SHOP.catalogue, batches, None if asked is None else Decimal(asked))


QUICK, SLOW = recorded("quick", **minutes("720")), recorded("slow", **minutes("1020"))
LOST = recorded("lost", good_units="0", units_started="20")
SILENT = recorded("silent")


class TestTheBand:
    def test_is_the_least_the_mean_and_the_most_that_past_batches_would_cost(self) -> None:
        found = band(QUICK, SLOW)

        assert found.lowest is not None
        assert found.highest is not None
        assert (found.lowest.code, found.highest.code) == ("quick", "slow")
        assert found.lowest.full_cost < found.estimated < found.highest.full_cost
        assert found.expected == (found.lowest.full_cost + found.highest.full_cost) / 2
        assert found.deviation == (found.highest.full_cost - found.lowest.full_cost) / 2
        assert (found.batches, found.lost, found.losing, found.losing_share) == (2, 0, None, None)

    def test_puts_the_facts_of_a_batch_to_the_quantity_asked_for(self) -> None:
        found = band(SLOW, quantity=100)

        # 1020 minutes of 20 cycles after 20 of set-up are 50 a cycle
        assert found.lowest is not None
        slow = a_shop(a_product(operations=[an_operation(yield_share="1", cycle_minutes="50")]))
        assert found.lowest.full_cost == costed(slow, 100)(slow.catalogue).amount

    def test_says_how_many_would_lose_money_at_what_is_asked(self) -> None:
        dear = band(QUICK, SLOW)
        assert dear.highest is not None
        at_the_highest = band(QUICK, SLOW, asked=str(dear.highest.full_cost))
        below = band(QUICK, SLOW, asked=str(dear.highest.full_cost - 1))

        assert (at_the_highest.losing, below.losing, below.losing_share) == (0, 1, Decimal("0.5"))

    def test_counts_batches_of_no_good_unit_as_losing_and_in_no_amount(self) -> None:
        found = band(QUICK, LOST, asked="100000")

        assert (found.batches, found.lost, found.losing) == (2, 1, 1)
        assert found.lowest == found.highest

    def test_leaves_out_batches_that_say_nothing(self) -> None:
        gone = recorded("gone", **minutes("900"))
        elsewhere = a_shop(a_product(operations=[an_operation(name="milling", yield_share="1")]))

        assert band(SILENT, QUICK).batches == 1
        assert risk_band(costed(elsewhere, 20), elsewhere.catalogue, [gone]).batches == 0

    @pytest.mark.parametrize(
        ("batches", "told"),
        [
            ([], "No recorded batch says what this may cost"),
            ([SILENT], "No recorded batch says what this may cost"),
            ([LOST], "All past batches went wholly to scrap, 1 of them: what it costs is not known"),
        ],
    )
    def test_without_a_batch_that_made_something_is_none(self, batches: list[ObservedBatch], told: str) -> None:
        found = band(*batches, asked="300")

        assert (found.lowest, found.expected, found.highest, found.deviation) == (None, None, None, None)
        assert (found.text, found.costs) == (told, ())
        assert band(asked="300").losing_share is None


class TestTheSentence:
    def test_tells_the_band_and_that_few_batches_say_little(self) -> None:
        assert band(QUICK, SLOW).text == (
            "Like 2 past batches it costs 245.55 to 282.60 EUR, 264.08 on average. "
            "So few batches do not show how far it can go"
        )

    def test_tells_how_many_lose(self) -> None:
        several = [recorded(f"b{place}", **minutes(str(720 + 60 * place))) for place in range(5)]

        assert band(*several, LOST, asked="250").text == (
            "Like 6 past batches it costs 245.55 to 275.19 EUR, 260.37 on average, without the 1 that went wholly to "
            "scrap; at 250.00 EUR, 5 of 6 batches like those would lose money"
        )

    def test_of_one_batch_names_one_cost(self) -> None:
        few = ". So few batches do not show how far it can go"
        told = "Like the one past batch it costs 245.55 EUR"

        assert band(QUICK).text == told + few
        assert band(QUICK, asked="245").text == f"{told}; at 245.00 EUR that loses money{few}"
        assert band(QUICK, asked="246").text == f"{told}; at 246.00 EUR that loses no money{few}"

    def test_of_more_ways_than_can_be_counted_tells_what_they_cost(self) -> None:
        spread = Spread(Decimal(2), Decimal(3), Decimal(4))

        few, enough = (
            told_together([band(*batches)] * 2, spread, Money(amount=Decimal(9), currency="EUR"), None)
            for batches in ([QUICK, SLOW], [QUICK, SLOW, QUICK, SLOW, QUICK])
        )

        assert enough == "As past batches went, all of it costs 2 to 4 EUR, 3 on average"
        assert few == f"{enough}. So few batches do not show how far it can go"

    def test_of_lines_together_says_that_lost_batches_are_in_no_amount(self) -> None:
        spread = Spread(Decimal(2), Decimal(3), Decimal(4))

        told = told_together([band(QUICK, SLOW, LOST)], spread, Money(amount=Decimal(9), currency="EUR"), None)

        assert ". Batches that went wholly to scrap are in no amount, and count as losing. So few" in told


class TestLinesTogether:
    def test_go_in_every_way_in_which_their_batches_can_come_together(self) -> None:
        """Each line of 245.55 or 282.60, and 10 besides: 501.10, 538.15 twice, 575.20."""
        two = band(QUICK, SLOW)

        losing = [ways_together([two, band(), two], Decimal(10), Decimal(asked)) for asked in (500, 502, 539, 576)]

        assert losing == [(4, 4), (4, 3), (4, 1), (4, 0)]

    def test_lose_with_a_lost_batch_whatever_is_asked(self) -> None:
        some, none = band(QUICK, SLOW, LOST), band(LOST)

        assert ways_together([some], Decimal(0), Decimal(9999)) == (3, 1)
        assert ways_together([some, none], Decimal(0), Decimal(9999)) == (3, 3)

    def test_are_not_counted_without_batches_or_in_too_many_ways(self) -> None:
        assert ways_together([band()], Decimal(0), Decimal(1)) is None
        assert ways_together([band(QUICK, SLOW)] * 16, Decimal(0), Decimal(1)) is None

    def test_agree_with_the_band_of_a_line_alone(self) -> None:
        for asked in ("200", "250", "282.60", "300"):
            alone = band(QUICK, SLOW, LOST, asked=asked)

            assert ways_together([alone], Decimal(0), Decimal(asked)) == (alone.batches, alone.losing)


class TestLaws:
    @tried
    @given(figures("700", "2000", 0), figures("20", "40", 0), figures("1", "30", 1), figures("60", "200", 0))
    def test_a_batch_as_it_was_costs_what_it_did_at_the_rates_of_its_day(
        self, took: Decimal, started: Decimal, hours: Decimal, kwh: Decimal
    ) -> None:
        record = a_record(
            units_started=f"{started:f}",
            operations=[{"operation": "pressing", "minutes": f"{took:f}"}],
            materials=[{"material": "hdpe", "issued": f"{started * 10:f}", "returned": f"{started:f}"}],
            labour=[{"labour_grade": "operator", "hours": f"{hours:f}"}],
            electricity=[{"tariff": "grid", "kwh": f"{kwh:f}"}],
        )
        basis = record_basis(record, SHOP.catalogue)

        found = band(ObservedBatch(code="b", observations=basis.observations))

        assert found.lowest is not None
        assert round(found.lowest.full_cost, 6) == round(compared(SHOP, record).actual_cost, 6)

    @tried
    @given(st.permutations([QUICK, SLOW, LOST, SILENT]))
    def test_the_order_of_batches_is_irrelevant(self, batches: list[ObservedBatch]) -> None:
        assert band(*batches, asked="250") == band(QUICK, SLOW, LOST, SILENT, asked="250")
