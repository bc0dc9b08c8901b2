"""The cheapest parcels that hold a number of pieces."""

from collections.abc import Sequence
from fractions import Fraction

Offer = tuple[int, int]
"""How many pieces a parcel holds at most, and its price as a whole number."""


def cheapest_cover(pieces: int, offers: Sequence[Offer]) -> dict[Offer, int]:
    """How many parcels of which offers hold all the pieces at the least total price; among equals the fewest parcels.

    For each number of pieces in turn, the cheapest cover is one parcel and the cheapest cover of what it leaves. Far
    from the end nearly every parcel is of the offer that costs least a piece, so only the end is computed: with k
    pieces in that offer, any k other parcels have some among them whose pieces it can take over in whole parcels.

    Args:
        pieces: how many there are.
        offers: each any number of times; prices are 0 or more.
    """
    useful = _undominated(pieces, offers)
    ahead, rest = _ahead(pieces, useful)
    found = dict(ahead)
    for offer in _cover(rest, useful, pieces + 1):
        found[offer] = found.get(offer, 0) + 1
    return found


def _undominated(pieces: int, offers: Sequence[Offer]) -> list[Offer]:
    """Those offers that none beats in room and price at once, from small to large."""
    found: list[Offer] = []
    for room, price in sorted(
        {(min(room, pieces), price) for room, price in offers}, key=lambda offer: (offer[1], -offer[0])
    ):
        if not found or room > found[-1][0]:
            found.append((room, price))
    return found


def _ahead(pieces: int, offers: list[Offer]) -> tuple[dict[Offer, int], int]:
    """The parcels that some cheapest cover holds for certain, and how many pieces are then left."""
    best = min(offers, key=lambda offer: (Fraction(offer[1], offer[0]), -offer[0]))
    count = max(0, pieces - (best[0] - 1) * offers[-1][0]) // best[0]
    return ({best: count} if count else {}), pieces - count * best[0]


def _cover(pieces: int, offers: list[Offer], parcels: int) -> list[Offer]:
    """The cheapest cover, parcel by parcel; a parcel adds one to a price so enlarged that this only decides ties."""
    costs = [(room, price * parcels + 1) for room, price in offers]
    least, chosen = [0] * (pieces + 1), [0] * (pieces + 1)
    smaller: list[tuple[int, int, int]] = []
    larger = 0
    for number in range(1, pieces + 1):
        cost, choice = min([(each + least[number - room], place) for room, each, place in smaller], default=(0, -1))
        if larger < len(costs) and (choice < 0 or costs[larger][1] < cost):
            cost, choice = costs[larger][1], larger
        if larger < len(costs) and costs[larger][0] == number:
            if choice == larger:  # otherwise smaller parcels hold as much for no more
                smaller.append((*costs[larger], larger))
            larger += 1
        least[number], chosen[number] = cost, choice
    found = []
    while pieces > 0:
        found.append(offers[chosen[pieces]])
        pieces -= found[-1][0]
    return found
