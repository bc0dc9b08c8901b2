"""The price of a listing."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.documents.writing.formats import formatted_price, formatted_unit_price
from service.domain.listing.listings import Listing
from service.domain.listing.unit_price import UnitPrice, unit_price
from service.domain.making.errors import MissingMeasuresError
from service.domain.making.products import Product
from service.domain.selling.route import Route
from service.domain.values.declared import NotNegative, ProperShare, declared
from service.domain.values.money import Money
from service.domain.values.references import Thing, references_in
from service.domain.values.shown import shown
from service.workflows.costing.costing import Costing, prepare
from service.workflows.pricing.pricing import PriceSheet, priced
from service.workflows.pricing.sale_way import PriceQuestion
from service.workflows.registering.registering import find_one
from service.workflows.workspace import Workspace

_PAGE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ListingSheet(PriceSheet):
    """The price of a listing, with every step of its calculation, and as buyers see it.

    Attributes:
        listing: its code.
        description: for buyers.
        locale: the CLDR locale in which its prices are written.
        formatted_price: the price as buyers read it.
        unit_price: the price of a kilogram, a metre, a square or a cubic metre, tax included, if the listing shows it.
        formatted_unit_price: the same as buyers read it.
    """

    listing: str
    description: str
    locale: str
    formatted_price: str
    unit_price: UnitPrice | None
    formatted_unit_price: str | None


@declared
class ListingQuestion:
    """On which day, and what else to compute.

    Attributes:
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        kept_at: the inverse question: what is kept at this price, in the listing's currency.
        discount_share: also show the effect of this discount on the price, and the lowest price that allows it.
    """

    as_of: date | None = None
    kept_at: NotNegative | None = None
    discount_share: ProperShare | None = None


def price_listing(workspace: Workspace, code: str, question: ListingQuestion) -> ListingSheet:
    """The price on a listing, or what is kept at a given price.

    Raises:
        NotRegisteredError: the listing is not registered.
        InvalidValuesError: the price asked about is finer than the currency's minor unit.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: an amount cannot be converted on the date.
        UnreachableTargetError: no price meets the listing's target.
        MissingMeasuresError: the product lacks a measure that its unit price or its shipping needs.
        UnknownZoneError: the shipping service has no such zone.
        DoesNotFitError: no parcel that the shipping service accepts can hold the product.
    """
    listing = find_listing(workspace, code)
    as_of = question.as_of or workspace.workshop.today()
    costing = prepare(workspace, references_in(listing), as_of)
    asked = price_question(listing, as_of, question.kept_at, question.discount_share)
    return _priced(workspace, costing, code, listing, asked)


def find_listing(workspace: Workspace, code: str) -> Listing:
    """The listing, read once for each state of the workshop; raises NotRegisteredError if there is none."""
    key = (workspace.workshop_id, workspace.workshop.revision, "listings", code)
    found: tuple[Listing] | None = workspace.database.memory.find(key)
    if found is None:
        listing = find_one(workspace, Thing("listings", code)).facts
        assert isinstance(listing, Listing)  # the collection holds nothing else
        found = (listing,)
        workspace.database.memory.keep(key, found)
    return found[0]


def _priced(
    workspace: Workspace, costing: Costing, code: str, listing: Listing, question: PriceQuestion
) -> ListingSheet:
    product = costing.surroundings.catalogue.products[listing.product]
    sheet = priced(workspace, costing, question)
    price = sheet.price_per_piece.price
    per_unit = price_per_unit(sheet.price_per_piece.gross_price, listing, product)
    return shown(
        ListingSheet,
        sheet.currency,
        sheet,
        listing,
        name=listing.name or sheet.name,
        listing=code,
        formatted_price=formatted_price(price, listing.locale),
        unit_price=per_unit,
        formatted_unit_price=None if per_unit is None else formatted_unit_price(per_unit, listing.locale),
    )


def price_per_unit(gross_price: Money, listing: Listing, product: Product) -> UnitPrice | None:
    """The unit price of a listing at its price with tax, if it shows one; raises MissingMeasuresError."""
    if listing.unit_price_per is None:
        return None
    try:
        return unit_price(gross_price, product, listing.unit_price_per, listing.base_quantity)
    except MissingMeasuresError as error:
        raise MissingMeasuresError(listing.product, error.purpose, error.members) from None


def price_question(
    listing: Listing, as_of: date, kept_at: Decimal | None = None, discount_share: Decimal | None = None
) -> PriceQuestion:
    """The question about the price that a listing poses."""
    return PriceQuestion(
        product=listing.product,
        quantity=listing.standard_batch,
        as_of=as_of,
        policy=listing.policy,
        route=Route.of(listing),
        base_quantity=listing.base_quantity,
        kept_at=kept_at,
        discount_share=discount_share,
    )
