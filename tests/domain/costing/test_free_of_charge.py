"""Warnings of costs and prices of 0, except for optional parts of the terms."""

from decimal import Decimal

import pytest

from service.domain.costing.free_of_charge import pools_below_zero, zero_lines, zero_price
from service.domain.costing.rates import MaterialRate, OverheadRate, TariffRate
from service.domain.values.message import PlausibilityWarning
from service.domain.values.units import Unit
from tests.domain.examples import a_line, a_product, a_shop, an_overhead, terms_of
from tests.support import builders


class TestALine:
    def test_without_cost_brings_a_warning_with_the_remedy(self) -> None:
        free = terms_of(MaterialRate, builders.material_rate("0"))

        (warning,) = zero_lines(a_shop(terms={"materials/hdpe": free}).sheet(10))

        assert (warning.code, warning.product) == ("zero-line", "sheet")
        assert warning.text == ("HDPE flakes costs nothing, because its rate is 0. Enter its rate, unless it is free.")

    def test_that_costs_something_brings_none(self) -> None:
        assert list(zero_lines(a_shop().sheet(10))) == []

    def test_of_a_credit_or_a_standing_charge_of_0_brings_none(self) -> None:
        product = a_product(bill_of_materials=[a_line(process_loss_share="0.1", reclaim_share="1")])
        credit = terms_of(MaterialRate, builders.material_rate(reclaim_value=builders.money("0")))
        charges = {"standing_charge_per_month": builders.money("0"), "expected_kwh_per_month": "100"}
        standing = terms_of(TariffRate, builders.tariff_rate(**charges))

        sheet = a_shop(product, terms={"materials/hdpe": credit, "tariffs/grid": standing}).sheet(10)

        assert list(zero_lines(sheet)) == []

    def test_of_a_pool_brings_a_warning_where_its_base_has_a_value(self) -> None:
        pool = {"overheads": {"admin": an_overhead("direct_labour_value", name="Office")}}
        free = {"overheads/admin": terms_of(OverheadRate, builders.overhead_rate("0"))}

        (warning,) = zero_lines(a_shop(terms=free, **pool).sheet(10))

        assert warning.text.facts == {"resource": "Office"}
        assert list(zero_lines(a_shop(a_product(operations=[]), terms=free, **pool).sheet(10))) == []


@pytest.mark.parametrize(("price", "found"), [("0", ["zero-price"]), ("0.00", ["zero-price"]), ("0.01", [])])
def test_a_price_of_0_brings_a_warning(price: str, found: list[str]) -> None:
    assert [warning.code for warning in zero_price("sheet", Decimal(price))] == found


@pytest.mark.parametrize(
    ("unit", "told"), [(Unit.PIECE, "A piece is priced at 0. "), (Unit.CUBIC_METRE, "The price per m³ is 0. ")]
)
def test_a_price_of_0_is_told_of_one_unit(unit: Unit, told: str) -> None:
    (warning,) = zero_price("sheet", Decimal(0), unit)

    assert warning.text.startswith(told)


class TestAPoolOnAValue:
    """A fifth of the value of a kilogram of flakes that the workshop is paid 0.50 to take, or pays for."""

    @staticmethod
    def told(price: str, base: str = "direct_material_value") -> list[PlausibilityWarning]:
        product = a_product(bill_of_materials=[a_line(quantity_per_piece="1")], operations=[])
        rates = {
            "materials/hdpe": terms_of(MaterialRate, builders.material_rate(price)),
            "overheads/admin": terms_of(OverheadRate, builders.overhead_rate("20", "100")),
        }
        pools = {"admin": an_overhead(base, name="Buying")}
        return list(pools_below_zero(a_shop(product, terms=rates, overheads=pools).sheet(10)))

    def test_below_0_brings_a_warning_with_the_value_and_the_remedy(self) -> None:
        (warning,) = self.told("-0.50")

        assert (warning.code, warning.product) == ("pool-below-zero", "sheet")
        assert warning.text == (
            "Buying lowers this cost, because it is a share of a value that is below 0 here: -5.00 EUR. Spread it over "
            "hours, orders or setups instead."
        )

    def test_above_0_or_on_a_quantity_brings_none(self) -> None:
        assert self.told("0.50") == []
        assert self.told("-0.50", "piece") == []
