"""Laws of shipping estimates for services, rates and pieces of any kind."""

from collections.abc import Iterator
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
from tests.domain.examples import a_brick, a_shipping_rate, a_shipping_service
from tests.support.builders import a_box, a_pallet, weight_class
from tests.support.profiles import examples

D = Decimal
sides = st.integers(60, 500)


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


def estimate(quantity: int, brick: Product, service: ShippingService, rate: ShippingRate) -> ShippingEstimate:
    try:
        return shipping_estimate([("brick", brick, quantity)], service, rate, "home")
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
    quantity: int, brick: Product, service: ShippingService, rate: ShippingRate
) -> Iterator[tuple[int, Decimal]]:
    """Pieces and price of every possible parcel, by the rules of the rate and without the estimate's code."""
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
            load_kg = pieces * brick.mass_kg
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

    offered = set(prices(quantity, brick, service, rate))

    @cache
    def least(left: int) -> tuple[Decimal, int]:
        if left == 0:
            return D(0), 0
        tried = ((price, least(left - pieces)) for pieces, price in offered if pieces <= left)
        return min((price + rest, 1 + parcels) for price, (rest, parcels) in tried)

    price, parcels = least(quantity)
    assert found.price.amount == price * (1 + rate.fuel_surcharge_share)
    assert sum(each.count for each in found.parcels) == parcels
