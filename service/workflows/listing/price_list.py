"""The price list: every listing with its price, or why it has none."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from service.documents.writing.formats import formatted_price, formatted_unit_price
from service.domain.costing.cost_sheet import unit_costs
from service.domain.listing.listings import Listing
from service.domain.listing.price_list import PriceListEntry
from service.domain.making.products import Product
from service.domain.pricing.price_statement import asked_price
from service.domain.safety.cautions import Caution, Concern
from service.domain.values.errors import PugmillError
from service.domain.values.exact import exactly
from service.domain.values.references import Thing
from service.domain.values.shown import shown
from service.domain.values.unit_costs import UnitCosts
from service.memory import MEGABYTE, Remembered
from service.store.listing.dated_prices import prices_in_force
from service.store.registering import registrations
from service.time_limit import next_step
from service.workflows.costing.cost_sheets import costed
from service.workflows.costing.costing import prepare
from service.workflows.costing.rates_in_force import rated_state
from service.workflows.currency.exchange import Exchange
from service.workflows.listing.listings import price_per_unit, price_question
from service.workflows.pricing.pricing import check_grid
from service.workflows.pricing.sale_way import PriceQuestion, SaleWay
from service.workflows.workspace import Workspace

_PAGE = 200
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
        for page in _questions(frozen, as_of, channel, listed):
            found = [each for each in page if locale is None or f"{each[1].locale}_".startswith(f"{locale}_")]
            entries.products.read({listing.product for _, listing, _ in found})
            for code, listing, question in found:
                next_step()
                yield entries.of(code, listing, question)


def _questions(
    workspace: Workspace, as_of: date, channel: str | None, listed: ListedPrice
) -> Iterator[list[tuple[str, Listing, PriceQuestion | None]]]:
    """Pages of listings, each with the question about its price; None if it has no price."""
    after = ""
    while True:
        with workspace.reading() as connection:
            page = registrations.page_of_registrations(
                connection, workspace.workshop_id, "listings", after=after, limit=_PAGE
            )
            codes = [each.code for each in page] if listed is ListedPrice.IN_FORCE else []
            in_force = prices_in_force(connection, workspace.workshop_id, codes, as_of) if codes else {}
        found: list[tuple[str, Listing, PriceQuestion | None]] = []
        for each in page:
            assert isinstance(each.facts, Listing)  # the collection holds nothing else
            if channel in (None, each.facts.channel):
                question = None
                if listed is ListedPrice.ASKED:
                    question = price_question(each.facts, as_of)
                elif (price := in_force.get(each.code)) is not None and price.is_of(each.facts):
                    question = price_question(each.facts, as_of, price.amount)
                found.append((each.code, each.facts, question))
        yield found
        if len(page) < _PAGE:
            return
        after = page[-1].code


class _Batch(NamedTuple):
    """What listings of a product and a batch share."""

    costs: UnitCosts
    cautions: tuple[Caution, ...]

    @property
    def size(self) -> int:
        """Bytes that it takes in memory."""
        return (len(self.cautions) + 1) * _BYTES_OF_A_CAUTION


class _Entries:
    """Makes the entries of listings from one state of a workshop; what several share is computed once."""

    def __init__(self, workspace: Workspace, as_of: date) -> None:
        self._workspace, self._as_of, self._home = workspace, as_of, workspace.workshop.currency
        exchange = Exchange(workspace, as_of)
        state = rated_state(workspace, exchange, as_of, None)
        self.products, self._costing = state.products, state.costing(exchange)
        self._batches = Remembered[_Batch](_ROOM, lambda found: found.size)

    def of(self, code: str, listing: Listing, question: PriceQuestion | None) -> PriceListEntry:
        """The entry of a listing; the question is None if it has no price."""
        product = self.products[listing.product]
        if question is None:
            return self._unpriced(code, listing, _NO_PRICE_IN_FORCE)
        try:
            return self._priced(code, listing, product, question)
        except PugmillError as error:
            stands = ""
            if question.kept_at is not None:
                stands = (
                    f"{question.kept_at:f} {listing.currency} is in force, but what is listed beside it is not known: "
                )
            return self._unpriced(code, listing, f"{stands}{error}")

    @exactly
    def _priced(self, code: str, listing: Listing, product: Product, question: PriceQuestion) -> PriceListEntry:
        check_grid(question, listing.currency)
        batch = self._batch(question)
        way = SaleWay(self._costing, question, self._home)
        found = way.bare_price(batch.costs)
        way.check_settled()  # it is not shown; but without the exchange rates for it, nothing is known of the sale
        asked = asked_price(found, listing.currency)
        per_unit = price_per_unit(asked.gross_price, listing, product)
        cautions = (*batch.cautions, *(way.estimate.cautions if way.estimate else ()))
        return shown(
            PriceListEntry,
            "",
            asked,
            listing,
            product,
            listing=code,
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

    def _batch(self, question: PriceQuestion) -> _Batch:
        """The batch of a question, if everything has a rate; raises MissingRatesError."""
        key, resources = question.batch, question.route.resources()
        if key in self._batches:
            costed(self._workspace, self._costing, [], also=resources)
            return self._batches[key]
        ((bill, sheet),) = costed(self._workspace, self._costing, [key], also=resources)
        made = _Batch(unit_costs(sheet), self._costing.cautions(bill))
        return self._batches.of(key, lambda: made)

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
