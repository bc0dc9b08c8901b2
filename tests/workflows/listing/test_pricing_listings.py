"""Pricing through a channel and pricing listings, with a database and without HTTP."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.audit import Action
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.listing.price_list import PriceListEntry
from service.domain.listing.unit_price import Measure
from service.domain.making.errors import MissingMeasuresError
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.selling.channels import Display
from service.domain.selling.fees import FeeBase
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.values.errors import InvalidValuesError
from service.domain.values.money import Money
from service.workflows.errors import InUseError, NotRegisteredError
from service.workflows.listing import listings
from service.workflows.listing.listings import ListingQuestion, ListingSheet
from service.workflows.listing.price_list import ListedPrice, price_list
from tests.domain.examples import TODAY, a_policy
from tests.support import builders
from tests.support.days import on_day
from tests.support.furnishing import furnishes
from tests.workflows.owner import Owner

CODE = "listings/panel-abroad"
NONE_IN_FORCE = "no price in its currency and base quantity is in force on that day; apply a repricing first"
CHARGED = {"shipping_service": "post", "shipping_zone": "alps"}


def francs(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="CHF")


def euros(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="EUR")


def asked(owner: Owner, code: str = "panel-abroad", as_of: date = TODAY, **question: Any) -> ListingSheet:
    return listings.price_listing(owner.workspace, code, ListingQuestion(as_of=as_of, **question))


def listed(owner: Owner, channel: str | None = None, prices: ListedPrice = ListedPrice.ASKED) -> list[PriceListEntry]:
    return list(price_list(owner.workspace, TODAY, channel, prices))


def on_sale(**changes: Any) -> dict[str, Any]:
    """A listing of the panel on the Alpine market, in francs, at a price that ends in .90."""
    return builders.listing(
        **{
            "product": "panel",
            "channel": "alpine",
            "currency": "CHF",
            "locale": "de_CH",
            "policy": builders.policy(value="0.30", price_endings=["0.90"]),
            "unit_price_per": "kg",
            **CHARGED,
            **changes,
        }
    )


@pytest.fixture
@furnishes
def seller(owner: Owner) -> Owner:
    """A workshop whose own currency is the euro and which sells a panel in francs.

    A panel takes 1.6 kg of chips at 2.50 EUR. Shipped without a box, it costs 5.00 EUR and a fuel surcharge of 10 %.
    The channel shows prices with tax, pays out in euro, keeps 2 % of what it converts, and takes 10 % of the gross
    price and 0.25 EUR. A euro is 0.96 francs.
    """
    first = "2026-01-01"
    owner.register("materials/chips", builders.material(), **{first: builders.material_rate("2.50")})
    line = {"material": "chips", "quantity_per_piece": "1.6"}
    owner.register("products/panel", builders.measured(name="Panel", bill_of_materials=[line], operations=[]))
    owner.register("taxes/vat", {"name": "VAT 25 %"}, **{first: {"rate_share": "0.25"}})
    zones = {"alps": [builders.weight_class("0", "2", "5.00")]}
    owner.register(
        "shipping-services/post",
        builders.shipping_service(boxes=[]),
        **{first: builders.shipping_rate(zones=zones, fuel_surcharge_share="0.10")},
    )
    owner.register(
        "channels/alpine",
        builders.channel(name="Alpine market", payout_currency="EUR"),
        **{
            first: builders.channel_rate(
                fees=[builders.fee(share="0.10", fixed="0.25")], conversion_spread_share="0.02"
            )
        },
    )
    owner.put_exchange_rates("2026-11-20", CHF="0.96")
    owner.put(CODE, on_sale())
    return owner


class TestAPanelSoldInFrancs:
    """Worked out by hand, all in francs; g is the gross price:

    cost               1.6 × 2.50 EUR = 4.00 EUR × 0.96               = 3.84
    shipping cost      5.00 EUR × 1.10 = 5.50 EUR × 0.96              = 5.28
    fees               0.10 g + 0.25 EUR × 0.96                       = 0.10 g + 0.24
    paid out           g − fees                                       = 0.90 g − 0.24
    conversion cost    0.02 × (0.90 g − 0.24)                         = 0.018 g − 0.0048
    net price          g ÷ 1.25                                       = 0.80 g
    proceeds           0.80 g − 0.10 g − 0.24 − 0.018 g + 0.0048 − 5.28 = 0.682 g − 5.5152
    profit             0.682 g − 5.5152 − 3.84                        = 0.682 g − 9.3552
    target             0.682 g − 9.3552 = 0.30 × 0.80 g,  0.442 g = 9.3552,  g = 21.165611
    price              the next ending of .90                         = 21.90
    break-even         9.3552 ÷ 0.682 = 13.717302, at the next centime = 13.72
    """

    def test_every_term_is_as_worked_out_by_hand(self, seller: Owner) -> None:
        """At 21.90: fees 2.19 + 0.24 = 2.43; paid out 19.47; 2 % of that is 0.3894."""
        found = asked(seller).price_per_piece

        assert (found.price, found.gross_price, found.display) == (
            francs("21.90"),
            francs("21.900000"),
            Display.TAX_INCLUSIVE,
        )
        assert (found.target_price, found.floor_price, found.break_even_price) == (
            francs("21.165611"),
            francs("13.72"),
            francs("13.72"),
        )
        assert (found.net_price, found.tax) == (francs("17.520000"), francs("4.380000"))
        (fee,) = found.fees
        assert (fee.name, fee.base, fee.amount) == ("commission", FeeBase.GROSS_PRICE, francs("2.430000"))
        assert fee.formula == "0.10 × gross price + 0.24"
        assert (found.fee_total, found.conversion_cost) == (francs("2.430000"), francs("0.389400"))
        assert (found.shipping_cost, found.shipping_charge) == (francs("5.280000"), francs("0.000000"))
        assert (found.proceeds, found.full_cost, found.variable_cost) == (
            francs("9.420600"),
            francs("3.840000"),
            francs("3.840000"),
        )
        assert found.profit == found.contribution == francs("5.580600")
        assert (found.margin_share, found.markup_share) == (Decimal("0.318527"), Decimal("1.453281"))
        assert (found.batch_net_price, found.batch_profit) == (francs("350.40"), francs("111.61"))

    def test_the_buyer_reads_it_in_the_locale_of_the_listing(self, seller: Owner) -> None:
        """21.90 ÷ 1.6 kg = 13.6875 a kilogram."""
        found = asked(seller)

        assert found.formatted_price == "CHF\u00a021.90"
        assert found.formatted_unit_price == "CHF\u00a013.69/kg"
        assert found.unit_price is not None
        assert (found.unit_price.measure, found.unit_price.content) == (Measure.KILOGRAM, Decimal("1.6"))
        assert found.cash_price == francs("21.90")

    def test_cash_is_rounded_to_five_centimes(self, seller: Owner) -> None:
        seller.put(CODE, on_sale(policy=builders.policy("fixed_price", "21.93")))

        assert asked(seller).cash_price == francs("21.95")

    def test_is_settled_in_euro(self, seller: Owner) -> None:
        """Paid out: (19.47 − 0.3894) ÷ 0.96 = 19.875625; proceeds: 9.4206 ÷ 0.96 = 9.813125."""
        settlement = asked(seller).settlement

        assert settlement is not None
        assert settlement.payout == euros("19.88")
        assert settlement.proceeds == euros("9.813125")
        assert settlement.full_cost == euros("4.000000")
        assert settlement.profit == euros("5.813125")

    def test_states_the_rates_and_days_it_is_based_on(self, seller: Owner) -> None:
        found = asked(seller)

        assert found.rates_valid_from == dict.fromkeys(
            ["taxes/vat", "channels/alpine", "shipping-services/post"], date(2026, 1, 1)
        )
        assert [(day.published_on, day.source) for day in found.exchange_rates] == [(date(2026, 11, 20), "manual")]
        assert found.shipping is not None
        assert (found.shipping.price, found.shipping.zone, found.shipping.mass_kg) == (
            euros("5.50"),
            "alps",
            Decimal("1.6"),
        )
        assert (found.name, found.quantity, found.policy) == (
            "Panel",
            20,
            a_policy(value="0.30", price_endings=["0.90"]),
        )

    def test_at_a_price_of_14_90_a_little_is_kept(self, seller: Owner) -> None:
        """A profit of 0.682 × 14.90 − 9.3552 = 0.8066 at a net price of 11.92."""
        found = asked(seller, kept_at=Decimal("14.90"))

        assert found.policy is None
        assert found.formatted_price == "CHF\u00a014.90"
        assert found.price_per_piece.profit == francs("0.806600")
        assert found.price_per_piece.margin_share == Decimal("0.067668")

    def test_ten_per_cent_off_is_borne_from_15_90_on(self, seller: Owner) -> None:
        """21.90 × 0.9 = 19.71, 0.682 × 19.71 − 9.3552 = 4.08702. 13.72 ÷ 0.9 = 15.24; the next ending is 15.90."""
        found = asked(seller, discount_share=Decimal("0.10")).discount

        assert found is not None
        assert (found.discounted_price, found.profit) == (francs("19.71"), francs("4.087020"))
        assert (found.least_price, found.least_price_discounted) == (francs("15.90"), francs("14.31"))
        assert found.is_below_floor is False

    def test_is_the_same_in_the_price_list_and_on_its_sheet(self, seller: Owner) -> None:
        (found,) = listed(seller)

        assert (found.listing, found.product, found.name, found.problem) == ("panel-abroad", "panel", "Panel", None)
        assert (found.price, found.net_price) == (francs("21.90"), francs("17.520000"))
        assert (found.shipping_weight_kg, found.mass_kg, found.cash_price) == (
            Decimal("1.6"),
            Decimal("1.6"),
            francs("21.90"),
        )
        assert (found.formatted_price, found.margin_share) == ("CHF\u00a021.90", Decimal("0.318527"))


class TestTheSaleOfAProduct:
    def test_directly_and_at_home_settles_nothing(self, seller: Owner) -> None:
        found = seller.price("panel")

        assert (found.settlement, found.shipping, found.channel, found.cash_price) == (None, None, None, None)
        assert found.price_per_piece.display is Display.TAX_EXCLUSIVE
        assert found.price_per_piece.fees == ()

    def test_directly_but_sent_pays_for_the_parcel(self, seller: Owner) -> None:
        """(4.00 + 5.50) ÷ (1 − 0.5) = 19.00; there are no fees and no conversion."""
        found = seller.price("panel", policy=a_policy(value="0.5"), **CHARGED)

        assert found.price_per_piece.net_price == euros("19.000000")
        assert found.price_per_piece.shipping_cost == euros("5.500000")
        assert found.settlement is None

    def test_directly_in_another_currency_is_settled_at_the_published_rate(self, seller: Owner) -> None:
        found = seller.price("panel", policy=a_policy(target="markup", value="1"), currency="CHF")

        assert found.price_per_piece.price == francs("7.68")
        assert found.settlement is not None
        assert (found.settlement.payout, found.settlement.profit) == (francs("7.68"), euros("4.000000"))

    def test_through_a_channel_without_a_payout_currency_is_paid_out_as_it_was_sold(self, seller: Owner) -> None:
        seller.put("channels/alpine", builders.channel(name="Alpine market"))

        found = seller.price(
            "panel", policy=a_policy(target="fixed_price", value="20"), channel="alpine", currency="CHF"
        )

        assert found.price_per_piece.conversion_cost == francs("0.000000")
        assert found.settlement is not None
        assert found.settlement.payout == francs("17.76")  # 20 − 2.00 − 0.24

    def test_where_the_buyer_pays_for_shipping_the_charge_is_shown_and_counted(self, seller: Owner) -> None:
        """A charge of 6.00 EUR with tax is 5.76 francs, 4.608 without; fees are 10 % of price and charge."""
        fees = [builders.fee(base="gross_with_shipping", share="0.10")]
        terms = builders.channel_rate(fees=fees, shipping_paid_by="buyer", shipping_charge="6.00")
        seller.put_rate("channels/alpine", "2026-02-01", terms)

        found = asked(seller, kept_at=Decimal("20.00")).price_per_piece

        assert (found.shipping_charge, found.net_shipping_charge) == (francs("5.760000"), francs("4.608000"))
        assert found.fee_total == francs("2.576000")
        assert found.proceeds == francs("12.752000")  # 16.00 + 4.608 − 2.576 − 5.28

    def test_a_display_that_is_not_the_channel_s_is_named(self, seller: Owner) -> None:
        for display in ("tax_exclusive", "tax_inclusive"):
            policy = a_policy(display=display)
            if display == "tax_inclusive":
                assert seller.price("panel", policy=policy, channel="alpine", tax="vat").channel == "alpine"
                continue
            with pytest.raises(InvalidValuesError, match="the channel shows its prices tax_inclusive") as raised:
                seller.price("panel", policy=policy, channel="alpine", tax="vat")
            assert [problem.path for problem in raised.value.problems] == [("display",)]

    @pytest.mark.parametrize(
        ("question", "paths"),
        [
            ({"currency": "HRK"}, [("currency",)]),
            ({"policy": a_policy(target="fixed_price", value="1.005")}, [("value",)]),
            ({"kept_at": Decimal("0.001")}, [("kept_at",)]),
            ({"currency": "JPY", "policy": a_policy(price_step="0.5")}, [("price_step",)]),
            (
                {"tax": "none", "channel": "none", "shipping_service": "none"},
                [("tax",), ("channel",), ("shipping_service",)],
            ),
        ],
        ids=["ended currency", "finer than the cent", "finer than the cent too", "finer than the yen", "nobody's"],
    )
    def test_what_is_wrong_with_a_request_is_named(
        self, seller: Owner, question: dict[str, Any], paths: list[tuple[str, ...]]
    ) -> None:
        with pytest.raises(InvalidValuesError) as raised:
            seller.price("panel", **question)

        assert [problem.path for problem in raised.value.problems] == paths

    def test_an_unknown_zone_is_named_by_its_member(self, seller: Owner) -> None:
        with pytest.raises(UnknownZoneError) as raised:
            seller.price("panel", shipping_service="post", shipping_zone="moon")

        assert (raised.value.path, raised.value.zones) == (("shipping_zone",), ("alps",))


class TestAListingThatCannotBePriced:
    def test_is_not_there(self, seller: Owner, other_owner: Owner) -> None:
        for owner, code in ((seller, "nothing"), (other_owner, "panel-abroad")):
            with pytest.raises(NotRegisteredError, match="there is no listing"):
                asked(owner, code)
        seller.retire(CODE)
        with pytest.raises(NotRegisteredError):
            asked(seller)

    def test_has_resources_without_a_rate_which_are_named_together(self, seller: Owner) -> None:
        with pytest.raises(MissingRatesError) as raised:
            asked(seller, as_of=date(2025, 12, 31))

        assert set(raised.value.missing) == {
            MissingRate(resource=resource, first_valid_from=date(2026, 1, 1))
            for resource in ("materials/chips", "taxes/vat", "channels/alpine", "shipping-services/post")
        }

    def test_has_no_exchange_rate_young_enough(self, seller: Owner) -> None:
        assert asked(seller, as_of=date(2026, 12, 21)).formatted_price
        with pytest.raises(MissingExchangeRateError):
            asked(seller, as_of=date(2026, 12, 22))

    def test_aims_too_high(self, seller: Owner) -> None:
        """0.682 is left of each further franc of the gross price, 0.8525 of each further franc of the net price."""
        seller.put(CODE, on_sale(policy=builders.policy(value="0.8525")))

        with pytest.raises(UnreachableTargetError) as raised:
            asked(seller)

        assert (raised.value.highest, raised.value.at_price) == (Decimal("0.8525"), None)

    @pytest.mark.parametrize(
        ("facts", "changes", "error"),
        [
            ({"mass_kg": None}, {}, MissingMeasuresError),
            ({"mass_kg": None}, {"shipping_service": None, "shipping_zone": None}, MissingMeasuresError),
            ({"mass_kg": "2.1"}, {}, DoesNotFitError),
            ({}, {"shipping_zone": "moon"}, UnknownZoneError),
        ],
        ids=["shipping without a mass", "a price per kg without a mass", "too heavy", "no such zone"],
    )
    def test_is_of_a_product_that_lacks_something(
        self, seller: Owner, facts: dict[str, Any], changes: dict[str, Any], error: type[Exception]
    ) -> None:
        line = {"material": "chips", "quantity_per_piece": "1.6"}
        seller.put("products/panel", builders.measured(bill_of_materials=[line], operations=[], **facts))
        seller.put(CODE, on_sale(**changes))

        with pytest.raises(error) as raised:
            asked(seller)
        (entry,) = listed(seller)

        assert entry.problem == str(raised.value)
        assert (entry.price, entry.currency, entry.locale) == (None, "CHF", "de_CH")

    def test_prevents_retiring_what_it_names(self, seller: Owner) -> None:
        for thing in ("products/panel", "channels/alpine", "taxes/vat", "shipping-services/post"):
            with pytest.raises(InUseError) as raised:
                seller.retire(thing)
            assert raised.value.users == (CODE,)


class TestAPriceList:
    @pytest.fixture(autouse=True)
    def on_that_day(self) -> Iterator[None]:
        with on_day(TODAY):
            yield

    @pytest.fixture
    def both(self, seller: Owner) -> Owner:
        """A second listing, sold at home: without a unit price, and collected by the buyer."""
        seller.register("channels/stall", builders.channel(), **{"2026-01-01": builders.channel_rate(fees=[])})
        collected = {"shipping_service": None, "shipping_zone": None, "unit_price_per": None}
        seller.put("listings/at-home", on_sale(channel="stall", currency="EUR", name="Panel, collected", **collected))
        return seller

    def test_is_by_code_and_by_channel(self, both: Owner) -> None:
        everything = listed(both)

        assert [each.listing for each in everything] == ["at-home", "panel-abroad"]
        assert [each.name for each in everything] == ["Panel, collected", "Panel"]
        assert [listed(both, code) for code in ("stall", "alpine")] == [everything[:1], everything[1:]]
        assert (everything[0].unit_price, everything[0].shipping_weight_kg, everything[0].cash_price) == (None,) * 3

    def test_of_an_unknown_channel_is_refused_before_the_first_entry(self, both: Owner) -> None:
        with pytest.raises(InvalidValuesError) as raised:
            listed(both, "nobody-s")

        assert [problem.path for problem in raised.value.problems] == [("channel",)]

    def test_of_prices_in_force_has_the_applied_prices_whatever_the_policies_ask_for_now(self, both: Owner) -> None:
        both.reprice()
        applied = listed(both)
        both.put_rate("materials/chips", "2026-06-01", builders.material_rate("9"))
        both.put("listings/z-new", on_sale())

        *found, new = listed(both, prices=ListedPrice.IN_FORCE)

        assert [(each.listing, each.price) for each in found] == [(each.listing, each.price) for each in applied]
        assert [each.price for each in listed(both)[:2]] != [each.price for each in found]
        assert (new.listing, new.price) == ("z-new", None)
        assert new.problem == NONE_IN_FORCE

    def test_costs_what_a_piece_takes_now_whether_or_not_a_price_is_in_force(self, both: Owner) -> None:
        """A bill of resources is kept with a price in force; it counts until something that it follows from changes."""

        def margins() -> list[Decimal | None]:
            found = listed(both)
            sheets = [asked(both, each.listing).price_per_piece for each in found]
            assert [each.price for each in found] == [sheet.price for sheet in sheets]
            assert [each.margin_share for each in found] == [sheet.margin_share for sheet in sheets]
            return [each.margin_share for each in found]

        before = margins()
        both.reprice()
        assert margins() == before

        line = {"material": "chips", "quantity_per_piece": "1.7"}
        both.put("products/panel", builders.measured(name="Panel", bill_of_materials=[line], operations=[]))
        heavier = margins()
        assert heavier != before

        both.reprice()
        both.put_rate("materials/chips", "2026-06-01", builders.material_rate("2.60"))
        assert margins() not in (before, heavier)

    def test_of_prices_in_force_leaves_out_a_listing_whose_currency_has_changed_since(self, both: Owner) -> None:
        both.reprice()
        applied = {each.listing: each.price for each in listed(both)}
        both.put(CODE, on_sale(currency="EUR"))  # its price in force is in francs

        at_home, abroad = listed(both, prices=ListedPrice.IN_FORCE)

        assert at_home.price == applied["at-home"]
        assert (abroad.currency, abroad.price) == ("EUR", None)
        assert (
            abroad.problem
            == "no price in its currency and base quantity is in force on that day; apply a repricing first"
        )

        both.reprice()
        (_, abroad) = listed(both, prices=ListedPrice.IN_FORCE)
        assert abroad.price is not None
        assert abroad.price.currency == "EUR"

    def test_of_prices_in_force_says_that_one_stands_where_its_cost_is_not_known(self, both: Owner) -> None:
        both.reprice()
        price = listed(both, prices=ListedPrice.IN_FORCE)[1].price
        assert price is not None

        *_, abroad = price_list(both.workspace, date(2027, 3, 1), None, ListedPrice.IN_FORCE)

        assert (abroad.listing, abroad.price) == ("panel-abroad", None)
        assert str(abroad.problem).startswith(
            f"{price} is in force, but what is listed beside it is not known: no exch"
        )

    def test_of_prices_in_force_has_the_latest_ones_and_after_a_rollback_those_before(self, both: Owner) -> None:
        def in_force() -> list[Money | None]:
            return [each.price for each in listed(both, prices=ListedPrice.IN_FORCE)]

        both.reprice()
        first = in_force()
        both.put_rate("materials/chips", "2026-06-01", builders.material_rate("9"))
        done = both.reprice().repricing
        assert done is not None
        second = in_force()
        both.roll_back(done.id)

        assert [each.price for each in listed(both)] == second
        assert all(one != other for one, other in zip(first, second, strict=True))
        assert in_force() == first

    def test_of_prices_in_force_and_of_a_channel_has_those_of_the_channel(self, both: Owner) -> None:
        both.reprice()
        applied = listed(both)

        for code, expected in (("stall", applied[0]), ("alpine", applied[1])):
            (found,) = listed(both, code, ListedPrice.IN_FORCE)
            assert (found.listing, found.price) == (expected.listing, expected.price)

    def test_of_prices_in_force_is_the_workshops_own_where_another_has_the_same_listings(
        self, both: Owner, other_owner: Owner
    ) -> None:
        both.reprice()
        builders.register_workshop(other_owner)
        other_owner.put("listings/at-home", builders.listing())

        (theirs,) = listed(other_owner, prices=ListedPrice.IN_FORCE)

        assert theirs.price is None

    def test_goes_on_after_the_first_two_hundred(self, both: Owner) -> None:
        for number in range(199):
            both.put(f"listings/n{number:03}", on_sale())

        found = listed(both)

        codes = ["at-home", *(f"n{number:03}" for number in range(199)), "panel-abroad"]
        assert [each.listing for each in found] == codes

    def test_ends_with_a_full_page(self, both: Owner) -> None:
        for number in range(198):
            both.put(f"listings/n{number:03}", on_sale())

        assert len(listed(both)) == 200

    def test_of_another_workshop_is_empty(self, both: Owner, other_owner: Owner) -> None:
        assert listed(other_owner) == []

    def test_shows_buyers_the_cautions_about_the_product_and_not_those_about_the_work(self, both: Owner) -> None:
        line = {"material": "chips", "quantity_per_piece": "1.6"}
        hot = builders.operation(machine=None, labour=[], band_shares={}, processing_temperature_c="200")
        facts = builders.measured(bill_of_materials=[line], operations=[hot], declared_uses=["toy"])
        both.put("products/panel", facts)

        sheet, (at_home, _) = asked(both, "at-home"), listed(both)

        product = {each.text for each in sheet.cautions if each.code in ("use-toy", "no-promise-of-fitness")}
        work = {each.text for each in sheet.cautions} - product
        assert len(product) == 2
        assert work
        assert {each.text for each in at_home.cautions} == product
        assert at_home.channel_name == builders.channel()["name"]

    @pytest.mark.parametrize(
        ("locale", "codes"), [("de", ["panel-abroad"]), ("de_CH", ["panel-abroad"]), ("en_GB", [])]
    )
    def test_of_a_locale_has_its_listings_and_those_of_its_countries(
        self, both: Owner, locale: str, codes: list[str]
    ) -> None:
        both.put("listings/at-home", on_sale(locale="en_IE"))

        found = price_list(both.workspace, TODAY, locale=locale)

        assert [each.listing for each in found] == codes

    def test_is_read_entry_by_entry_and_releases_the_database_when_reading_stops(self, both: Owner) -> None:
        for _ in range(40):
            entries = price_list(both.workspace, TODAY)
            assert next(entries).listing == "at-home"
            entries.close()

        assert both.put("materials/other", builders.material()).action is Action.REGISTERED

    def test_says_of_what_cannot_be_costed_what_its_price_sheet_says(self, both: Owner) -> None:
        both.put("materials/glitter", builders.material())
        glitter = [{"material": "glitter", "quantity_per_piece": "1"}]
        facts = builders.product(bill_of_materials=glitter, operations=[])
        both.put("products/new", facts)
        both.put("listings/z-new", on_sale(product="new"))

        with pytest.raises(MissingRatesError) as refused:
            asked(both, "z-new")

        assert listed(both)[-1].problem == str(refused.value)

    def test_shows_the_state_at_which_reading_began(self, both: Owner) -> None:
        before = listed(both)
        both.put("materials/other", builders.material())  # a state for which nothing was computed
        entries = price_list(both.workspace, TODAY)
        found = [next(entries)]

        both.put_rate("materials/chips", "2026-06-01", builders.material_rate("9"))
        both.put_exchange_rates("2026-11-21", CHF="2")
        both.retire(CODE)
        both.put("listings/z-new", on_sale())
        found += entries

        assert found == before
        assert [each.listing for each in listed(both)] == ["at-home", "z-new"]
        assert listed(both)[0].price != before[0].price

    def test_caches_nothing_that_would_be_used_for_a_later_state(self, both: Owner) -> None:
        both.put("materials/other", builders.material())
        entries = price_list(both.workspace, TODAY)
        next(entries)
        both.put_rate("materials/chips", "2026-06-01", builders.material_rate("9"))
        stale = next(entries)

        assert asked(both).price_per_piece.price == listed(both)[1].price != stale.price


def test_cached_conditions_still_show_the_exchange_rates_they_used(owner: Owner) -> None:
    builders.register_workshop(owner)
    owner.put_rate("channels/quay-market", "2026-06-01", builders.channel_rate())  # its amounts are in EUR
    owner.put_exchange_rates("2026-11-20", USD="1.25", CHF="0.95")
    for batch in (20, 30):
        owner.put(f"listings/batch-of-{batch}", builders.listing(currency="CHF", standard_batch=batch))

    first, second = (
        listings.price_listing(owner.workspace, f"batch-of-{batch}", ListingQuestion(as_of=TODAY)) for batch in (20, 30)
    )

    assert first.exchange_rates == second.exchange_rates
    assert [sorted(day.rates) for day in second.exchange_rates] == [["CHF"]]
    assert first.price_per_piece.fees[1].formula == second.price_per_piece.fees[1].formula
