"""Listings over HTTP: create, replace and retire them; their references; their price sheets."""

import re
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest

from tests.api.outside import leaving_as_it_is, parameters, pointers, refused
from tests.conftest import Client
from tests.support.builders import (
    channel,
    channel_rate,
    fee,
    listing,
    material_rate,
    measured,
    money,
    policy,
    product,
    register_shipping,
    shipping_rate,
    shipping_service,
    weight_class,
)
from tests.support.furnishing import furnishes

LISTING, DAY = "listings/brick-online", "as_of=2026-11-25"
SHEET = f"{LISTING}/price-sheet?{DAY}"


def sent(**changes: Any) -> dict[str, Any]:
    """A listing of the brick with shipping to the buyer."""
    return listing(**{"product": "brick", "shipping_service": "post", "shipping_zone": "home", **changes})


@pytest.fixture
@furnishes
def shop(client: Client) -> Client:
    """A workshop with a brick on sale."""
    register_shipping(client)
    client.register(LISTING, sent())
    return client


def retire(client: Client, path: str) -> None:
    assert client.delete(path).status_code == 204


def price_of(client: Client, question: str = SHEET) -> str:
    found: str = client.get(question).json["price_per_piece"]["price"]["amount"]
    return found


class TestTheLifeOfAListing:
    def test_it_is_created_read_replaced_listed_and_retired(self, shop: Client) -> None:
        created = shop.put("listings/sheet-online", listing())
        replaced = shop.put("listings/sheet-online", listing(name="Sheet, recycled", note="front page"))
        read = shop.get(created.headers["Location"])
        listed = shop.get("listings").json["items"]
        retire(shop, "listings/sheet-online")

        assert (created.status_code, replaced.status_code) == (201, 200)
        assert created.headers["Location"] == "/v1/listings/sheet-online"
        assert read.json == replaced.json
        assert (read.json["name"], read.json["note"]) == ("Sheet, recycled", "front page")
        assert [each["code"] for each in listed] == ["brick-online", "sheet-online"]
        assert listed[1] == {"code": "sheet-online", **read.json}
        assert [each["code"] for each in shop.get("listings").json["items"]] == ["brick-online"]
        for path in ("listings/sheet-online", f"listings/sheet-online/price-sheet?{DAY}"):
            refused(shop, "GET", path, status=404)

    def test_its_state_is_guarded_by_its_entity_tag(self, shop: Client) -> None:
        tag = shop.get(LISTING).headers["ETag"]

        unchanged = shop.get(LISTING, headers={"If-None-Match": tag})
        refused(shop, "PUT", LISTING, sent(), status=412, headers={"If-None-Match": "*"})
        refused(shop, "PUT", LISTING, sent(note="x"), status=412, headers={"If-Match": '"other"'})
        changed = shop.put(LISTING, sent(note="x"), headers={"If-Match": tag})
        refused(shop, "DELETE", LISTING, status=412, headers={"If-Match": tag})
        retired = shop.delete(LISTING, headers={"If-Match": changed.headers["ETag"]})

        assert (unchanged.status_code, changed.status_code, retired.status_code) == (304, 200, 204)

    def test_the_same_again_changes_nothing(self, shop: Client) -> None:
        with leaving_as_it_is(shop):
            again = shop.put(LISTING, sent())

            assert again.status_code == 200

    def test_put_restores_a_retired_one(self, shop: Client) -> None:
        retire(shop, LISTING)

        assert shop.put(LISTING, sent()).status_code == 201
        assert shop.get(SHEET).status_code == 200

    def test_it_has_no_rates_of_its_own(self, shop: Client) -> None:
        assert shop.get(f"{LISTING}/rates").status_code == 404
        assert shop.put(f"{LISTING}/rates/2026-01-01", {}).status_code == 404

    def test_members_left_out_take_their_defaults(self, shop: Client) -> None:
        found = shop.put(LISTING, {name: each for name, each in sent().items() if name in REQUIRED}).json

        left_out = {name: each for name, each in found.items() if name not in REQUIRED}
        assert left_out == {
            "name": "",
            "description": "",
            "base_quantity": 1,
            "pieces_per_order": None,
            "tax": None,
            "shipping_service": None,
            "shipping_zone": None,
            "unit_price_per": None,
            "url": "",
            "image": "",
            "availability": None,
            "tags": [],
            "note": "",
        }


REQUIRED = {"product", "channel", "currency", "locale", "policy", "standard_batch"}
NAMED = {"product": "/product", "channel": "/channel", "tax": "/tax", "shipping_service": "/shipping_service"}


class TestWhatItNames:
    def test_a_refusal_names_everything_that_is_not_registered(self, shop: Client) -> None:
        nobody_s = dict.fromkeys(NAMED, "nobody-s")

        response = refused(shop, "PUT", "listings/other", sent(**nobody_s), status=422)

        assert pointers(response) == list(NAMED.values())

    @pytest.mark.parametrize("member", NAMED)
    def test_a_refusal_names_what_is_retired(self, shop: Client, member: str) -> None:
        body, paths = sent(), {"product": "products", "channel": "channels", "tax": "taxes"}
        retire(shop, LISTING)
        retire(shop, f"{paths.get(member, 'shipping-services')}/{body[member]}")

        response = refused(shop, "PUT", LISTING, body, status=422)

        assert pointers(response) == [NAMED[member]]

    def test_another_workshop_s_things_do_not_count(self, shop: Client, stranger: Client) -> None:
        response = refused(stranger, "PUT", LISTING, sent(), status=422)

        assert pointers(response) == list(NAMED.values())
        refused(stranger, "GET", LISTING, status=404)
        refused(stranger, "GET", SHEET, status=404)
        refused(stranger, "DELETE", LISTING, status=404)
        assert shop.get(SHEET).status_code == 200

    @pytest.mark.parametrize("thing", ["products/brick", "channels/quay-market", "taxes/vat", "shipping-services/post"])
    def test_cannot_be_retired_while_it_is_on_sale(self, shop: Client, thing: str) -> None:
        response = refused(shop, "DELETE", thing, status=409)

        assert response.json["type"].endswith("/in-use")
        assert response.json["users"] == ["listings/brick-online"]
        retire(shop, LISTING)
        retire(shop, thing)

    def test_is_free_again_when_the_listing_names_another(self, shop: Client) -> None:
        shop.register("channels/stall", channel(name="Stall"))

        shop.register(LISTING, sent(channel="stall"))

        retire(shop, "channels/quay-market")

    def test_a_refusal_names_every_listing_that_uses_it(self, shop: Client) -> None:
        for code in ("z-last", "a-first"):
            shop.register(f"listings/{code}", sent())

        response = refused(shop, "DELETE", "products/brick", status=409)

        assert response.json["users"] == ["listings/a-first", "listings/brick-online", "listings/z-last"]


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "an ended currency": (listing(currency="HRK"), "/currency"),
    "an unknown currency": (listing(currency="ZZZ"), "/currency"),
    "gold": (listing(currency="XAU"), "/currency"),
    "a currency in small letters": (listing(currency="eur"), "/currency"),
    "an unknown locale": (listing(locale="xx_YY"), "/locale"),
    "a locale with a hyphen": (listing(locale="en-IE"), "/locale"),
    "a locale with a codeset": (listing(locale="de_DE.UTF-8"), "/locale"),
    "an empty locale": (listing(locale=""), "/locale"),
    "a step finer than the yen": (listing(currency="JPY", policy=policy(price_step="0.5")), "/policy/price_step"),
    "a price finer than the yen": (listing(currency="JPY", policy=policy("fixed_price", "9.5")), "/policy/value"),
    "an ending finer than the yen": (
        listing(currency="JPY", policy=policy(price_endings=["0.90"])),
        "/policy/price_endings",
    ),
    "an ending finer than the fils": (
        listing(currency="KWD", policy=policy(price_endings=["0.9005"])),
        "/policy/price_endings",
    ),
    "a step finer than the cent": (listing(policy=policy(price_step="0.005")), "/policy/price_step"),
    "an ending as large as the step": (
        listing(policy=policy(price_endings=["0.50"], price_step="0.50")),
        "/policy/price_endings",
    ),
    "a display of its own": (listing(policy=policy(display="tax_inclusive")), "/policy/display"),
    "a margin of 1": (listing(policy=policy(value="1")), "/policy/value"),
    "a batch of 0 pieces": (listing(standard_batch=0), "/standard_batch"),
    "half a piece": (listing(standard_batch=1.5), "/standard_batch"),
    "a price for seven pieces": (listing(base_quantity=7), "/base_quantity"),
    "a batch smaller than an order": (listing(base_quantity=100, standard_batch=99), "/standard_batch"),
    "a service without a zone": (listing(shipping_service="post"), "/shipping_zone"),
    "a zone without a service": (listing(shipping_zone="home"), "/shipping_zone"),
    "a unit price per litre": (listing(unit_price_per="l"), "/unit_price_per"),
    "a price of its own": (listing(price=money("1")), "/price"),
    "a name of two lines": (listing(name="a\nb"), "/name"),
    "a description with an escape": (listing(description="\x1b[31m"), "/description"),
    "no policy": ({name: each for name, each in listing().items() if name != "policy"}, "/policy"),
    "28 digits for a price": (listing(policy=policy("fixed_price", "9" * 28)), "/policy/value"),
    "28 digits for a step": (listing(policy=policy(price_step="9" * 28)), "/policy/price_step"),
}


class TestWhatCannotBeListed:
    @pytest.mark.parametrize(("body", "pointer"), BAD.values(), ids=BAD)
    def test_is_refused_with_one_pointer_and_not_stored(
        self, workshop: Client, body: dict[str, Any], pointer: str
    ) -> None:
        response = refused(workshop, "PUT", "listings/sheet-online", body, status=422)

        assert pointers(response) == [pointer]

    def test_an_ended_currency_is_refused_with_its_last_day(self, workshop: Client) -> None:
        """The last day of the kuna: Unicode CLDR, supplemental data, currency data of the region HR."""
        response = refused(workshop, "PUT", "listings/sheet-online", listing(currency="HRK"), status=422)

        assert "2023-01-14" in response.json["detail"]

    @pytest.mark.parametrize(
        ("currency", "step"), [("JPY", "1"), ("KWD", "0.005"), ("CLF", "0.0001"), ("EUR", "0.05"), ("IQD", "0.250")]
    )
    def test_a_step_of_whole_minor_units_is_accepted(self, shop: Client, currency: str, step: str) -> None:
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": RATES})
        shop.register("listings/abroad", sent(currency=currency, policy=policy(price_step=step)))

        price = Decimal(price_of(shop, f"listings/abroad/price-sheet?{DAY}"))

        assert price > 0
        assert price % Decimal(step) == 0


RATES = {"USD": "1.0850", "JPY": "161.4", "KWD": "0.3334", "CLF": "0.0259", "CHF": "0.9604", "IQD": "1421.5"}


class TestThePriceSheet:
    def test_is_the_product_s_price_sheet_with_what_buyers_read(self, shop: Client) -> None:
        shop.register(LISTING, sent(name="Brick, grey", description="Made here.", unit_price_per="kg"))
        of_product = shop.get(
            f"products/brick/price-sheet?quantity=20&{DAY}&target=margin&value=0.35&channel=quay-market&tax=vat"
            "&shipping_service=post&shipping_zone=home&currency=EUR"
        ).json

        sheet = shop.get(SHEET).json

        own = {"listing", "description", "locale", "formatted_price", "unit_price", "formatted_unit_price", "name"}
        assert {name: each for name, each in sheet.items() if name not in own} == {
            name: each for name, each in of_product.items() if name != "name"
        }
        price = sheet["price_per_piece"]["price"]["amount"]
        assert (sheet["listing"], sheet["name"], sheet["description"]) == ("brick-online", "Brick, grey", "Made here.")
        assert sheet["formatted_price"] == f"€{price}"
        per_kg = (Decimal(price) / Decimal("1.6")).quantize(Decimal("0.01"), ROUND_HALF_UP)
        assert sheet["unit_price"]["price"] == money(str(per_kg))
        assert (sheet["unit_price"]["content"], sheet["formatted_unit_price"]) == ("1.6", f"€{per_kg}/kg")

    def test_has_the_product_s_name_if_the_listing_has_none(self, shop: Client) -> None:
        assert shop.get(SHEET).json["name"] == "Brick"

    @pytest.mark.parametrize(
        ("currency", "locale", "digits", "written"),
        [
            ("JPY", "ja_JP", 0, r"￥[0-9,]+"),
            ("EUR", "de_AT", 2, r"€\u00a0[0-9]+,[0-9]{2}"),
            ("CHF", "de_CH", 2, r"CHF\u00a0[0-9]+\.[0-9]{2}"),
            ("KWD", "en_IE", 3, r"KWD\u00a0[0-9]+\.[0-9]{3}"),
            ("IQD", "ar_EG", 3, r"\u2068.?[0-9,]+\.[0-9]{3}\u00a0د.ع..?\u2069"),
            ("CLF", "en", 4, r"CLF\u00a0[0-9]+\.[0-9]{4}"),
        ],
    )
    def test_has_the_digits_of_iso_4217_and_is_written_in_the_listing_s_locale(
        self, shop: Client, currency: str, locale: str, digits: int, written: str
    ) -> None:
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency=currency, locale=locale, unit_price_per="kg"))

        sheet = shop.get(SHEET).json

        exponents = [
            Decimal(amount["amount"]).as_tuple().exponent
            for amount in (
                sheet["price_per_piece"]["price"],
                sheet["unit_price"]["price"],
                sheet["price_per_piece"]["profit"],
                sheet["price_per_piece"]["fee_total"],
            )
        ]
        assert exponents == [-digits, -digits, -digits - 4, -digits - 4]
        assert re.fullmatch(written, sheet["formatted_price"])

    def test_shows_the_profit_at_a_given_price(self, shop: Client) -> None:
        asked = shop.get(SHEET).json["price_per_piece"]

        same = shop.get(f"{SHEET}&kept_at={asked['price']['amount']}").json
        free = shop.get(f"{SHEET}&kept_at=0").json["price_per_piece"]

        assert same["policy"] is None
        assert same["price_per_piece"]["profit"] == asked["profit"]
        assert same["formatted_price"] == f"€{asked['price']['amount']}"
        assert free["margin_share"] is None
        assert Decimal(free["profit"]["amount"]) < 0

    def test_shows_the_effect_of_a_discount(self, shop: Client) -> None:
        shop.register(LISTING, sent(policy=policy(never_below_cost="full_cost", price_endings=["0.90"])))

        found = shop.get(f"{SHEET}&discount_share=0.25").json["discount"]

        least = Decimal(found["least_price"]["amount"])
        assert least % 1 == Decimal("0.90")
        assert found["least_price_discounted"]["amount"] == str(
            (least * 3 / 4).quantize(Decimal("0.01"), ROUND_HALF_UP)
        )
        bearing, below = (
            shop.get(f"{SHEET}&kept_at={(price * 3 / 4).quantize(Decimal('0.01'), ROUND_HALF_UP)}").json
            for price in (least, least - 1)
        )
        assert bearing["price_per_piece"]["is_below_floor"] is False
        assert below["price_per_piece"]["is_below_floor"] is True

    def test_carries_the_cautions_of_the_product(self, shop: Client) -> None:
        shop.register("products/brick", measured(declared_uses=["toy"]))

        cautions = {each["code"]: each for each in shop.get(SHEET).json["cautions"]}

        assert "use-toy" in cautions
        assert cautions["use-toy"]["source"]

    def test_shows_shipping_and_includes_its_cost_in_the_price(self, shop: Client) -> None:
        found = shop.get(SHEET).json

        assert found["shipping"]["price"] == money("14.00")
        assert found["price_per_piece"]["shipping_cost"] == money("14.000000")
        assert found["rates_valid_from"]["shipping-services/post"] == "2026-01-01"

    @pytest.mark.parametrize(
        ("question", "parameter"),
        [
            ("kept_at=9.999", "kept_at"),
            ("kept_at=-1", "kept_at"),
            ("kept_at=1e3", "kept_at"),
            ("kept_at=NaN", "kept_at"),
            ("discount_share=1", "discount_share"),
            ("discount_share=-0.1", "discount_share"),
            ("quantity=5", "quantity"),
            ("channel=quay-market", "channel"),
        ],
    )
    def test_an_invalid_query_is_refused_by_its_parameter(
        self, workshop: Client, question: str, parameter: str
    ) -> None:
        response = refused(workshop, "GET", f"listings/sheet-online/price-sheet?{DAY}&{question}", status=422)

        assert parameters(response) == [parameter]

    @pytest.mark.parametrize(
        ("question", "parameter"),
        [("quantity=100&base_quantity=7", "base_quantity"), ("quantity=99&base_quantity=100", "quantity")],
    )
    def test_pieces_that_no_price_is_for_are_refused_by_the_parameter(
        self, workshop: Client, question: str, parameter: str
    ) -> None:
        query = f"{DAY}&target=margin&value=0.3&{question}"

        response = refused(workshop, "GET", f"products/sheet/price-sheet?{query}", status=422)

        assert parameters(response) == [parameter]

    def test_a_price_finer_than_the_yen_is_refused_too(self, shop: Client) -> None:
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency="JPY"))

        assert parameters(refused(shop, "GET", f"{SHEET}&kept_at=10.5", status=422)) == ["kept_at"]
        assert shop.get(f"{SHEET}&kept_at=10.0").status_code == 200


class TestWhatCannotBePriced:
    def test_names_everything_that_has_no_rate_on_the_day_at_once(self, shop: Client) -> None:
        """Resources of the product, tax, channel and shipping, each with the first day of its first rate."""
        response = refused(shop, "GET", f"{LISTING}/price-sheet?as_of=2025-12-31", status=422)

        assert response.json["type"].endswith("/missing-rate")
        assert {each["resource"]: each["first_valid_from"] for each in response.json["missing"]} == dict.fromkeys(
            [
                "materials/hdpe",
                "machines/press",
                "labour-grades/operator",
                "tariffs/grid",
                "taxes/vat",
                "channels/quay-market",
                "shipping-services/post",
            ],
            "2026-01-01",
        )

    def test_names_a_channel_without_a_rate_on_the_day_and_when_its_first_begins(self, shop: Client) -> None:
        shop.register("channels/fair", channel(name="Autumn fair"), **{"2026-10-01": channel_rate()})
        shop.register("channels/new", channel(name="New"))

        for code, first in (("fair", "2026-10-01"), ("new", None)):
            shop.register(LISTING, sent(channel=code))
            response = refused(shop, "GET", f"{LISTING}/price-sheet?as_of=2026-09-30", status=422)
            assert response.json["missing"] == [{"resource": f"channels/{code}", "first_valid_from": first}]
        shop.register(LISTING, sent(channel="fair"))
        assert shop.get(f"{LISTING}/price-sheet?as_of=2026-10-01").status_code == 200

    def test_names_the_currencies_that_have_no_exchange_rate(self, shop: Client) -> None:
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency="SEK"))

        response = refused(shop, "GET", SHEET, status=422)

        assert response.json["type"].endswith("/missing-exchange-rate")
        assert {response.json["one"], response.json["other"]} == {"EUR", "SEK"}

    def test_takes_an_exchange_rate_of_31_days_before_and_none_older(self, shop: Client) -> None:
        shop.put("exchange-rates/2026-05-01", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency="USD"))

        last = shop.get(f"{LISTING}/price-sheet?as_of=2026-06-01")
        response = refused(shop, "GET", f"{LISTING}/price-sheet?as_of=2026-06-02", status=422)

        assert [each["published_on"] for each in last.json["exchange_rates"]] == ["2026-05-01"]
        assert response.json["max_age_days"] == 31
        refused(shop, "GET", f"{LISTING}/price-sheet?as_of=2026-04-30", status=422)

    def test_needs_a_rate_for_a_foreign_fee_a_foreign_payout_and_foreign_shipping_too(self, shop: Client) -> None:
        foreign = [
            ("channels/quay-market/rates/2026-01-01", channel_rate(currency="USD")),
            ("channels/quay-market", channel(payout_currency="USD")),
            (
                "shipping-services/post/rates/2026-01-01",
                shipping_rate(zones={"home": [weight_class("0", "31.5", "5", "USD")]}),
            ),
        ]

        for path, body in foreign:
            before = shop.get(path).json
            assert shop.put(path, body).status_code == 200
            response = refused(shop, "GET", SHEET, status=422)
            assert {response.json["one"], response.json["other"]} == {"EUR", "USD"}
            assert shop.put(path, before).status_code == 200

        assert shop.get(SHEET).status_code == 200

    @pytest.mark.parametrize(
        ("facts", "changes", "members"),
        [
            (product(), {}, ["mass_kg", "length_mm", "width_mm", "height_mm"]),
            (measured(mass_kg=None), {}, ["mass_kg"]),
            (
                measured(length_mm=None),
                {"shipping_service": None, "shipping_zone": None, "unit_price_per": "m2"},
                ["length_mm"],
            ),
            (product(), {"shipping_service": None, "shipping_zone": None, "unit_price_per": "kg"}, ["mass_kg"]),
        ],
        ids=["nothing for shipping", "no mass for shipping", "no length for an area", "no mass for a unit price"],
    )
    def test_names_the_product_by_its_code_with_the_measures_it_lacks(
        self, shop: Client, facts: dict[str, Any], changes: dict[str, Any], members: list[str]
    ) -> None:
        shop.register("products/brick", facts)
        shop.register(LISTING, sent(**changes))

        response = refused(shop, "GET", SHEET, status=422)

        assert response.json["type"].endswith("/missing-measures")
        assert (response.json["product"], response.json["members"]) == ("brick", members)

    @pytest.mark.parametrize(
        ("facts", "rate", "told"),
        [
            (measured(length_mm="2400"), {}, "a side of 2400 mm"),
            (measured(mass_kg="32"), {}, "where the last class ends"),
            ({}, {"limits": {"max_longest_side_mm": "600"}}, "longest side of 610 mm"),
        ],
        ids=["too long for the box", "too heavy for the classes", "a box above the limit"],
    )
    def test_says_why_the_product_fits_in_no_parcel(
        self, shop: Client, facts: dict[str, Any], rate: dict[str, Any], told: str
    ) -> None:
        shop.register("products/brick", facts or measured())
        shop.put("shipping-services/post/rates/2026-01-01", shipping_rate(**rate))

        response = refused(shop, "GET", SHEET, status=422)

        assert response.json["type"].endswith("/does-not-fit")
        assert response.json["product"] == "brick"
        assert told in " ".join(response.json["reasons"])

    def test_says_which_zones_there_are_and_names_no_parameter(self, shop: Client) -> None:
        shop.register(LISTING, sent(shipping_zone="moon"))

        response = refused(shop, "GET", SHEET, status=422)

        assert response.json["type"].endswith("/unknown-zone")
        assert (response.json["zone"], response.json["zones"]) == ("moon", ["home"])
        assert parameters(response) == []

    def test_states_the_highest_margin_that_can_be_reached(self, shop: Client) -> None:
        """Of a gross price of 1, 0.84 is left after fees and 0.21 ÷ 1.21 of it is tax: no net margin above 0.898."""
        shop.register(LISTING, sent(policy=policy(value="0.95")))

        response = refused(shop, "GET", SHEET, status=422)

        assert response.json["type"].endswith("/unreachable-target")
        assert (response.json["target"], response.json["wanted"]) == ("margin", "0.95")
        most = 1 - Decimal("0.084") * Decimal("1.21")
        assert response.json["highest"] == response.json["highest_margin_share"] == str(most.quantize(Decimal("1e-6")))
        assert response.json["at_price"] is None
        shop.register(LISTING, sent(policy=policy(value=response.json["highest"])))
        refused(shop, "GET", SHEET, status=422)  # prices approach this margin but never reach it
        shop.register(LISTING, sent(policy=policy(value=str(most - Decimal("0.001")))))
        assert shop.get(SHEET).status_code == 200

    def test_can_still_be_registered_read_replaced_and_retired(self, shop: Client) -> None:
        shop.register(LISTING, sent(policy=policy(value="0.95"), shipping_zone="moon"))

        assert shop.get(LISTING).status_code == 200
        assert shop.put(LISTING, sent()).status_code == 200
        retire(shop, LISTING)


class TestDays:
    def test_a_fee_that_rises_from_a_day_on_raises_the_price_from_that_day_on(self, shop: Client) -> None:
        shop.put("channels/quay-market/rates/2026-09-01", channel_rate(fees=[fee(share="0.12")]))

        last, first = (shop.get(f"{LISTING}/price-sheet?as_of={day}").json for day in ("2026-08-31", "2026-09-01"))

        assert [each["name"] for each in last["price_per_piece"]["fees"]] == ["commission", "payment"]
        assert [each["formula"] for each in first["price_per_piece"]["fees"]] == ["0.12 × gross price"]
        assert (
            last["rates_valid_from"]["channels/quay-market"],
            first["rates_valid_from"]["channels/quay-market"],
        ) == ("2026-01-01", "2026-09-01")

    def test_a_past_day_s_sheet_does_not_depend_on_rates_of_later_days(self, shop: Client) -> None:
        shop.put("exchange-rates/2026-06-01", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency="USD"))
        past = f"{LISTING}/price-sheet?as_of=2026-06-15"
        before = shop.get(past).data

        for path, body in (
            ("materials/hdpe/rates/2026-06-16", material_rate("9")),
            ("channels/quay-market/rates/2026-06-16", channel_rate(fees=[])),
            ("taxes/vat/rates/2026-07-01", {"rate_share": "0.05"}),
            ("shipping-services/post/rates/2026-07-01", shipping_rate(fuel_surcharge_share="0.5")),
            ("exchange-rates/2026-06-16", {"base": "EUR", "rates": {"USD": "2"}}),
        ):
            assert shop.put(path, body).status_code == 201

        assert shop.get(past).data == before
        later = shop.get(f"{LISTING}/price-sheet?as_of=2026-07-01").json
        assert later["price_per_piece"]["tax_share"] == "0.05"
        assert price_of(shop, past) != later["price_per_piece"]["price"]["amount"]

    def test_the_default_day_is_today(self, shop: Client) -> None:
        shop.register(LISTING, sent(shipping_service=None, shipping_zone=None))

        assert shop.get(f"{LISTING}/price-sheet").json["as_of"] == shop.workshop.today().isoformat()


CHANGES: dict[str, tuple[str, Any]] = {
    "a rate": ("materials/hdpe/rates/2026-02-01", material_rate("0.95")),
    "a fee": ("channels/quay-market/rates/2026-02-01", channel_rate(fees=[fee(share="0.2")])),
    "a tax": ("taxes/vat/rates/2026-02-01", {"rate_share": "0.10"}),
    "an exchange rate": ("exchange-rates/2026-11-21", {"base": "EUR", "rates": {"USD": "1.2"}}),
    "the product": ("products/brick", measured(name="Block")),
    "the channel": ("channels/quay-market", channel(display="tax_exclusive")),
    "the listing": (LISTING, sent(currency="USD", name="Block")),
    "a shipping price": ("shipping-services/post/rates/2026-02-01", shipping_rate(fuel_surcharge_share="0.1")),
    "the boxes": ("shipping-services/post", shipping_service(boxes=[])),
}


class TestRevalidation:
    @pytest.fixture
    def abroad(self, shop: Client) -> Client:
        """The brick on sale in dollars."""
        shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": RATES})
        shop.register(LISTING, sent(currency="USD"))
        return shop

    def test_a_sheet_is_not_sent_again_while_nothing_has_changed(self, abroad: Client) -> None:
        first = abroad.get(SHEET)

        for method in ("GET", "HEAD"):
            again = abroad.request(method, SHEET, headers={"If-None-Match": first.headers["ETag"]})
            assert (again.status_code, again.data) == (304, b"")
            assert again.headers["ETag"] == first.headers["ETag"]
        assert abroad.get(SHEET).data == first.data
        refused(abroad, "GET", SHEET, status=412, headers={"If-Match": '"other"'})

    @pytest.mark.parametrize(("path", "body"), CHANGES.values(), ids=CHANGES)
    def test_it_is_sent_again_once_something_it_depends_on_has_changed(
        self, abroad: Client, path: str, body: Any
    ) -> None:
        first = abroad.get(SHEET)
        assert abroad.put(path, body).status_code in (200, 201)

        again = abroad.get(SHEET, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 200
        assert again.headers["ETag"] != first.headers["ETag"]
        assert again.json != first.json

    def test_another_workshop_s_changes_do_not_affect_it(self, abroad: Client, stranger: Client) -> None:
        first = abroad.get(SHEET)
        register_shipping(stranger)
        stranger.register(LISTING, sent())
        for path, body in CHANGES.values():
            assert stranger.put(path, body).status_code in (200, 201)

        again = abroad.get(SHEET, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 304
        assert abroad.get(SHEET).data == first.data
        assert stranger.get(SHEET).json != first.json

    def test_different_queries_have_different_answers(self, abroad: Client) -> None:
        asked, kept, discounted = (
            abroad.get(f"{SHEET}{more}").json for more in ("", "&kept_at=9", "&discount_share=0.1")
        )

        assert price_of(abroad, f"{SHEET}&kept_at=9") == "9.00"
        assert (asked["discount"], kept["policy"]) == (None, None)
        assert discounted["discount"] is not None
