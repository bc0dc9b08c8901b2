"""Units on both sides: of what must not change while something rests on it, and of what a listing sells."""

from collections.abc import Iterator, Mapping, Sequence
from uuid import UUID

from service.domain.listing.listings import Listing, misfits
from service.domain.making.products import Product
from service.domain.register import COLLECTIONS, Fixed
from service.domain.values.errors import InvalidValueError
from service.domain.values.references import Registered, Thing
from service.store.engine.database import Connection
from service.store.listing.dated_prices import units_of_prices
from service.store.quoting.quotations import unfinished_of
from service.store.registering import rates, registrations

_NAMED = 5
"""Most things that a refusal names."""
_RATES = "its rates"


def fixed_problems(
    connection: Connection, workshop_id: UUID, thing: Thing, before: Registered, after: Registered
) -> list[InvalidValueError]:
    """The changes of fields that must not change, each with what rests on it."""
    found = []
    for fixed in COLLECTIONS[thing.collection].fixed:
        if getattr(before, fixed.member) != getattr(after, fixed.member):
            resting = list(_resting(connection, workshop_id, thing, fixed))
            if resting:
                rest = "rests" if len(resting) == 1 and resting != [_RATES] else "rest"
                reason = f"{_named(resting)} {rest} on this; register another one under a new code instead"
                found.append(InvalidValueError((fixed.member,), reason))
    return found


def _resting(connection: Connection, workshop_id: UUID, thing: Thing, fixed: Fixed) -> Iterator[str]:
    """What rests on the field."""
    if fixed.rates and rates.has_rates(connection, workshop_id, thing):
        yield _RATES
    if fixed.users:
        users = registrations.users_of(connection, workshop_id, thing)
        yield from (user for user in users if Thing.of(user).collection in fixed.users)
    if fixed.quotations:
        for number in unfinished_of(connection, workshop_id, thing.code):
            yield f"quotation {number}"


def _named(every: Sequence[str]) -> str:
    """What rests on it in words, the first of it by name."""
    first = every[:_NAMED]
    more = f"{len(every) - _NAMED} more" if len(every) > _NAMED else ""
    *most, last = [*first, more] if more else first or [""]
    return f"{', '.join(most)} and {last}" if most else last


def listing_problems(
    connection: Connection, workshop_id: UUID, things: Mapping[Thing, object]
) -> Iterator[tuple[Thing, InvalidValueError]]:
    """Where listings, of all these things, do not match their products, or their products the prices that they had."""
    listings = {thing: each for thing, each in things.items() if isinstance(each, Listing)}
    products = {Thing("products", each.product) for each in listings.values()}
    registered = registrations.find_registrations(connection, workshop_id, products)
    priced_by = units_of_prices(connection, workshop_id, [thing.code for thing in listings])
    for thing, listing in listings.items():
        found = registered.get(Thing("products", listing.product))
        if found is None or not isinstance(found.facts, Product):
            continue  # which is refused by itself
        unit, was = found.facts.unit, priced_by.get(thing.code, found.facts.unit)
        yield from ((thing, problem) for problem in misfits(listing, found.facts))
        if was is not unit:
            reason = f"is sold by the {unit.value}, but this has prices by the {was.value}; list it under a new code"
            yield thing, InvalidValueError(("product",), reason)
