"""Invalid bodies: the problem names the member, and nothing is stored."""

from typing import Any

import pytest

from tests.api.outside import leaving_as_it_is, pointers, refused
from tests.conftest import Client
from tests.support.builders import (
    labour_rate,
    machine,
    machine_rate,
    material,
    material_rate,
    money,
    operation,
    overhead_rate,
    policy,
    product,
    quotation,
    tariff,
    tariff_rate,
)


def with_operation(**changes: Any) -> dict[str, Any]:
    return product(operations=[operation(**changes)])


def with_line(**changes: Any) -> dict[str, Any]:
    return product(bill_of_materials=[{"material": "hdpe", "quantity_per_piece": "9.6", **changes}])


def quoting(**changes: Any) -> dict[str, Any]:
    return quotation(lines=[{**quotation()["lines"][0], **changes}])


def supposing(resource: str, terms: Any) -> dict[str, Any]:
    return {"quantity": 20, "as_of": "2026-11-25", "rates": {resource: terms}}


def supposing_facts(resource: str, facts: Any) -> dict[str, Any]:
    return {"quantity": 20, "as_of": "2026-11-25", "facts": {resource: facts}}


MATERIAL, MACHINE, PRODUCT = "PUT materials/hdpe", "PUT machines/press", "PUT products/sheet"
TARIFF, OVERHEAD, TAX = "PUT tariffs/grid", "PUT overheads/rent", "PUT taxes/vat"
MATERIAL_RATE, MACHINE_RATE = "PUT materials/hdpe/rates/2026-02-01", "PUT machines/press/rates/2026-02-01"
TARIFF_RATE, LABOUR_RATE = "PUT tariffs/grid/rates/2026-02-01", "PUT labour-grades/operator/rates/2026-02-01"
OVERHEAD_RATE, TOOL_RATE = "PUT overheads/rent/rates/2026-02-01", "PUT tools/mould/rates/2026-02-01"
TAX_RATE, EXCHANGE = "PUT taxes/vat/rates/2026-02-01", "PUT exchange-rates/2026-02-01"
QUOTE, SUPPOSE = "POST quotations", "POST products/sheet/cost-sheet"
LINE, STEP, QUOTED = "/bill_of_materials/0", "/operations/0", "/lines/0"

Case = tuple[str, str, Any, str]

UNKNOWN_AND_WRONG: list[Case] = [
    ("unknown member", MATERIAL, material(colour="black"), "/colour"),
    ("unknown member of money", MATERIAL_RATE, {"price": {**money("1"), "unit": "kg"}}, "/price/unit"),
    ("unknown member of an operation", PRODUCT, with_operation(speed="1"), f"{STEP}/speed"),
    ("unknown member of a line", PRODUCT, with_line(price="1"), f"{LINE}/price"),
    ("unknown member of a quoted line", QUOTE, quoting(unit_price="1"), f"{QUOTED}/unit_price"),
    (
        "unknown member of supposed terms",
        SUPPOSE,
        supposing("materials/hdpe", {**material_rate(), "x": 1}),
        "/rates/materials~1hdpe/x",
    ),
    ("a missing member", MATERIAL, {"name": "Flakes"}, "/unit"),
    ("a missing member of money", MATERIAL_RATE, {"price": {"amount": "1"}}, "/price/currency"),
    ("missing what-if rates", SUPPOSE, {"quantity": 1}, "/rates"),
    ("null where something is due", MATERIAL, material(unit=None), "/unit"),
    ("a number for a name", MATERIAL, material(name=1), "/name"),
    ("a list for a name", MATERIAL, material(name=["Flakes"]), "/name"),
    ("an object for a name", MATERIAL, material(name={}), "/name"),
    ("a text for money", MATERIAL_RATE, {"price": "0.80"}, "/price"),
    ("a number for money", MATERIAL_RATE, {"price": 0.80}, "/price"),
    ("null for money", MATERIAL_RATE, {"price": None}, "/price"),
    ("an object for a list", PRODUCT, product(bill_of_materials={}), "/bill_of_materials"),
    ("a text for a list", PRODUCT, product(operations="pressing"), "/operations"),
    ("null for a list", PRODUCT, product(operations=None), "/operations"),
    ("null in a list", PRODUCT, product(operations=[None]), "/operations/0"),
    ("a number in a list", PRODUCT, product(bill_of_materials=[1]), "/bill_of_materials/0"),
    ("a list for a mapping", PRODUCT, with_operation(band_shares=[]), f"{STEP}/band_shares"),
    ("a list for rates", SUPPOSE, {"quantity": 1, "rates": []}, "/rates"),
    ("null for terms", SUPPOSE, supposing("materials/hdpe", None), "/rates/materials~1hdpe"),
    ("a word that is none of the choices", MATERIAL, material(unit="pound"), "/unit"),
    ("a choice in capitals", MATERIAL, material(unit="KG"), "/unit"),
    ("a list for a choice", MATERIAL, material(unit=["kg"]), "/unit"),
    ("an object for a choice", MATERIAL, material(unit={}), "/unit"),
    ("a use that is none", PRODUCT, product(declared_uses=["ballast"]), "/declared_uses/0"),
    ("a category that is none", TAX, {"name": "VAT", "category": "X"}, "/category"),
    ("a day as a number", QUOTE, quotation(quoted_on=20261125), "/quoted_on"),
    ("a day that is none", QUOTE, quotation(quoted_on="2026-02-30"), "/quoted_on"),
    (
        "a month that is none",
        SUPPOSE,
        {**supposing("materials/hdpe", material_rate()), "as_of": "2026-13-01"},
        "/as_of",
    ),
    ("a day with a time", QUOTE, quotation(quoted_on="2026-11-25T00:00:00Z"), "/quoted_on"),
    ("a day before 1900", QUOTE, quotation(quoted_on="1899-12-31"), "/quoted_on"),
    (
        "a day of another calendar",
        QUOTE,
        quotation(quoted_on="\u0662\u0660\u0662\u0666-\u0661\u0661-\u0662\u0665"),
        "/quoted_on",
    ),
    ("valid before it is given", QUOTE, quotation(quoted_on="2026-11-25", valid_until="2026-11-24"), "/valid_until"),
    ("a code with a space", MACHINE, machine(tariff="the grid"), "/tariff"),
    ("a code with a line break", PRODUCT, with_line(material="hdpe\n"), f"{LINE}/material"),
    ("a code with NUL", PRODUCT, with_line(material="hd\x00pe"), f"{LINE}/material"),
    ("a code with a surrogate", PRODUCT, with_operation(machine="\ud800"), f"{STEP}/machine"),
    ("a code of 65 characters", QUOTE, quoting(product="a" * 65), f"{QUOTED}/product"),
    ("a code that begins with a point", QUOTE, quoting(tax=".vat"), f"{QUOTED}/tax"),
    ("a band with a space", TARIFF, tariff(bands=["day time", "night"]), "/bands/0"),
    ("a code that is nobody's", PRODUCT, with_line(material="unknown"), f"{LINE}/material"),
    ("a machine that is nobody's", PRODUCT, with_operation(machine="unknown"), f"{STEP}/machine"),
    ("a tool that is nobody's", PRODUCT, with_operation(tool="unknown"), f"{STEP}/tool"),
    (
        "a grade that is nobody's",
        PRODUCT,
        with_operation(labour=[{"labour_grade": "unknown", "attendance": "1"}]),
        f"{STEP}/labour/0/labour_grade",
    ),
    ("a tariff that is nobody's", MACHINE, machine(tariff="unknown"), "/tariff"),
    ("a quoted product that is nobody's", QUOTE, quoting(product="unknown"), f"{QUOTED}/product"),
    ("a quoted tax that is nobody's", QUOTE, quoting(tax="unknown"), f"{QUOTED}/tax"),
    (
        "an adjustment's tax that is nobody's",
        QUOTE,
        quotation(charges=[{"reason": "Freight", "tax": "unknown", "amount": "9"}]),
        "/charges/0/tax",
    ),
    (
        "supposing for nobody's material",
        SUPPOSE,
        supposing("materials/unknown", material_rate()),
        "/rates/materials~1unknown",
    ),
    ("supposing for no collection", SUPPOSE, supposing("things/hdpe", {}), "/rates/things~1hdpe"),
    ("supposing for what has no rate", SUPPOSE, supposing("products/sheet", {}), "/rates/products~1sheet"),
    ("supposing facts of nobody's", SUPPOSE, supposing_facts("machines/x", machine()), "/facts/machines~1x"),
    ("supposing facts of no collection", SUPPOSE, supposing_facts("things/x", {}), "/facts/things~1x"),
    ("supposing facts without a code", SUPPOSE, supposing_facts("machines", machine()), "/facts/machines"),
    (
        "supposing facts that nothing has",
        SUPPOSE,
        supposing_facts("machines/press", machine(colour="red")),
        "/facts/machines~1press/colour",
    ),
    (
        "supposing facts that name nobody's",
        SUPPOSE,
        supposing_facts("machines/press", machine(tariff="gas")),
        "/facts/machines~1press/tariff",
    ),
    (
        "supposing facts that rates rest on",
        SUPPOSE,
        supposing_facts("materials/hdpe", material(unit="piece")),
        "/facts/materials~1hdpe/unit",
    ),
    (
        "supposing a product that does not fit its machine's tariff",
        SUPPOSE,
        supposing_facts("products/sheet", product(operations=[operation(band_shares={})])),
        "/facts/products~1sheet/operations/0/band_shares",
    ),
    ("facts that are no object", SUPPOSE, {"quantity": 1, "facts": []}, "/facts"),
    (
        "a ten-thousandth of a unit",
        SUPPOSE,
        {**supposing("materials/hdpe", material_rate()), "quantity": "0.0001"},
        "/quantity",
    ),
    ("half a piece", SUPPOSE, {**supposing("materials/hdpe", material_rate()), "quantity": "2.5"}, "/quantity"),
    ("supposing without a code", SUPPOSE, supposing("materials", material_rate()), "/rates/materials"),
    ("supposing for a code with NUL", SUPPOSE, supposing("materials/\x00", material_rate()), "/rates/materials~1\x00"),
    (
        "supposing for a code with a surrogate",
        SUPPOSE,
        supposing("materials/\ud800", material_rate()),
        "/rates/materials~1\ud800",
    ),
]

OUT_OF_RANGE: list[Case] = [
    ("a negative disposal cost", MATERIAL_RATE, material_rate(disposal_cost=money("-1")), "/disposal_cost/amount"),
    ("a negative reclaim value", MATERIAL_RATE, material_rate(reclaim_value=money("-1")), "/reclaim_value/amount"),
    ("a negative wage", LABOUR_RATE, labour_rate("-1"), "/wage_per_hour/amount"),
    ("a negative on-cost", LABOUR_RATE, labour_rate(on_cost_share="-0.1"), "/on_cost_share"),
    ("nobody is ever productive", LABOUR_RATE, labour_rate(productive_share="0"), "/productive_share"),
    ("more than all time productive", LABOUR_RATE, labour_rate(productive_share="1.01"), "/productive_share"),
    ("a life of no years", MACHINE_RATE, machine_rate(life_years="0"), "/life_years"),
    ("a negative life", MACHINE_RATE, machine_rate(life_years="-1"), "/life_years"),
    ("no planned hours", MACHINE_RATE, machine_rate(planned_hours_per_year="0"), "/planned_hours_per_year"),
    (
        "more hours than a year has",
        MACHINE_RATE,
        machine_rate(planned_hours_per_year="8785"),
        "/planned_hours_per_year",
    ),
    ("never used", MACHINE_RATE, machine_rate(utilisation_share="0"), "/utilisation_share"),
    ("used more than always", MACHINE_RATE, machine_rate(utilisation_share="1.1"), "/utilisation_share"),
    ("interest above 1", MACHINE_RATE, machine_rate(interest_share="1.1"), "/interest_share"),
    ("maintenance above 1", MACHINE_RATE, machine_rate(maintenance_share="1.1"), "/maintenance_share"),
    ("a floor without its cost", MACHINE_RATE, machine_rate(floor_m2="4"), "/space_cost_per_m2_month"),
    ("worth more at its end", MACHINE_RATE, machine_rate(residual_value=money("24000.01")), "/residual_value/amount"),
    (
        "a negative replacement value",
        MACHINE_RATE,
        machine_rate(replacement_value=money("-1")),
        "/replacement_value/amount",
    ),
    ("a negative price of a band", TARIFF_RATE, tariff_rate(day="-0.1"), "/price_per_kwh/day/amount"),
    ("a price for no band", TARIFF_RATE, {"price_per_kwh": {}}, "/price_per_kwh"),
    ("a price for one band of two", TARIFF_RATE, {"price_per_kwh": {"day": money("1")}}, "/price_per_kwh"),
    (
        "a charge spread over nothing",
        TARIFF_RATE,
        tariff_rate(standing_charge_per_month=money("9")),
        "/expected_kwh_per_month",
    ),
    ("a charge spread over no kWh", TARIFF_RATE, tariff_rate(expected_kwh_per_month="0"), "/expected_kwh_per_month"),
    ("a pool over nothing", OVERHEAD_RATE, overhead_rate(base="0"), "/base_per_month"),
    ("a negative pool", OVERHEAD_RATE, overhead_rate("-1"), "/amount_per_month/amount"),
    ("a mould without a life", TOOL_RATE, {"cost": money("1"), "life_shots": "0"}, "/life_shots"),
    ("a tax of 100 %", TAX_RATE, {"rate_share": "1"}, "/rate_share"),
    ("a negative tax", TAX_RATE, {"rate_share": "-0.01"}, "/rate_share"),
    ("a percentage for a share", TAX_RATE, {"rate_share": "21"}, "/rate_share"),
    ("an exchange rate of zero", EXCHANGE, {"base": "EUR", "rates": {"USD": "0"}}, "/rates/USD"),
    ("a negative exchange rate", EXCHANGE, {"base": "EUR", "rates": {"USD": "-1"}}, "/rates/USD"),
    ("no exchange rates", EXCHANGE, {"base": "EUR", "rates": {}}, "/rates"),
    ("the base in itself", EXCHANGE, {"base": "EUR", "rates": {"EUR": "2"}}, "/rates/EUR"),
    ("a load factor of zero", MACHINE, machine(load_factor="0"), "/load_factor"),
    ("a load factor above 1", MACHINE, machine(load_factor="1.01"), "/load_factor"),
    ("a negative power", MACHINE, machine(rated_power_kw="-1"), "/rated_power_kw"),
    ("power from nowhere", MACHINE, machine(tariff=None), "/tariff"),
    ("the same band twice", TARIFF, tariff(bands=["day", "day"]), "/bands"),
    ("no band", TARIFF, tariff(bands=[]), "/bands"),
    ("25 bands", TARIFF, tariff(bands=[f"b{number}" for number in range(25)]), "/bands"),
    ("a band called standing", TARIFF, tariff(bands=["day", "standing"]), "/bands"),
    ("other bands than are priced", TARIFF, tariff(bands=["day", "evening"]), "/bands"),
    ("another unit than is priced", MATERIAL, material(unit="l"), "/unit"),
    ("another base than is priced", OVERHEAD, {"name": "Rent", "base": "piece"}, "/base"),
    ("a category that needs a reason", "PUT taxes/exempt", {"name": "None", "category": "E"}, "/exemption_reason"),
    ("a mass of zero", PRODUCT, product(mass_kg="0"), "/mass_kg"),
    ("a product of nothing", PRODUCT, {"name": "Nothing"}, "/bill_of_materials"),
    ("a yield of 0", PRODUCT, with_operation(yield_share="0"), f"{STEP}/yield_share"),
    ("a yield above 1", PRODUCT, with_operation(yield_share="1.01"), f"{STEP}/yield_share"),
    ("a negative time", PRODUCT, with_operation(cycle_minutes="-1"), f"{STEP}/cycle_minutes"),
    ("nothing an hour", PRODUCT, with_operation(cycle_minutes=0, units_per_hour=0), f"{STEP}/units_per_hour"),
    ("cycles and throughput", PRODUCT, with_operation(units_per_hour=5), f"{STEP}/units_per_hour"),
    (
        "more reclaimed and disposed of than is lost",
        PRODUCT,
        with_line(reclaim_share="0.7", disposal_share="0.4"),
        f"{LINE}/disposal_share",
    ),
    ("no piece a cycle", PRODUCT, with_operation(pieces_per_cycle=0), f"{STEP}/pieces_per_cycle"),
    ("half a piece a cycle", PRODUCT, with_operation(pieces_per_cycle=0.5), f"{STEP}/pieces_per_cycle"),
    (
        "a grade without attendance or a crew",
        PRODUCT,
        with_operation(labour=[{"labour_grade": "operator"}]),
        f"{STEP}/labour/0/attendance",
    ),
    (
        "a crew of 0 without attendance",
        PRODUCT,
        with_operation(labour=[{"labour_grade": "operator", "setup_crew": "0", "attendance": 0}]),
        f"{STEP}/labour/0/attendance",
    ),
    (
        "a negative attendance",
        PRODUCT,
        with_operation(labour=[{"labour_grade": "operator", "attendance": "-1"}]),
        f"{STEP}/labour/0/attendance",
    ),
    (
        "a grade twice",
        PRODUCT,
        with_operation(labour=[{"labour_grade": "operator", "attendance": "1"}] * 2),
        f"{STEP}/labour",
    ),
    ("bands below 1", PRODUCT, with_operation(band_shares={"day": "0.7", "night": "0.29"}), f"{STEP}/band_shares"),
    ("bands above 1", PRODUCT, with_operation(band_shares={"day": "0.7", "night": "0.31"}), f"{STEP}/band_shares"),
    ("a band's share above 1", PRODUCT, with_operation(band_shares={"day": "1.7"}), f"{STEP}/band_shares/day"),
    (
        "a band's share of 0",
        PRODUCT,
        with_operation(band_shares={"day": "1", "night": "0"}),
        f"{STEP}/band_shares/night",
    ),
    ("a band that the tariff lacks", PRODUCT, with_operation(band_shares={"noon": "1"}), f"{STEP}/band_shares"),
    ("no bands where there are two", PRODUCT, with_operation(band_shares={}), f"{STEP}/band_shares"),
    ("bands at a bench", PRODUCT, with_operation(machine=None), f"{STEP}/machine"),
    ("1,000 °C", PRODUCT, with_operation(processing_temperature_c="1000"), f"{STEP}/processing_temperature_c"),
    ("two operations of one name", PRODUCT, product(operations=[operation(), operation()]), "/operations"),
    ("a loss of 1", PRODUCT, with_line(process_loss_share="1"), f"{LINE}/process_loss_share"),
    ("a loss above 1", PRODUCT, with_line(process_loss_share="1.5"), f"{LINE}/process_loss_share"),
    ("a negative loss", PRODUCT, with_line(process_loss_share="-0.1"), f"{LINE}/process_loss_share"),
    ("more reclaimed than lost", PRODUCT, with_line(reclaim_share="1.1"), f"{LINE}/reclaim_share"),
    ("none of a material", PRODUCT, with_line(quantity_per_piece="0"), f"{LINE}/quantity_per_piece"),
    ("a negative quantity of a material", PRODUCT, with_line(quantity_per_piece="-1"), f"{LINE}/quantity_per_piece"),
    ("a material and a product in one line", PRODUCT, with_line(product="sheet"), f"{LINE}/material"),
    ("an operation that is not there", PRODUCT, with_line(operation="polishing"), f"{LINE}/operation"),
    (
        "a curve at which work vanishes",
        PRODUCT,
        product(learning_curve={"rate_share": "0.5"}),
        "/learning_curve/rate_share",
    ),
    (
        "a learning model that is none",
        PRODUCT,
        product(learning_curve={"rate_share": "0.9", "model": "crawford"}),
        "/learning_curve/model",
    ),
    ("a quantity of 0", QUOTE, quoting(quantity=0), f"{QUOTED}/quantity"),
    ("a negative quantity", QUOTE, quoting(quantity=-1), f"{QUOTED}/quantity"),
    ("a supposed quantity of 0", SUPPOSE, {"quantity": 0, "rates": {}}, "/quantity"),
    ("a quantity above the limit", QUOTE, quoting(quantity=1_000_000_001), f"{QUOTED}/quantity"),
    ("a break of 0", QUOTE, quoting(quantity_breaks=[0]), f"{QUOTED}/quantity_breaks/0"),
    ("a break that is the quantity", QUOTE, quoting(quantity_breaks=[20]), f"{QUOTED}/quantity_breaks"),
    ("a margin of 1", QUOTE, quoting(policy=policy(value="1")), f"{QUOTED}/policy/value"),
    ("a margin above 1", QUOTE, quoting(policy=policy(value="35")), f"{QUOTED}/policy/value"),
    ("a markup below -1", QUOTE, quoting(policy=policy("markup", "-1.1")), f"{QUOTED}/policy/value"),
    ("a negative price asked", QUOTE, quoting(policy=policy("fixed_price", "-1")), f"{QUOTED}/policy/value"),
    ("a step of zero", QUOTE, quoting(policy=policy(price_step="0")), f"{QUOTED}/policy/price_step"),
    ("a step below the minor unit", QUOTE, quoting(policy=policy(price_step="0.001")), f"{QUOTED}/policy/price_step"),
    (
        "an ending above the step",
        QUOTE,
        quoting(policy=policy(price_endings=["1.9"])),
        f"{QUOTED}/policy/price_endings",
    ),
    (
        "a gross price on a quotation",
        QUOTE,
        quoting(policy=policy(display="tax_inclusive")),
        f"{QUOTED}/policy/display",
    ),
    ("an allowance of nothing", QUOTE, quoting(allowances=[{"reason": "Loyalty"}]), f"{QUOTED}/allowances/0/amount"),
    (
        "an allowance twice over",
        QUOTE,
        quoting(allowances=[{"reason": "Loyalty", "amount": "1", "share": "0.1"}]),
        f"{QUOTED}/allowances/0/amount",
    ),
    (
        "a negative allowance",
        QUOTE,
        quoting(allowances=[{"reason": "Loyalty", "amount": "-1"}]),
        f"{QUOTED}/allowances/0/amount",
    ),
    (
        "an allowance above all",
        QUOTE,
        quoting(allowances=[{"reason": "Loyalty", "share": "1.1"}]),
        f"{QUOTED}/allowances/0/share",
    ),
    (
        "an allowance below the minor unit",
        QUOTE,
        quoting(allowances=[{"reason": "Loyalty", "amount": "1.005"}]),
        f"{QUOTED}/allowances/0/amount",
    ),
    ("no lines", QUOTE, quotation(lines=[]), "/lines"),
    ("201 lines", QUOTE, quotation(lines=quotation()["lines"] * 201), "/lines"),
    ("21 breaks", QUOTE, quoting(quantity_breaks=list(range(21, 42))), f"{QUOTED}/quantity_breaks"),
    (
        "1,001 lines of a bill",
        PRODUCT,
        product(bill_of_materials=product()["bill_of_materials"] * 1001),
        "/bill_of_materials",
    ),
    (
        "101 operations",
        PRODUCT,
        product(operations=[operation(name=f"step {number}") for number in range(101)]),
        "/operations",
    ),
    (
        "1,001 supposed rates",
        SUPPOSE,
        {"quantity": 1, "rates": {f"materials/m{number}": material_rate() for number in range(1001)}},
        "/rates",
    ),
    (
        "401 exchange rates",
        EXCHANGE,
        {
            "base": "EUR",
            "rates": {
                f"{first}{second}{third}": "1" for first in "ABCDEFGH" for second in "ABCDEFGH" for third in "ABCDEFGH"
            },
        },
        "/rates",
    ),
    (
        "supposing half the bands",
        SUPPOSE,
        supposing("tariffs/grid", {"price_per_kwh": {"day": money("1")}}),
        "/rates/tariffs~1grid/price_per_kwh",
    ),
    (
        "supposing a negative disposal cost",
        SUPPOSE,
        supposing("materials/hdpe", material_rate(disposal_cost=money("-1"))),
        "/rates/materials~1hdpe/disposal_cost/amount",
    ),
]

CURRENCIES: list[Case] = [
    ("unknown", MATERIAL_RATE, {"price": money("1", "ZZZ")}, "/price/currency"),
    ("small letters", MATERIAL_RATE, {"price": money("1", "eur")}, "/price/currency"),
    ("four letters", MATERIAL_RATE, {"price": money("1", "EURO")}, "/price/currency"),
    ("no letters", MATERIAL_RATE, {"price": money("1", "")}, "/price/currency"),
    ("a sign", MATERIAL_RATE, {"price": money("1", "€")}, "/price/currency"),
    ("gold", MATERIAL_RATE, {"price": money("1", "XAU")}, "/price/currency"),
    ("none", MATERIAL_RATE, {"price": money("1", "XXX")}, "/price/currency"),
    ("for tests", MATERIAL_RATE, {"price": money("1", "XTS")}, "/price/currency"),
    ("unknown base", EXCHANGE, {"base": "ZZZ", "rates": {"USD": "1"}}, "/base"),
    ("unknown rate", EXCHANGE, {"base": "EUR", "rates": {"ZZZ": "1"}}, "/rates/ZZZ"),
    ("small letters in a rate", EXCHANGE, {"base": "EUR", "rates": {"usd": "1"}}, "/rates/usd"),
    ("ended", EXCHANGE, {"base": "EUR", "rates": {"HRK": "7.5345"}}, "/rates/HRK"),
    (
        "supposed",
        SUPPOSE,
        supposing("materials/hdpe", {"price": money("1", "ZZZ")}),
        "/rates/materials~1hdpe/price/currency",
    ),
]


class TestMembers:
    @pytest.mark.parametrize(
        ("call", "body", "pointer"),
        [case[1:] for case in (*UNKNOWN_AND_WRONG, *OUT_OF_RANGE, *CURRENCIES)],
        ids=[f"{number} {case[0]}" for number, case in enumerate((*UNKNOWN_AND_WRONG, *OUT_OF_RANGE, *CURRENCIES))],
    )
    def test_the_wrong_member_is_named_and_nothing_is_stored(
        self, workshop: Client, call: str, body: Any, pointer: str
    ) -> None:
        method, _, path = call.partition(" ")

        response = refused(workshop, method, path, body, status=422)

        assert pointers(response) == [pointer]

    def test_an_ended_currency_is_refused_with_its_last_day(self, workshop: Client) -> None:
        """The kuna was legal tender until 14 January 2023, the last day of dual circulation in Croatia
        (Unicode CLDR, supplemental data, currency data of the region HR)."""
        response = refused(workshop, "PUT", MATERIAL_RATE[4:], {"price": money("1", "HRK")}, status=422)

        assert pointers(response) == ["/price/currency"]
        assert "2023-01-14" in response.json["detail"]

    def test_every_wrong_member_is_named_at_once(self, workshop: Client) -> None:
        body = {
            "name": " ",
            "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "-1"}, {"quantity_per_piece": "NaN"}],
            "operations": [operation(yield_share="2", cycle_minutes="x")],
            "mass_kg": "0",
            "colour": "black",
        }

        response = refused(workshop, "PUT", "products/sheet", body, status=422)

        assert set(pointers(response)) >= {
            "/name",
            "/bill_of_materials/0/quantity_per_piece",
            "/bill_of_materials/1/quantity_per_piece",
            "/operations/0/yield_share",
            "/operations/0/cycle_minutes",
            "/mass_kg",
            "/colour",
        }

    def test_a_rate_for_an_unregistered_resource_is_not_found(self, workshop: Client) -> None:
        refused(workshop, "PUT", "materials/unknown/rates/2026-01-01", material_rate(), status=404)

    def test_a_quotation_that_lacks_a_rate_names_the_resource_and_the_day(self, workshop: Client) -> None:
        response = refused(workshop, "POST", "quotations", quotation(quoted_on="2025-12-31"), status=422)

        assert response.json["as_of"] == "2025-12-31"
        assert {"resource": "taxes/vat", "first_valid_from": "2026-01-01"} in response.json["missing"]

    def test_a_rate_in_another_currency_needs_an_exchange_rate(self, workshop: Client) -> None:
        foreign = supposing("materials/hdpe", {"price": money("1", "GBP")})

        response = refused(workshop, "POST", "products/sheet/cost-sheet", foreign, status=422)

        assert {response.json["one"], response.json["other"]} == {"GBP", "EUR"}
        assert "2026-11-25" in response.json["detail"]


def test_refused_requests_have_not_changed_the_workshop(workshop: Client) -> None:
    """After all tests above, the same things are registered and the sheet can still be computed."""
    with leaving_as_it_is(workshop):
        sheet = workshop.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25")

        assert sheet.status_code == 200
    assert [item["code"] for item in workshop.get("materials").json["items"]] == ["hdpe"]
    assert [rate["valid_from"] for rate in workshop.get("materials/hdpe/rates").json["items"]] == ["2026-01-01"]
