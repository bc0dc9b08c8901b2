"""The price list: every listing with its price, or why it has none."""

from collections.abc import Iterator
from contextlib import closing
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from service.documents.writing.formats import formatted_price, formatted_unit_price
from service.domain.costing.cost_sheet import unit_costs
from service.domain.listing.listings import Listing
from service.domain.listing.price_change import ChangeWriter
from service.domain.listing.price_list import PriceListEntry
from service.domain.making.products import Product
from service.domain.pricing.price_statement import asked_price
from service.domain.safety.cautions import Caution, Concern
from service.domain.values.errors import PugmillError
from service.domain.values.exact import exactly
from service.domain.values.references import Thing
from service.domain.values.shown import shown
from service.domain.values.unit_costs import UnitCosts
from service.encoding import trusted
from service.memory import MEGABYTE, Remembered
from service.store.listing.prices_in_force import ListingRow, Narrowing, listings_with_prices
from service.time_limit import next_step
from service.workflows.costing.cost_sheets import costed
from service.workflows.costing.costing import prepare
from service.workflows.costing.rates_in_force import rated_state
from service.workflows.currency.exchange import Exchange
from service.workflows.listing.costed_bills import CostedBills, UnpricedError
from service.workflows.listing.listings import price_per_unit, price_question
from service.workflows.pricing.pricing import check_grid
from service.workflows.pricing.sale_way import PriceQuestion, SaleWay
from service.workflows.workspace import Workspace

_ROOM = 8 * MEGABYTE
_BYTES_OF_A_CAUTION = 2_000
"""That a caution takes in memory; estimated high."""
_NO_PRICE_IN_FORCE = "no price in its currency and base quantity is in force on that day; apply a repricing first"


class ListedPrice(StrEnum):
    """Which price of a listing is listed."""

    ASKED = "asked"
    IN_FORCE = "in_force"


def price_list(
    workspace: Workspace,
    as_of: date,
    channel: str | None = None,
    listed: ListedPrice = ListedPrice.ASKED,
    locale: str | None = None,
) -> Iterator[PriceListEntry]:
    """Every listing with its price, or why it has none, by code, from one state of the workshop.

    Args:
        as_of: the day of the rates, and on which prices are in force.
        channel: only listings of this sales channel; raises InvalidValuesError if it is not registered.
        listed: the price by its policy on the day, or the price in force.
        locale: only listings for this locale, or one of its countries: "de" has those for de_AT.
    """
    with workspace.snapshot() as frozen:
        if channel is not None:
            prepare(frozen, [(("channel",), Thing("channels", channel))], as_of)
        entries = _Entries(frozen, as_of)
        narrowing = Narrowing(channel=channel)
        with (
            frozen.reading() as connection,
            closing(listings_with_prices(connection, frozen.workshop_id, narrowing, as_of)) as parts,
        ):
            for rows in parts:
                found = [each for row in rows if (each := _Listed.of(row)).is_for(locale)]
                entries.products.read({each.listing.product for each in found})
                for each in found:
                    next_step()
                    yield entries.of(each, listed)


class _Listed(NamedTuple):
    """A listing, with the row that it is from."""

    row: ListingRow
    listing: Listing

    @classmethod
    def of(cls, row: ListingRow) -> "_Listed":
        return cls(row, trusted(row.facts, Listing))

    def is_for(self, locale: str | None) -> bool:
        return locale is None or f"{self.listing.locale}_".startswith(f"{locale}_")

    def question(self, as_of: date, listed: ListedPrice) -> PriceQuestion | None:
        """The question about its price; None if it has no price."""
        row, listing = self.row, self.listing
        if listed is ListedPrice.ASKED:
            return price_question(listing, as_of)
        if (row.currency, row.base_quantity) != (listing.currency, listing.base_quantity):
            return None  # none is in force, or one that the listing no longer asks
        return price_question(listing, as_of, Decimal(row.price))


class _Entries:
    """Makes the entries of listings from one state of a workshop; what several share is computed once."""

    def __init__(self, workspace: Workspace, as_of: date) -> None:
        self._workspace, self._as_of, self._home = workspace, as_of, workspace.workshop.currency
        exchange = Exchange(workspace, as_of)
        state = rated_state(workspace, exchange, as_of, None)
        self.products, self._costing = state.products, state.costing(exchange)
        self._bills = CostedBills(state.catalogue, state.rating, ChangeWriter(self._home))
        self._cautions = Remembered[tuple[Caution, ...]](_ROOM, lambda found: (len(found) + 1) * _BYTES_OF_A_CAUTION)

    def of(self, each: _Listed, listed: ListedPrice) -> PriceListEntry:
        """The entry of a listing."""
        code, listing, question = each.row.code, each.listing, each.question(self._as_of, listed)
        product = self.products[listing.product]
        if question is None:
            return self._unpriced(code, listing, _NO_PRICE_IN_FORCE)
        try:
            return self._priced(each, product, question)
        except PugmillError as error:
            stands = ""
            if question.kept_at is not None:
                stands = (
                    f"{question.kept_at:f} {listing.currency} is in force, but what is listed beside it is not known: "
                )
            return self._unpriced(code, listing, f"{stands}{error}")

    @exactly
    def _priced(self, each: _Listed, product: Product, question: PriceQuestion) -> PriceListEntry:
        listing = each.listing
        check_grid(question, listing.currency)
        costs = self._costs(each.row, question)
        way = SaleWay(self._costing, question, self._home)
        found = way.bare_price(costs)
        way.check_settled()  # it is not shown; but without the exchange rates for it, nothing is known of the sale
        asked = asked_price(found, listing.currency)
        per_unit = price_per_unit(asked.gross_price, listing, product)
        cautions = (*self._cautions_of(question), *(way.estimate.cautions if way.estimate else ()))
        return shown(
            PriceListEntry,
            "",
            asked,
            listing,
            product,
            listing=each.row.code,
            name=listing.name or product.name,
            mass_kg=product.unit_mass_kg,
            pieces_per_order=question.pieces_per_order,
            as_of=self._as_of,
            formatted_price=formatted_price(asked.price, listing.locale),
            unit_price=per_unit,
            formatted_unit_price=None if per_unit is None else formatted_unit_price(per_unit, listing.locale),
            shipping_weight_kg=None if way.estimate is None else way.estimate.mass_kg,
            channel_name=self._channel_name(listing),
            cautions=tuple(caution for caution in cautions if caution.concerns is Concern.PRODUCT),
        )

    def _costs(self, row: ListingRow, question: PriceQuestion) -> UnitCosts:
        """The cost of a piece, as a repricing finds it; what prevents it is told as a price sheet tells it."""
        also = question.route.resources()
        try:
            found = self._bills.of(row).piece
        except (UnpricedError, PugmillError):
            found = unit_costs(costed(self._workspace, self._costing, [question.batch], also=also)[0][1])
        costed(self._workspace, self._costing, [], also=also)
        return found

    def _cautions_of(self, question: PriceQuestion) -> tuple[Caution, ...]:
        """Those of the product: the same for each quantity."""
        costing, product = self._costing, question.product
        return self._cautions.of(product, lambda: costing.cautions(costing.bill(product, question.quantity)))

    def _unpriced(self, code: str, listing: Listing, problem: str) -> PriceListEntry:
        product = self.products[listing.product]
        return shown(
            PriceListEntry,
            "",
            listing,
            product,
            listing=code,
            name=listing.name or product.name,
            mass_kg=product.unit_mass_kg,
            pieces_per_order=listing.pieces_per_order or Decimal(listing.base_quantity),
            channel_name=self._channel_name(listing),
            as_of=self._as_of,
            problem=problem,
        )

    def _channel_name(self, listing: Listing) -> str:
        name: str = self._costing.surroundings.facts["channels"][listing.channel].name
        return name
