"""Published rules and examples of unit prices."""

from decimal import Decimal

import pytest

from service.domain.listing.unit_price import Measure, unit_price
from service.domain.making.products import BillLine, Product
from service.domain.values.money import Money

DOLLARS = "AUD"


def product(**sides: str) -> Product:
    """Register a product with these measures, made of some material."""
    bill = (BillLine(material="hdpe", quantity_per_piece=Decimal(1)),)
    return Product(name="thing", bill_of_materials=bill, **{name: Decimal(side) for name, side in sides.items()})


def paid(amount: str, currency: str = "EUR") -> Money:
    return Money(amount=Decimal(amount), currency=currency)


class TestUnitPricing:
    """Unit pricing, Australian Competition and Consumer Commission, 2016 and 2023 (CC BY 4.0)."""

    def test_five_tins_of_400_g_for_8_00_are_0_40_for_100_g(self) -> None:
        found = unit_price(paid("8.00", DOLLARS), product(mass_kg=str(5 * Decimal("0.400"))), Measure.KILOGRAM)

        assert found.price == paid("4.00", DOLLARS)
        assert found.price.amount / 10 == Decimal("0.40")

    def test_a_lemon_of_80_g_for_1_50_is_18_75_a_kilogram(self) -> None:
        found = unit_price(paid("1.50", DOLLARS), product(mass_kg="0.080"), Measure.KILOGRAM)

        assert found.price == paid("18.75", DOLLARS)


class TestDirective98Of6:
    """Directive 98/6/EC on the indication of the prices of products offered to consumers, Articles 2 and 3, 1998,
    as summarised by EUR-Lex and the European e-Justice portal, to 2022. The figures are our own."""

    @pytest.mark.parametrize(
        ("measure", "price"),
        [(Measure.KILOGRAM, "2.00"), (Measure.METRE, "5.00"), (Measure.SQUARE_METRE, "12.50"), ("m3", "50.00")],
    )
    def test_it_is_the_final_price_for_a_kilogram_a_metre_a_square_or_a_cubic_metre(
        self, measure: Measure, price: str
    ) -> None:
        beam = product(mass_kg="5", length_mm="2000", width_mm="400", height_mm="250")

        assert unit_price(paid("10.00"), beam, Measure(measure)).price == paid(price)

    def test_it_contains_the_tax_that_the_final_price_contains(self) -> None:
        net, tax_share = Decimal("10.00"), Decimal("0.23")

        found = unit_price(paid(str(net * (1 + tax_share))), product(mass_kg="2"), Measure.KILOGRAM)

        assert found.price == paid("6.15")

    def test_it_is_the_selling_price_itself_where_a_piece_is_one_unit_and_may_then_be_left_out(self) -> None:
        assert unit_price(paid("7.35"), product(length_mm="1000"), Measure.METRE).price == paid("7.35")
