"""The demo workshop, registered and quoted as scripts/start does it; only the network is replaced."""

import csv
import io
import runpy
from decimal import Decimal
from typing import Any

import click
import flask
import pytest

from service.domain.register import COLLECTIONS
from service.store.engine.database import Database
from service.store.workshop.workshops import find_workshop
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, REGISTER, end_of, items, loaded_demo, new_demo, run_command

LEAST = {
    "materials": 6,
    "machines": 4,
    "labour-grades": 2,
    "tariffs": 1,
    "overheads": 3,
    "tools": 3,
    "taxes": 2,
    "shipping-services": 2,
    "channels": 3,
    "listings": 4,
}
BATCHES = (1, 7, 100, 2500)
DENSEST_KG_PER_LITRE = Decimal("1.06")  # polystyrene, the densest polymer here; from memory


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop, loaded once for all of these tests."""
    return loaded_demo(app, contract)


def cost_sheet(client: Client, code: str, quantity: int) -> dict[str, Any]:
    response = client.get(f"products/{code}/cost-sheet?quantity={quantity}")
    assert response.status_code == 200, response.json
    sheet: dict[str, Any] = response.json
    return sheet


def quote_bricks() -> click.Command:
    """The script scripts/demo/quote_bricks."""
    command: click.Command = runpy.run_path(str(DEMO / "quote_bricks"))["quote_bricks"]
    return command


def revision(client: Client, database: Database) -> int:
    with database.reading() as connection:
        workshop = find_workshop(connection, client.workshop.workshop_id)
    assert workshop is not None
    return workshop.revision


def test_the_demo_is_a_whole_workshop(demo: Client) -> None:
    for collection, least in LEAST.items():
        assert len(items(demo, collection)) >= least, collection
    assert [len(tariff["bands"]) for tariff in items(demo, "tariffs")] == [2]

    products = items(demo, "products")
    assert len(products) >= 8
    assert {"brick", "beam-1200", "beam-1800", "sheet", "hook", "plant-pot"} <= {each["code"] for each in products}
    made_of_products = [each for each in products if any(line["product"] for line in each["bill_of_materials"])]
    assert {"bench", "brick", "half-brick", "coaster-set"} == {each["code"] for each in made_of_products}
    assert {each["code"]: each["unit"] for each in products if each["unit"] != "piece"} == {"regrind": "kg"}
    timed = {step["machine"] for each in products for step in each["operations"] if step["units_per_hour"]}
    assert timed == {"granulator", "extruder"}


def test_everything_in_the_demo_says_that_it_is_invented(demo: Client) -> None:
    for collection in COLLECTIONS:
        for each in items(demo, collection):
            assert "invented" in each["note"].lower(), (collection, each["code"])
    assert "invented" in demo.workshop.address


def test_every_demo_product_has_a_cost_sheet_without_a_warning_at_any_batch_size(demo: Client) -> None:
    for product in items(demo, "products"):
        sheets = [cost_sheet(demo, product["code"], quantity) for quantity in BATCHES]

        assert [sheet["warnings"] for sheet in sheets] == [[]] * len(BATCHES), product["code"]
        piece_costs = [Decimal(sheet["subtotals"]["full_cost"]["per_piece"]["amount"]) for sheet in sheets]
        assert piece_costs == sorted(piece_costs, reverse=True), "setting up is shared by more pieces"


def test_every_demo_product_is_large_enough_for_its_mass(demo: Client) -> None:
    for product in items(demo, "products"):
        cubic_mm = Decimal(product["length_mm"]) * Decimal(product["width_mm"]) * Decimal(product["height_mm"])
        assert Decimal(product["mass_kg"] or 1) <= cubic_mm / 10**6 * DENSEST_KG_PER_LITRE, product["code"]


def test_every_demo_product_goes_on_a_pallet_and_the_small_ones_by_parcel(demo: Client) -> None:
    def shipped(service: str, code: str, quantity: int) -> Any:
        question = {"service": service, "zone": "home", "lines": [{"product": code, "quantity": quantity}]}
        return demo.post("shipping-estimates", question)

    products = items(demo, "products")
    for product in products:
        found = shipped("pallets", product["code"], 100).json
        assert sum(each["count"] * each["pieces"] for each in found["parcels"]) == 100, product["code"]
        assert [each["code"] for each in found["cautions"]] == ["loaded-pallet"]
    by_parcel = {each["code"] for each in products if shipped("parcels", each["code"], 10).status_code == 200}
    assert by_parcel == {each["code"] for each in products} - {"bench", "beam-1800", "sheet"}


def test_a_demo_brick_costs_a_few_euros_and_its_pigment_is_paid_in_another_currency(demo: Client) -> None:
    sheet = cost_sheet(demo, "brick", 500)

    assert 2 < Decimal(sheet["subtotals"]["full_cost"]["per_piece"]["amount"]) < 6
    (day,) = sheet["exchange_rates"]
    assert list(day["rates"]) == ["GBP"]
    assert day["published_on"] == sheet["as_of"]


def price_sheet(client: Client, listing: str, query: str = "") -> dict[str, Any]:
    response = client.get(f"listings/{listing}/price-sheet{query}")
    assert response.status_code == 200, response.json
    sheet: dict[str, Any] = response.json
    return sheet


def test_every_demo_listing_has_a_price_that_meets_its_policy_without_a_warning(demo: Client) -> None:
    sheets = [price_sheet(demo, each["code"]) for each in items(demo, "listings")]
    listed = csv.DictReader(io.StringIO(demo.get("price-list").text, newline=""))

    assert {each["listing"]: each["problem"] for each in listed} == {each["listing"]: "" for each in sheets}
    for sheet in sheets:
        price = sheet["price_per_piece"]
        assert sheet["warnings"] == [], sheet["listing"]
        assert not price["is_below_floor"], sheet["listing"]
        assert Decimal(price["price"]["amount"]) >= Decimal(price["break_even_price"]["amount"]), sheet["listing"]


def test_demo_listings_are_in_several_currencies_and_languages_under_every_kind_of_policy(demo: Client) -> None:
    listings = items(demo, "listings")

    assert {"EUR", "CHF", "GBP", "SEK", "JPY"} == {each["currency"] for each in listings}
    assert len({each["locale"].partition("_")[0] for each in listings}) >= 4
    assert {"margin", "markup", "profit_per_piece", "fixed_price"} == {each["policy"]["target"] for each in listings}
    assert {each["channel"] for each in listings} == {each["code"] for each in items(demo, "channels")}


def test_the_prices_of_the_demo_are_plausible(demo: Client) -> None:
    for listing in items(demo, "listings"):
        sheet = price_sheet(demo, listing["code"])
        price, home = sheet["price_per_piece"], sheet["settlement"]

        assert Decimal("0.05") < Decimal(price["margin_share"]) < Decimal("0.5"), listing["code"]
        assert Decimal(1) < Decimal(home["payout"]["amount"]) < Decimal(80), listing["code"]
        assert home["payout"]["currency"] == "EUR"
        assert Decimal(home["profit"]["amount"]) < Decimal(15), listing["code"]


def test_a_demo_price_on_the_marketplace_has_all_six_deductions(demo: Client) -> None:
    sheet = price_sheet(demo, "beam-market-ch")
    price = sheet["price_per_piece"]

    names = [fee["name"] for fee in price["fees"]]
    assert {"commission", "payment"} <= set(names)
    assert all(Decimal(fee["amount"]["amount"]) > 0 for fee in price["fees"])
    for taken in ("tax", "shipping_cost", "conversion_cost"):
        assert Decimal(price[taken]["amount"]) > 0, taken
    assert Decimal(price["price"]["amount"]) > Decimal(price["target_price"]["amount"]), "rounding"


def test_the_demo_stall_has_no_fees_and_buyers_of_the_demo_shop_pay_for_shipping(demo: Client) -> None:
    stall, shop = price_sheet(demo, "brick-stall"), price_sheet(demo, "pot-shop-gb")

    assert stall["price_per_piece"]["proceeds"] == stall["price_per_piece"]["net_price"]
    assert stall["shipping"] is None
    assert [fee["name"] for fee in shop["price_per_piece"]["fees"]] == ["payment"]
    assert Decimal(shop["price_per_piece"]["shipping_charge"]["amount"]) > 0


def test_loading_the_demo_twice_changes_nothing(
    demo: Client, database: Database, capsys: pytest.CaptureFixture[str]
) -> None:
    before = revision(demo, database)

    run_command(demo, *REGISTER)

    assert revision(demo, database) == before
    assert capsys.readouterr().out == "unchanged: 124.\n"


def test_loading_the_demo_keeps_the_exchange_rates_of_earlier_days(app: flask.Flask, contract: Contract) -> None:
    client = new_demo(app, contract)
    earlier = {"base": "EUR", "rates": {"GBP": "0.85"}}
    client.put("exchange-rates/2026-01-05", earlier)

    run_command(client, *REGISTER)

    assert client.get("exchange-rates/2026-01-05").json == earlier
    assert len(items(client, "exchange-rates")) == 2


def test_a_batch_of_bricks_is_quoted_and_the_quotation_printed(
    demo: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    run_command(demo, "quote_bricks", "--full", command=quote_bricks())

    printed = capsys.readouterr().out
    (summary,) = items(demo, "quotations")
    quotation = demo.get(f"quotations/{summary['id']}").json
    full_cost = Decimal(cost_sheet(demo, "brick", 500)["subtotals"]["full_cost"]["per_piece"]["amount"])
    assert f"{full_cost:.4f}" in printed
    assert demo.get(f"quotations/{summary['id']}", headers={"Accept": "text/plain"}).text in printed
    assert [each["quantity"] for each in quotation["figures"]["lines"][0]["quantity_breaks"]] == ["100", "1000", "2500"]
    assert len(quotation["figures"]["lines"][0]["quoted"]["allowances"]) == 1
    assert len(quotation["figures"]["charges"]) == 1
    assert quotation["remarks"]["warnings"] == []

    run_command(demo, "quote_bricks", command=quote_bricks())

    short = capsys.readouterr().out
    assert f"A brick costs {full_cost:.4f} EUR in a batch of 500." in short
    assert f"Quoted for a total of {quotation['figures']['totals']['payable']['amount']} EUR" in short


def test_quoting_bricks_is_refused_in_the_words_of_the_service(
    demo: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    ended = end_of(demo, capsys, "quote_bricks", command=quote_bricks(), key="none")

    assert ended.status == 1
    assert "refused with 401: " in ended.err
