"""Weights and charges of parcels, refusals, and the estimate as it is shown."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any, ClassVar, TypeVar

import pytest

from service.domain.making.errors import MissingMeasuresError
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.shipping.estimate import MAX_PIECES, ShippingEstimate, shipping_estimate
from service.domain.shipping.shipping_rates import ParcelLimits, ParcelMeasures, narrowed
from service.domain.shipping.shipping_statement import Shipment, shipping_statement
from service.domain.values.errors import InvalidValuesError, TooComplexError
from tests.domain.examples import TODAY, a_brick, a_shipping_rate, a_shipping_service, shipped
from tests.support.builders import a_box, a_pallet, weight_class

D = Decimal
BARE: dict[str, Any] = {"boxes": []}


def parcel(sides: str = "300 200 100", mass: str = "1") -> ParcelMeasures:
    length, width, height = map(D, sides.split())
    return ParcelMeasures(length_mm=length, width_mm=width, height_mm=height, mass_kg=D(mass))


T = TypeVar("T")


def only(parcels: tuple[T, ...]) -> T:
    (found,) = parcels
    return found


class TestMeasures:
    def test_length_is_the_longest_side_however_the_parcel_stands(self) -> None:
        for sides in ("300 200 100", "100 300 200", "200 100 300"):
            assert parcel(sides).longest_side_mm == 300
            assert parcel(sides).length_plus_girth_mm == 300 + 2 * (200 + 100)
            assert parcel(sides).volume_cm3 == 6000

    @pytest.mark.parametrize(
        ("mass", "changes", "billable"),
        [
            ("1", {}, "1.5"),  # 6000 cm³ ÷ 5000 = 1.2
            ("1.21", {}, "1.5"),
            ("1.5", {}, "1.5"),
            ("1.50001", {}, "2.0"),
            ("1", {"weight_step_kg": None}, "1.2"),
            ("1", {"divisor_cm3_per_kg": None}, "1.0"),
            ("1.1", {"divisor_cm3_per_kg": None, "weight_step_kg": None}, "1.1"),
            ("1", {"divisor_cm3_per_kg": "7000", "weight_step_kg": "0.1"}, "1.0"),  # 0.857… is below the actual weight
        ],
    )
    def test_billable_is_the_greater_weight_rounded_up_to_the_step(
        self, mass: str, changes: dict[str, Any], billable: str
    ) -> None:
        assert a_shipping_rate(**changes).billable_kg(parcel(mass=mass)) == D(billable)

    def test_a_weight_above_a_step_by_a_rounding_error_is_on_the_step(self) -> None:
        thirds = a_shipping_rate(divisor_cm3_per_kg="3", weight_step_kg="2000")

        assert thirds.billable_kg(parcel()) == 2000


class TestClasses:
    def test_the_upper_bound_is_included(self) -> None:
        rate = a_shipping_rate(divisor_cm3_per_kg=None, weight_step_kg=None)

        places = [rate.place_of(rate.zones["home"], parcel(mass=mass)) for mass in ("2", "2.000001", "31.5", "31.6")]

        assert places == [0, 1, 2, 3]

    def test_a_parcel_beyond_a_class_goes_to_the_next_one_that_takes_it(self) -> None:
        small = weight_class("0", "2", "3", limits={"max_longest_side_mm": "250"})
        rate = a_shipping_rate(zones={"home": [small, weight_class("2", "5", "6")]})
        classes = rate.zones["home"]

        place = rate.place_of(classes, parcel())

        assert place == 1
        assert rate.reason(classes, classes[1], parcel()) == (
            "The volumetric weight of 1.2 kg is billed, rounded up to a multiple of 0.5 kg: 1.5 kg; the class above 0 "
            "up to 2 kg does not take it, for its longest side of 300 mm is above 250 mm; charged in the class above 2 "
            "up to 5 kg."
        )

    def test_the_actual_weight_is_stated_where_it_is_greater_and_no_step_where_there_is_none(self) -> None:
        rate = a_shipping_rate(weight_step_kg=None)
        classes = rate.zones["home"]

        assert rate.reason(classes, classes[1], parcel(mass="3.25")) == (
            "The actual weight of 3.25 kg is billed: 3.25 kg; charged in the class above 2 up to 10 kg."
        )

    @pytest.mark.parametrize(
        ("limits", "reason"),
        [
            ({"max_mass_kg": "0.9"}, "its mass of 1 kg is above 0.9 kg"),
            ({"max_longest_side_mm": "299.9"}, "its longest side of 300 mm is above 299.9 mm"),
            ({"max_length_plus_girth_mm": "899"}, "its length plus girth of 900 mm is above 899 mm"),
        ],
    )
    def test_a_service_takes_a_parcel_at_its_limit_and_none_beyond(self, limits: dict[str, str], reason: str) -> None:
        at_the_limit = {"max_mass_kg": "1", "max_longest_side_mm": "300", "max_length_plus_girth_mm": "900"}
        beyond, within = a_shipping_rate(limits=limits), a_shipping_rate(limits=at_the_limit)
        classes = beyond.zones["home"]

        assert beyond.place_of(classes, parcel()) == len(classes)
        assert list(beyond.refusals(classes, parcel())) == [reason]
        assert within.place_of(classes, parcel()) == 0

    def test_the_narrowest_of_several_limits_holds(self) -> None:
        service = ParcelLimits(max_mass_kg=D(30), max_longest_side_mm=D(1000))
        of_a_class = ParcelLimits(max_mass_kg=D(2), max_length_plus_girth_mm=D(900))

        assert narrowed(service, None, of_a_class) == ParcelLimits(
            max_mass_kg=D(2), max_longest_side_mm=D(1000), max_length_plus_girth_mm=D(900)
        )
        assert narrowed(None, None) == ParcelLimits()


def classes(*bands: tuple[str, str, str]) -> dict[str, Any]:
    return {"zones": {"home": [weight_class(*band) for band in bands]}}


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "overlapping classes": (
        lambda: a_shipping_rate(**classes(("0", "2", "5"), ("1", "5", "6"))),
        "zones/home/1/above_kg",
    ),
    "a gap": (lambda: a_shipping_rate(**classes(("0", "2", "5"), ("3", "5", "6"))), "zones/home/1/above_kg"),
    "not from 0": (lambda: a_shipping_rate(**classes(("1", "2", "5"))), "zones/home/0/above_kg"),
    "an empty class": (lambda: a_shipping_rate(**classes(("0", "2", "5"), ("2", "2", "6"))), "zones/home/1/up_to_kg"),
    "a falling price": (
        lambda: a_shipping_rate(**classes(("0", "2", "5"), ("2", "3", "4.99"))),
        "zones/home/1/price/amount",
    ),
    "a negative price": (lambda: a_shipping_rate(**classes(("0", "2", "-1"))), "zones/home/0/price/amount"),
    "two currencies": (
        lambda: a_shipping_rate(zones={"a": [weight_class("0", "2", "5")], "b": [weight_class("0", "2", "5", "USD")]}),
        "zones/b/0/price/currency",
    ),
    "smaller outside than inside": (lambda: a_shipping_service(boxes=[a_box(outer="610 399 420")]), "width_mm"),
    "a pallet without room": (
        lambda: a_shipping_service(boxes=[], pallets=[a_pallet(max_height_mm="144")]),
        "max_height_mm",
    ),
    "a pallet named as a box": (lambda: a_shipping_service(pallets=[a_pallet("carton")]), "pallets/0/code"),
    "two boxes of one name": (lambda: a_shipping_service(boxes=[a_box(), a_box()]), "boxes/1/code"),
    "a side of 0": (lambda: a_shipping_service(boxes=[a_box(inner="0 400 400")]), "inner_length_mm"),
}


class TestWhatIsRefused:
    @pytest.mark.parametrize(("make", "place"), REFUSED.values(), ids=REFUSED)
    def test_is_named_by_its_place(self, make: Callable[[], object], place: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            make()

        assert ["/".join(map(str, problem.path)) for problem in error.value.problems] == [place]

    @pytest.mark.parametrize(("zone", "told"), [("moon", "; there are home"), ("Hom", "; did you mean 'home'?")])
    def test_an_unknown_zone_is_refused_naming_the_nearest_or_all_that_there_are(self, zone: str, told: str) -> None:
        with pytest.raises(UnknownZoneError) as error:
            shipping_estimate([("brick", a_brick(), 1)], a_shipping_service(), a_shipping_rate(), zone)

        assert (error.value.zone, error.value.zones) == (zone, ("home",))
        assert str(error.value) == f"there is no zone '{zone}'{told}"

    def test_a_product_without_measures_is_refused_saying_what_to_register(self) -> None:
        with pytest.raises(MissingMeasuresError) as error:
            shipped(mass_kg=None, width_mm=None)

        assert (error.value.product, error.value.members) == ("brick", ("mass_kg", "width_mm"))
        assert str(error.value) == "shipping it needs mass_kg and width_mm: register the product 'brick' with it"

    def test_too_many_pieces_are_refused_before_anything_is_packed(self) -> None:
        with pytest.raises(TooComplexError, match="more than 100000 pieces in one estimate; ask for fewer at a time"):
            shipped(MAX_PIECES + 1)

    def test_too_many_boxes_to_try_are_refused(self) -> None:
        service = a_shipping_service(boxes=[a_box(f"box-{place}") for place in range(20)])
        pieces = [(f"brick-{place}", a_brick(), 1) for place in range(7)]

        with pytest.raises(TooComplexError, match=r"more than 120 boxes and pallets .*; ask for fewer products"):
            shipping_estimate(pieces, service, a_shipping_rate(), "home")

    def test_what_fits_nowhere_is_refused_with_the_reason_for_every_box_and_pallet(self) -> None:
        boxes = [a_box("short"), a_box("weak", inner="900 400 400", outer="910 410 420", max_load_kg="1")]
        long = a_box("long", inner="900 100 100", outer="910 110 110")
        service = a_shipping_service(boxes=[*boxes, long], pallets=[a_pallet()], takes_bare_pieces=True)
        rate = a_shipping_rate(limits={"max_longest_side_mm": "880", "max_mass_kg": "30"})

        with pytest.raises(DoesNotFitError) as error:
            shipped(1, service, rate, length_mm="890", width_mm="90", height_mm="90", mass_kg="40")

        assert error.value.product == "brick"
        assert error.value.reasons == (
            "box 'short': a side of 890 mm is longer than the 600 mm there is room for",
            "box 'weak': a piece of 40 kg is above the 1 kg it may hold",
            "box 'long': its mass of 40.8 kg is above 30 kg",
            "box 'long': its longest side of 910 mm is above 880 mm",
            "box 'long': its billable weight of 41 kg is above 31.5 kg, where the last class ends",
            "pallet 'euro': its mass of 65 kg is above 30 kg",
            "pallet 'euro': its longest side of 1200 mm is above 880 mm",
            "pallet 'euro': its billable weight of 65 kg is above 31.5 kg, where the last class ends",
            "as it is: its mass of 40 kg is above 30 kg",
            "as it is: its longest side of 890 mm is above 880 mm",
            "as it is: its billable weight of 40 kg is above 31.5 kg, where the last class ends",
        )

    def test_too_long_for_every_class_is_refused_with_the_reason_for_each(self) -> None:
        narrow = {"max_longest_side_mm": "200"}
        rate = a_shipping_rate(
            zones={"home": [weight_class("0", "1", "3"), weight_class("1", "5", "4", limits=narrow)]},
            divisor_cm3_per_kg=None,
        )

        with pytest.raises(DoesNotFitError) as error:
            shipped(1, a_shipping_service(**BARE), rate)

        assert error.value.reasons == (
            "as it is: in the class above 1 up to 5 kg, its longest side of 240 mm is above 200 mm",
        )


class TestOfWhatIsSoldByAnotherUnit:
    """Beams by the metre: 4 kg, in boxes of their own of 0.8 kg."""

    LIGHT: ClassVar[dict[str, Any]] = {"divisor_cm3_per_kg": None, "weight_step_kg": None}

    def beams(self, metres: str, *bands: tuple[str, str, str], service: Any = None, **beam: Any) -> ShippingEstimate:
        rate = a_shipping_rate(**self.LIGHT, **classes(*(bands or [("0", "5", "5"), ("5", "31.5", "9")])))
        beam = {"unit": "m", "mass_kg": "4", **beam}
        return shipping_estimate([("beam", a_brick(**beam), D(metres))], service or a_shipping_service(), rate, "home")

    def test_weighs_what_it_weighs_and_is_charged_for_that(self) -> None:
        masses = [self.beams(metres).mass_kg for metres in ("1", "1.05", "2.5", "0.001")]
        assert masses == [D("4.8"), 5, D("10.8"), D("0.804")]
        assert [self.beams(metres).price.amount for metres in ("1", "1.05", "1.051")] == [5, 5, 9]

    def test_has_the_room_of_a_whole_unit(self) -> None:
        found = self.beams("3.5", service=a_shipping_service(**BARE))

        assert [(each.count, each.pieces, each.quantity) for each in found.parcels] == [(3, 1, 1), (1, 1, D("0.5"))]
        assert found.mass_kg == 14

    def test_goes_where_no_whole_unit_would(self) -> None:
        only_light = ("0", "3", "2")

        assert self.beams("0.5", only_light).price.amount == 2
        with pytest.raises(DoesNotFitError, match=r"its mass of 4.8 kg is|its billable weight of 4.8 kg is above 3 kg"):
            self.beams("1.5", only_light)
        with pytest.raises(DoesNotFitError, match=r"its billable weight of 3.2 kg is above 3 kg"):
            self.beams("0.6", only_light)

    def test_that_is_too_heavy_for_a_box_is_told_in_its_unit(self) -> None:
        weak = a_shipping_service(boxes=[a_box(max_load_kg="1")])

        def refusal(metres: str, **beam: Any) -> str:
            with pytest.raises(DoesNotFitError) as error:
                self.beams(metres, service=weak, **beam)
            return error.value.reasons[0]

        assert refusal("2") == "box 'carton': 1 m of 4 kg is above the 1 kg it may hold"
        assert refusal("0.5") == "box 'carton': 0.5 m of 2 kg is above the 1 kg it may hold"
        assert refusal("7", unit="m3") == "box 'carton': 1 m³ of 4 kg is above the 1 kg it may hold"
        weak = a_shipping_service(boxes=[a_box(max_load_kg="0.5")])
        assert refusal("7", unit="kg", mass_kg=None) == "box 'carton': 1 kg is above the 0.5 kg it may hold"

    def test_by_the_kilogram_weighs_a_kilogram_and_lacks_only_its_sides(self) -> None:
        assert self.beams("12.5", unit="kg", mass_kg=None).mass_kg == D("13.3")
        with pytest.raises(MissingMeasuresError) as error:
            self.beams("12.5", unit="kg", mass_kg=None, length_mm=None)
        assert error.value.members == ("length_mm",)

    def test_by_the_hour_is_not_shipped(self) -> None:
        with pytest.raises(DoesNotFitError) as error:
            self.beams("2.5", unit="hour", mass_kg=None, length_mm=None, width_mm=None, height_mm=None)

        assert str(error.value) == (
            "the service does not take the product 'beam': hours are not shipped; leave shipping out"
        )

    def test_is_counted_in_it_where_its_packing_is_told(self) -> None:
        told = {metres: self.told(metres) for metres in ("36", "2.5", "1", "0.5")}

        assert told["36"].endswith("3 layers high, lying on the 240 × 60 mm side, 240 mm lengthways.")
        assert told["2.5"].endswith("There is room for 36 m; 2.5 m are in it.")
        tight = a_shipping_service(boxes=[a_box(inner="250 130 70")])
        assert self.told("1", service=tight, unit="m3").startswith("1 m³, lying")
        assert self.told("0.5", service=tight) == (
            "1 m, lying on the 240 × 120 mm side, 240 mm lengthways. There is room for 1 m; 0.5 m are in it."
        )
        assert self.told("0.5", service=a_shipping_service(**BARE)) == "It goes as it is."
        assert self.told("1", service=a_shipping_service(boxes=[a_box(inner="250 130 70")]), unit="m3").startswith(
            "1 m³, "
        )

    def told(self, metres: str, **changes: Any) -> str:
        found = self.beams(metres, ("0", "200", "5"), **changes)
        shipment = Shipment(service="post", name="Post", zone="home", as_of=TODAY, valid_from=TODAY)
        statement = shipping_statement(found, shipment, currency="EUR", convert=lambda price: price.amount)
        return only(statement.parcels).packing


class TestAnEstimate:
    def test_of_a_piece_without_a_box_is_the_piece_as_it_is(self) -> None:
        found = shipped(3, a_shipping_service(**BARE))

        parcels = only(found.parcels)
        assert (parcels.count, parcels.pieces, parcels.container) == (3, 1, None)
        assert (parcels.measures.length_mm, parcels.measures.mass_kg) == (240, D("1.6"))
        assert (parcels.billable_kg, parcels.weight_class.price.amount) == (2, 5)
        assert found.price.amount == 15
        assert found.mass_kg == D("4.8")

    def test_counts_the_packaging_and_the_fuel(self) -> None:
        found = shipped(2, a_shipping_service(), a_shipping_rate(divisor_cm3_per_kg=None, fuel_surcharge_share="0.075"))

        parcels = only(found.parcels)
        assert parcels.measures.mass_kg == D("0.8") + 2 * D("1.6")
        assert (parcels.volumetric_kg, parcels.billable_kg) == (None, 4)
        assert found.price.amount == D("8.6")

    def test_does_not_group_a_parcel_that_is_not_full_with_full_ones(self) -> None:
        light = {"divisor_cm3_per_kg": None, "weight_step_kg": None}
        rate = a_shipping_rate(**light, **classes(("0", "5", "5"), ("5", "9", "8")))

        found = shipped(6, a_shipping_service(), rate)  # with the carton two bricks weigh 4 kg, five 8.8 kg

        assert [(each.count, each.pieces) for each in found.parcels] == [(1, 5), (1, 1)]
        assert found.price.amount == 13

    def test_splits_a_batch_where_that_is_cheaper(self) -> None:
        light = {"divisor_cm3_per_kg": None, "weight_step_kg": None}
        rate = a_shipping_rate(**light, **classes(("0", "5", "5"), ("5", "30", "40")))

        found = shipped(5, a_shipping_service(), rate)  # two bricks and the carton weigh 4 kg, three 5.6 kg

        assert [(each.count, each.pieces) for each in found.parcels] == [(2, 2), (1, 1)]
        assert found.price.amount == 15

    def test_takes_the_smaller_of_boxes_that_cost_the_same(self) -> None:
        boxes = [a_box("big"), a_box("small", inner="300 200 100", outer="310 210 110")]
        rate = a_shipping_rate(divisor_cm3_per_kg=None)

        assert only(shipped(1, a_shipping_service(boxes=boxes), rate).parcels).container == "small"

    def test_puts_the_rest_into_the_smaller_box(self) -> None:
        boxes = [a_box("big", max_load_kg="9"), a_box("small", inner="300 200 100", outer="310 210 110")]
        rate = a_shipping_rate(divisor_cm3_per_kg=None)

        found = shipped(6, a_shipping_service(boxes=boxes), rate)

        assert [(each.count, each.pieces, each.container) for each in found.parcels] == [(1, 5, "big"), (1, 1, "small")]

    def test_shows_a_pallet_as_high_as_its_load(self) -> None:
        service = a_shipping_service(boxes=[], pallets=[a_pallet(max_load_kg="500")])
        rate = a_shipping_rate(**classes(("0", "1000", "90")))

        found = shipped(400, service, rate)

        assert [(each.count, each.pieces, each.is_pallet) for each in found.parcels] == [(1, 312, True), (1, 88, True)]
        full, rest = found.parcels
        assert full.measures.mass_kg == 25 + 312 * D("1.6")
        assert full.measures.height_mm == 144 + full.packing.height_mm
        assert rest.measures.height_mm < full.measures.height_mm
        assert full.packing.pieces >= 312
        assert rest.volumetric_kg == rest.measures.volume_cm3 / 5000

    def test_packs_each_product_by_itself(self) -> None:
        pieces = [("brick", a_brick(), 2), ("tile", a_brick(height_mm="20", mass_kg="0.5"), 3)]

        found = shipping_estimate(pieces, a_shipping_service(), a_shipping_rate(divisor_cm3_per_kg=None), "home")

        assert [(each.product, each.count * each.pieces) for each in found.parcels] == [("brick", 2), ("tile", 3)]

    def test_warns_of_a_parcel_too_heavy_for_one_person_and_of_a_loaded_pallet(self) -> None:
        wide = a_shipping_rate(**classes(("0", "1000", "90")))
        by_hand = shipped(16, a_shipping_service(), wide)
        by_pallet = shipped(16, a_shipping_service(boxes=[], pallets=[a_pallet()]), wide)

        (caution,) = by_hand.cautions
        assert caution.code == "parcel-too-heavy-for-one-person"
        assert caution.text.startswith("The heaviest parcel weighs 26.4 kg, too heavy for one person.")
        assert "INDG143" in caution.source
        assert [each.code for each in by_pallet.cautions] == ["loaded-pallet"]
        assert by_pallet.cautions[0].text.startswith("A loaded pallet weighs up to 50.6 kg: ")
        assert shipped(1).cautions == ()

    def test_of_free_shipping_costs_nothing_in_the_fewest_parcels(self) -> None:
        found = shipped(90, a_shipping_service(), a_shipping_rate(**classes(("0", "100", "0"))))

        assert found.price.amount == 0
        assert sum(each.count for each in found.parcels) == 3
        assert all(each.pieces <= 44 for each in found.parcels)
