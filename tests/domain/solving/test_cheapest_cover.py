"""The cheapest cover, compared with every cover there is."""

from collections.abc import Mapping
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.solving.cheapest_cover import Offer, cheapest_cover

offers = st.lists(st.tuples(st.integers(1, 9), st.integers(0, 12)), min_size=1, max_size=5)


def price_and_parcels(cover: Mapping[Offer, int]) -> tuple[int, int]:
    return sum(price * count for (_, price), count in cover.items()), sum(cover.values())


def least_of_all(pieces: int, offered: list[Offer]) -> tuple[int, int]:
    """Price and number of parcels of the best cover, found by trying every first parcel."""

    @cache
    def least(left: int) -> tuple[int, int]:
        if left <= 0:
            return 0, 0
        rests = ((price, least(left - room)) for room, price in offered)
        return min((price + rest, 1 + parcels) for price, (rest, parcels) in rests)

    return least(pieces)


@given(st.integers(1, 200), offers)
def test_no_cover_is_cheaper_or_as_cheap_with_fewer_parcels(pieces: int, offered: list[Offer]) -> None:
    found = cheapest_cover(pieces, offered)

    assert price_and_parcels(found) == least_of_all(pieces, offered)


@given(st.integers(1, 200), offers)
def test_every_piece_is_in_a_parcel_and_no_parcel_could_be_left_out(pieces: int, offered: list[Offer]) -> None:
    found = cheapest_cover(pieces, offered)

    over = sum(room * count for (room, _), count in found.items()) - pieces
    assert 0 <= over < min(room for room, _ in found)
    assert all(count > 0 for count in found.values())


@given(st.integers(1, 60), offers)
def test_only_what_is_offered_is_used_with_no_more_room_than_is_needed(pieces: int, offered: list[Offer]) -> None:
    found = cheapest_cover(pieces, offered)

    assert set(found) <= {(min(room, pieces), price) for room, price in offered}


@pytest.mark.parametrize(
    ("pieces", "offered", "cover"),
    [
        (10, [(4, 5), (6, 7)], {(4, 5): 1, (6, 7): 1}),
        (8, [(4, 5), (6, 7)], {(4, 5): 2}),
        (100_000, [(1, 3), (40, 100)], {(40, 100): 2500}),
        (5, [(8, 3), (1, 1)], {(5, 3): 1}),
        (3, [(1, 0), (2, 0)], {(2, 0): 2}),
        (12, [(1, 1), (3, 3), (4, 4)], {(4, 4): 3}),
    ],
)
def test_examples(pieces: int, offered: list[Offer], cover: dict[Offer, int]) -> None:
    assert cheapest_cover(pieces, offered) == cover
