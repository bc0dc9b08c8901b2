"""Estimating a shipment from the workshop's registered data."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.errors import MissingMeasuresError
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.shipping.shipping_statement import ShippingStatement
from service.domain.values.errors import InvalidValuesError, PugmillError, TooComplexError
from service.domain.values.money import Money
from service.encoding import decoded
from service.workflows.shipping import ShippingQuestion, estimate_shipping
from tests.support import builders
from tests.workflows.owner import Owner

DOLLARS = [builders.weight_class("0", "10", "11.111", "USD"), builders.weight_class("10", "30", "20", "USD")]


@pytest.fixture
def shipper(owner: Owner) -> Owner:
    builders.register_shipping(owner)
    return owner


def shipped(owner: Owner, product: str = "brick", quantity: int | str = 1, **changes: Any) -> ShippingStatement:
    question = decoded(builders.shipping_question(product, quantity, **changes), ShippingQuestion)
    return estimate_shipping(owner.workspace, question)


class TestAStatement:
    def test_shows_why_a_parcel_is_charged_and_how_it_is_packed(self, shipper: Owner) -> None:
        found = shipped(shipper, quantity=2)

        (parcel,) = found.parcels
        assert (parcel.count, parcel.pieces, parcel.container) == (1, 2, "carton")
        assert [str(each) for each in (parcel.length_mm, parcel.width_mm, parcel.height_mm)] == ["610", "410", "420"]
        assert (parcel.longest_side_mm, parcel.length_plus_girth_mm) == (610, 610 + 2 * 830)
        assert parcel.volumetric_kg == Decimal("21.0084")  # 105,042 cm³ ÷ 5000
        assert (parcel.mass_kg, parcel.billable_kg) == (4, Decimal("21.5"))
        assert (parcel.class_above_kg, parcel.class_up_to_kg) == (10, Decimal("31.5"))
        assert parcel.reason == (
            "The volumetric weight of 21.0084 kg is billed, rounded up to a multiple of 0.5 kg: 21.5 kg; charged in "
            "the class above 10 up to 31.5 kg."
        )
        assert parcel.packing == (
            "2 rows of 6, 3 layers high, lying on the 240 × 60 mm side, 240 mm lengthways. There is room for 36; 2 "
            "are in it."
        )
        assert (found.name, found.valid_from, found.as_of) == ("Parcel post", date(2026, 1, 1), date(2026, 11, 25))
        assert found.price == found.workshop_price == Money(amount=Decimal("14.00"), currency="EUR")
        assert (found.parcel_count, found.mass_kg, found.exchange_rates) == (1, 4, ())

    def test_says_of_a_piece_without_a_box_that_it_goes_as_it_is(self, shipper: Owner) -> None:
        shipper.put("shipping-services/post", builders.shipping_service(boxes=[]))

        (parcel,) = shipped(shipper).parcels

        assert (parcel.container, parcel.packing) == (None, "The piece goes as it is.")

    def test_leaves_out_spare_room_where_there_is_none_and_writes_one_piece_as_singular(self, shipper: Owner) -> None:
        tight = builders.a_box(inner="240 120 60", outer="250 130 70")
        shipper.put("shipping-services/post", builders.shipping_service(boxes=[tight]))
        full = shipped(shipper).parcels[0].packing
        shipper.put("shipping-services/post", builders.shipping_service())

        assert full == "1 piece, lying on the 240 × 120 mm side, 240 mm lengthways."
        assert shipped(shipper).parcels[0].packing.endswith(" 1 is in it.")

    def test_adds_up_in_every_column_and_to_the_cent(self, shipper: Owner) -> None:
        classes = [builders.weight_class("0", "2.5", "3.333"), builders.weight_class("2.5", "6", "7.777")]
        rate = builders.shipping_rate(zones={"home": classes}, divisor_cm3_per_kg=None, fuel_surcharge_share="0.0731")
        shipper.put_rate("shipping-services/post", "2026-01-01", rate)

        found = shipped(shipper, quantity=10)

        exact = sum(each.count * each.price_per_parcel.amount for each in found.parcels)
        assert (
            found.price.amount
            == round(exact * Decimal("1.0731"), 2)
            == sum(each.price.amount for each in found.parcels)
        )
        assert found.price == found.carriage + found.fuel_surcharge
        assert found.carriage.amount == sum(each.carriage.amount for each in found.parcels)
        assert all(each.price == each.carriage + each.fuel_surcharge for each in found.parcels)
        assert len(found.parcels) > 1

    def test_shows_the_price_in_the_workshop_s_currency_and_the_rates_it_was_converted_with(
        self, shipper: Owner
    ) -> None:
        shipper.put_rate("shipping-services/post", "2026-06-01", builders.shipping_rate(zones={"home": DOLLARS}))
        shipper.put_exchange_rates("2026-11-20", USD="1.25")

        found = shipped(shipper, quantity=1, as_of="2026-11-25")

        assert found.price == Money(amount=Decimal("20.00"), currency="USD")
        assert found.workshop_price == Money(amount=Decimal("16.00"), currency="EUR")
        assert [day.published_on for day in found.exchange_rates] == [date(2026, 11, 20)]
        assert found.valid_from == date(2026, 6, 1)

    def test_is_for_today_where_no_day_is_named(self, shipper: Owner) -> None:
        assert shipped(shipper, as_of=None).as_of == shipper.workshop.today()

    def test_carries_the_caution_of_a_heavy_parcel(self, shipper: Owner) -> None:
        assert [each.code for each in shipped(shipper, quantity=18).cautions] == ["parcel-too-heavy-for-one-person"]

    def test_stores_nothing(self, shipper: Owner) -> None:
        before = shipper.revision

        shipped(shipper)

        assert shipper.revision == before


class TestARefusal:
    @pytest.mark.parametrize(
        ("asked", "error", "path"),
        [
            ({"zone": "moon"}, UnknownZoneError, ("zone",)),
            ({"product": "sheet"}, MissingMeasuresError, ("lines", 0, "product")),
            ({"product": "beam"}, DoesNotFitError, ("lines", 0, "product")),
            ({"product": "press-work", "quantity": "2.5"}, DoesNotFitError, ("lines", 0, "product")),
            ({"quantity": 100_001}, TooComplexError, ("lines",)),
        ],
        ids=["unknown zone", "no measures", "too long", "by the hour", "too many"],
    )
    def test_names_the_member_at_fault(
        self, shipper: Owner, asked: dict[str, Any], error: type[PugmillError], path: tuple[str | int, ...]
    ) -> None:
        shipper.put("products/beam", builders.measured(length_mm="2400"))
        shipper.put("products/press-work", builders.product(unit="hour"))

        with pytest.raises(error) as raised:
            shipped(shipper, **asked)

        assert raised.value.path == path  # type: ignore[attr-defined]

    def test_of_half_a_piece_names_the_quantity_of_its_line(self, shipper: Owner) -> None:
        with pytest.raises(InvalidValuesError) as raised:
            shipped(shipper, quantity="2.5")

        assert str(raised.value) == "lines/0/quantity: must be whole: pieces are not divided"

    def test_of_a_second_product_names_its_line(self, shipper: Owner) -> None:
        lines = [{"product": "brick", "quantity": 1}, {"product": "sheet", "quantity": 1}]

        with pytest.raises(MissingMeasuresError) as raised:
            shipped(shipper, lines=lines)

        assert raised.value.path == ("lines", 1, "product")

    @pytest.mark.parametrize("thing", ["shipping-services/post", "products/brick"])
    def test_says_of_what_is_retired_that_it_does_not_exist(self, shipper: Owner, thing: str) -> None:
        shipper.retire(thing)

        with pytest.raises(InvalidValuesError, match=r"there is no .*; register it first"):
            shipped(shipper)

    def test_without_a_rate_says_when_the_first_begins(self, shipper: Owner) -> None:
        with pytest.raises(MissingRatesError) as raised:
            shipped(shipper, as_of="2025-12-31")

        assert raised.value.missing == (
            MissingRate(resource="shipping-services/post", first_valid_from=date(2026, 1, 1)),
        )

    def test_without_an_exchange_rate_names_the_currencies(self, shipper: Owner) -> None:
        shipper.put_rate("shipping-services/post", "2026-06-01", builders.shipping_rate(zones={"home": DOLLARS}))

        with pytest.raises(MissingExchangeRateError):
            shipped(shipper)


def test_a_product_that_stands_in_two_lines_is_refused_at_the_second(shipper: Owner) -> None:
    brick = {"product": "brick", "quantity": 1}

    with pytest.raises(InvalidValuesError, match="stands in two lines; add the pieces up") as refusal:
        shipped(shipper, lines=[brick, brick])

    assert [each.path for each in refusal.value.problems] == [("lines", 1, "product")]
