"""The cheapest parcels that hold a number of pieces."""

from collections.abc import Iterable, Sequence
from fractions import Fraction

Offer = tuple[int, int]
"""The most pieces that a parcel holds, and its price as a whole number."""


def cheapest_cover(pieces: int, offers: Sequence[Offer]) -> dict[Offer, int]:
    """Returns how many parcels of each offer hold all pieces at the least total price; of equals the fewest parcels.

    Dynamic programming: the cheapest cover of n pieces is one parcel and the cheapest cover of the rest. For large n
    nearly every parcel is of the offer with the least price a piece, so only the rest is computed: if that offer holds
    k pieces, any k other parcels include some that can be replaced by whole parcels of it. Prices must not be negative.
    """
    useful = undominated(pieces, offers)
    ahead, rest = _ahead(pieces, useful)
    found = dict(ahead)
    for offer in _cover(rest, useful, pieces + 1):
        found[offer] = found.get(offer, 0) + 1
    return found


def undominated(pieces: int, offers: Iterable[Offer]) -> list[Offer]:
    """The offers that no other beats in both room and price, from small to large."""
    found: list[Offer] = []
    for room, price in sorted(
        {(min(room, pieces), price) for room, price in offers}, key=lambda offer: (offer[1], -offer[0])
    ):
        if not found or room > found[-1][0]:
            found.append((room, price))
    return found


def _ahead(pieces: int, offers: list[Offer]) -> tuple[dict[Offer, int], int]:
    """Parcels that some cheapest cover is certain to hold, and the pieces then left."""
    best = min(offers, key=lambda offer: (Fraction(offer[1], offer[0]), -offer[0]))
    count = max(0, pieces - (best[0] - 1) * offers[-1][0]) // best[0]
    return ({best: count} if count else {}), pieces - count * best[0]


def _cover(pieces: int, offers: list[Offer], parcels: int) -> list[Offer]:
    """The cheapest cover; prices are scaled so that one more for each parcel only decides ties."""
    costs = [(room, price * parcels + 1) for room, price in offers]
    least, chosen = [0] * (pieces + 1), [0] * (pieces + 1)
    smaller: list[tuple[int, int, int]] = []
    larger = 0
    for number in range(1, pieces + 1):
        cost, choice = min([(each + least[number - room], place) for room, each, place in smaller], default=(0, -1))
        if larger < len(costs) and (choice < 0 or costs[larger][1] < cost):
            cost, choice = costs[larger][1], larger
        if larger < len(costs) and costs[larger][0] == number:
            if choice == larger:  # otherwise smaller parcels hold as much at the same price or less
                smaller.append((*costs[larger], larger))
            larger += 1
        least[number], chosen[number] = cost, choice
    found = []
    while pieces > 0:
        found.append(offers[chosen[pieces]])
        pieces -= found[-1][0]
    return found
