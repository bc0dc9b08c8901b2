"""Laws of shipping estimates for services, rates and pieces of any kind."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import Decimal
from functools import cache
from math import ceil
from typing import Any

from hypothesis import HealthCheck, assume, given
from hypothesis import strategies as st

from service.domain.making.products import Product
from service.domain.shipping.errors import DoesNotFitError
from service.domain.shipping.estimate import ShippingEstimate, shipping_estimate
from service.domain.shipping.packing import packing
from service.domain.shipping.services import ShippingService
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.values.exact import ONE
from service.domain.values.units import Unit
from tests.domain.examples import a_brick, a_shipping_rate, a_shipping_service
from tests.support.builders import a_box, a_pallet, weight_class
from tests.support.profiles import examples

D = Decimal
sides = st.integers(60, 500)
Offer = tuple[int, Decimal]
"""The pieces in a parcel, and its price."""


@st.composite
def services(draw: st.DrawFn, pallets: int = 1) -> ShippingService:
    boxes = []
    for place in range(draw(st.integers(0, 3))):
        inner = [draw(st.integers(100, 700)) for _ in range(3)]
        load = draw(st.none() | st.integers(1, 30).map(str))
        outer = " ".join(str(side + draw(st.integers(0, 12))) for side in inner)
        boxes.append(a_box(f"box-{place}", " ".join(map(str, inner)), outer, max_load_kg=load))
    stacked = [a_pallet(max_height_mm=str(draw(st.integers(300, 1800)))) for _ in range(draw(st.integers(0, pallets)))]
    return a_shipping_service(boxes=boxes, pallets=stacked, takes_bare_pieces=draw(st.booleans()))


limits = st.none() | st.fixed_dictionaries(
    {
        "max_mass_kg": st.none() | st.integers(5, 60).map(str),
        "max_longest_side_mm": st.none() | st.integers(300, 1300).map(str),
        "max_length_plus_girth_mm": st.none() | st.integers(900, 6000).map(str),
    }
)


@st.composite
def rates(draw: st.DrawFn) -> ShippingRate:
    ends = sorted(draw(st.sets(st.integers(1, 120), min_size=1, max_size=6)))
    prices = sorted(draw(st.lists(st.integers(0, 4000), min_size=len(ends), max_size=len(ends))))
    bands = zip([0, *ends], ends, prices, strict=False)
    home = [weight_class(str(a), str(b), str(D(price) / 100), limits=draw(limits)) for a, b, price in bands]
    return a_shipping_rate(
        zones={"home": home},
        divisor_cm3_per_kg=draw(st.sampled_from([None, "4000", "5000", "6000"])),
        weight_step_kg=draw(st.sampled_from([None, "0.5", "1"])),
        fuel_surcharge_share=draw(st.sampled_from(["0", "0.075"])),
        limits=draw(limits),
    )


@st.composite
def bricks(draw: st.DrawFn) -> Product:
    length, width, height = (str(draw(sides)) for _ in range(3))
    return a_brick(length_mm=length, width_mm=width, height_mm=height, mass_kg=str(D(draw(st.integers(1, 400))) / 20))


def estimate(quantity: int | Decimal, brick: Product, service: ShippingService, rate: ShippingRate) -> ShippingEstimate:
    try:
        return shipping_estimate([("brick", brick, D(quantity))], service, rate, "home")
    except DoesNotFitError:
        assume(False)
        raise


lawful = examples(60, HealthCheck.filter_too_much)


@lawful
@given(st.integers(1, 300), bricks(), services(), rates())
def test_every_piece_is_in_exactly_one_parcel_and_every_parcel_is_within_all_limits(
    quantity: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    found = estimate(quantity, brick, service, rate)

    assert sum(each.count * each.pieces for each in found.parcels) == quantity
    containers: dict[str | None, Any] = {each.code: each for each in (*service.boxes, *service.pallets)}
    for each in found.parcels:
        container, measures = containers.get(each.container), each.measures
        assert each.count > 0
        assert each.packing.pieces >= each.pieces > 0
        assert each.weight_class.above_kg < each.weight_class.up_to_kg
        assert max(measures.mass_kg, each.volumetric_kg or 0) <= each.billable_kg <= each.weight_class.up_to_kg
        own = rate.limits, each.weight_class.limits
        assert not [excess for some in own if some is not None for excess in some.excesses(measures)]
        if container is None:
            assert service.takes_bare_pieces or not containers
            assert each.pieces == 1
        else:
            load_kg = each.pieces * brick.mass_kg
            assert measures.mass_kg == container.mass_kg + load_kg
            assert container.max_load_kg is None or load_kg <= container.max_load_kg
            assert measures.height_mm <= getattr(container, "max_height_mm", container.height_mm)


@lawful
@given(st.integers(1, 200), st.integers(1, 30), bricks(), services(), rates())
def test_more_pieces_are_never_cheaper(
    quantity: int, more: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    few, many = (estimate(count, brick, service, rate) for count in (quantity, quantity + more))

    assert few.price.amount <= many.price.amount


@lawful
@given(st.integers(1, 60), st.integers(1, 60), bricks(), services(), rates())
def test_shipping_together_never_costs_more_than_apart(
    one: int, other: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    together, first, second = (estimate(count, brick, service, rate) for count in (one + other, one, other))

    assert together.price.amount <= first.price.amount + second.price.amount
    assert together.price.amount <= (one + other) * estimate(1, brick, service, rate).price.amount


def prices(
    quantity: int, brick: Product, service: ShippingService, rate: ShippingRate, part: Decimal = ONE
) -> Iterator[Offer]:
    """Pieces and price of every possible parcel, by the rules of the rate and without the estimate's code.

    Args:
        part: the last piece of a parcel as a share of a whole one.
    """
    assert None not in (brick.length_mm, brick.width_mm, brick.height_mm, brick.mass_kg)
    piece = brick.length_mm, brick.width_mm, brick.height_mm
    ways = [
        (
            packing(piece, (b.inner_length_mm, b.inner_width_mm, b.inner_height_mm), quantity).pieces,
            b,
            b.mass_kg,
            b.max_load_kg,
        )
        for b in service.boxes
    ]
    if service.takes_bare_pieces or not ways:
        ways.append((1, brick, D(0), None))  # type: ignore[arg-type]
    for room, container, packaging_kg, max_load_kg in ways:
        for pieces in range(1, min(room, quantity) + 1):
            load_kg = (pieces - 1 + part) * brick.mass_kg
            if max_load_kg is not None and load_kg > max_load_kg:
                break
            outer = sorted((container.length_mm, container.width_mm, container.height_mm))
            price = price_of(outer, packaging_kg + load_kg, rate)
            if price is not None:
                yield pieces, price


def price_of(outer: list[Any], mass_kg: Decimal, rate: ShippingRate) -> Decimal | None:
    short, middle, long = outer
    weight_kg = mass_kg
    if rate.divisor_cm3_per_kg:
        weight_kg = max(weight_kg, short * middle * long / 1000 / rate.divisor_cm3_per_kg)
    if rate.weight_step_kg:
        weight_kg = ceil(round(weight_kg / rate.weight_step_kg, 20)) * rate.weight_step_kg
    found = []
    for each in rate.zones["home"]:
        is_taken = weight_kg <= each.up_to_kg
        for some in (rate.limits, each.limits):
            if some is not None:
                is_taken = is_taken and (some.max_mass_kg is None or mass_kg <= some.max_mass_kg)
                is_taken = is_taken and (some.max_longest_side_mm is None or long <= some.max_longest_side_mm)
                girth = 2 * (short + middle)
                is_taken = is_taken and (
                    some.max_length_plus_girth_mm is None or long + girth <= some.max_length_plus_girth_mm
                )
        if is_taken:
            found.append(each.price.amount)
    return found[0] if found else None


@lawful
@given(st.integers(1, 40), bricks(), services(pallets=0), rates())
def test_no_other_split_is_cheaper_or_as_cheap_in_fewer_parcels(
    quantity: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    found = estimate(quantity, brick, service, rate)

    price, parcels = cheapest_split(quantity, prices(quantity, brick, service, rate))
    assert found.price.amount == price * (1 + rate.fuel_surcharge_share)
    assert sum(each.count for each in found.parcels) == parcels


parts = st.integers(1, 999).map(lambda thousandths: D(thousandths) / 1000)


@lawful
@given(st.integers(1, 60), bricks(), services(), rates())
def test_whole_units_are_packed_as_pieces_are(
    quantity: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    pieces = estimate(quantity, brick, service, rate)
    metres = estimate(quantity, replace(brick, unit=Unit.METRE), service, rate)

    as_pieces = [replace(each, unit=Unit.PIECE, quantity=None) for each in metres.parcels]
    assert as_pieces == list(pieces.parcels)
    assert [each.quantity for each in metres.parcels] == [each.pieces for each in pieces.parcels]


@lawful
@given(st.integers(1, 30), parts, bricks(), services(pallets=0), rates())
def test_a_part_of_a_unit_has_the_room_of_one_and_its_own_mass_and_no_other_split_is_cheaper(
    pieces: int, part: Decimal, brick: Product, service: ShippingService, rate: ShippingRate
) -> None:
    metres, quantity = replace(brick, unit=Unit.METRE), pieces - 1 + part
    found = estimate(quantity, metres, service, rate)

    ending, *_ = [each for each in found.parcels if each.quantity != each.pieces]
    packaging_kg = {each.code: each.mass_kg for each in service.boxes}
    assert sum(each.count * (each.quantity or 0) for each in found.parcels) == quantity
    assert sum(each.count * each.pieces for each in found.parcels) == pieces
    assert ending.count == 1
    assert brick.mass_kg is not None
    assert found.mass_kg == quantity * brick.mass_kg + sum(
        each.count * packaging_kg.get(each.container, 0) for each in found.parcels
    )
    offers, ends = (prices(pieces, brick, service, rate, each) for each in (ONE, part))
    price, parcels = cheapest_split(pieces, offers, ends)
    assert found.price.amount == price * (1 + rate.fuel_surcharge_share)
    assert sum(each.count for each in found.parcels) == parcels


def cheapest_split(pieces: int, offers: Iterable[Offer], ends: Iterable[Offer] = ()) -> tuple[Decimal, int]:
    """The least price and, of equals, the fewest parcels; one of them has one of the ends, if there are any."""
    offered, ended = set(offers), set(ends)

    @cache
    def least(left: int) -> tuple[Decimal, int]:
        if left == 0:
            return D(0), 0
        tried = ((price, least(left - count)) for count, price in offered if count <= left)
        return min(((price + rest, 1 + parcels) for price, (rest, parcels) in tried), default=(D("Infinity"), 0))

    if not ended:
        return least(pieces)
    tried = ((price, least(pieces - count)) for count, price in ended)
    return min((price + rest, 1 + parcels) for price, (rest, parcels) in tried)
