"""The workshop that scripts/measure/benchmark registers and asks about."""

from collections.abc import Callable
from typing import Any

DAY = "2026-01-01"
AS_OF = "2026-11-25"
LEVELS, RESOURCES = 6, 2000
LISTINGS = 4000
"""More than the requests of one round, so that no request is repeated within a round."""
SHEET = f"/v1/products/twelve/cost-sheet?quantity=100&as_of={AS_OF}"
EACH_SHEET = f"/v1/products/twelve/cost-sheet?quantity={{number}}&as_of={AS_OF}"
LARGE_SHEET = f"/v1/products/level{LEVELS - 1}/cost-sheet?quantity=100&as_of={AS_OF}"
LISTING = f"/v1/listings/l0/price-sheet?as_of={AS_OF}"
EACH_LISTING = f"/v1/listings/l{{listing}}/price-sheet?as_of={AS_OF}"

Put = Callable[[str, Any], None]
"""Puts a body at an address under /v1."""


def money(amount: str) -> dict[str, str]:
    """An amount in the workshop's currency."""
    return {"amount": amount, "currency": "EUR"}


def register(put: Put) -> None:
    """Register a product with a sheet of twelve lines, one of 2,000 resources over six levels, and listings."""

    def rated(path: str, facts: Any, terms: Any) -> None:
        put(path, facts)
        put(f"{path}/rates/{DAY}", terms)

    prices = {"day": money("0.31"), "night": money("0.19")}
    charges = {"standing_charge_per_month": money("60"), "expected_kwh_per_month": "2000"}
    rated("tariffs/grid", {"name": "Grid", "bands": ["day", "night"]}, {"price_per_kwh": prices, **charges})
    machine_rate = {"replacement_value": money("24000"), "life_years": "10", "planned_hours_per_year": "1600"}
    for machine in ("shredder", "press"):
        rated(f"machines/{machine}", {"name": machine, "rated_power_kw": "11", "tariff": "grid"}, machine_rate)
    wage = {"wage_per_hour": money("15.2"), "on_cost_share": "0.22", "productive_share": "0.85"}
    rated("labour-grades/operator", {"name": "Operator"}, wage)
    pool = {"amount_per_month": money("900"), "base_per_month": "240"}
    rated("overheads/rent", {"name": "Rent", "base": "machine_hour"}, pool)
    rated("overheads/purchasing", {"name": "Purchasing", "base": "direct_material_value"}, pool)
    for index in range(RESOURCES):
        material = {"name": f"Material {index}", "unit": "kg", "polymer": "HDPE"}
        rated(f"materials/m{index}", material, {"price": money("0.85")})
        if index % 200 == 0:
            print(f"  registering: {index} of {RESOURCES} materials", flush=True)

    register_products(put)
    register_listing(put, rated)


def register_products(put: Put) -> None:
    """Register the two products to cost."""

    def operation(name: str, machine: str) -> dict[str, Any]:
        return {
            "name": name,
            "machine": machine,
            "setup_minutes": "15",
            "cycle_minutes": "3",
            "yield_share": "0.96",
            "labour": [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.5"}],
            "band_shares": {"day": "0.7", "night": "0.3"},
        }

    def material_line(index: int) -> dict[str, str]:
        return {"material": f"m{index}", "quantity_per_piece": "0.25", "process_loss_share": "0.02"}

    put(
        "products/twelve",
        {
            "name": "Twelve lines",
            "mass_kg": "1.0",
            "length_mm": "240",
            "width_mm": "120",
            "height_mm": "60",
            "bill_of_materials": [material_line(each) for each in range(4)],
            "operations": [operation("shredding", "shredder"), operation("pressing", "press")],
        },
    )
    share = RESOURCES // LEVELS
    for level in range(LEVELS):
        last = RESOURCES if level == LEVELS - 1 else (level + 1) * share
        lines: list[dict[str, str]] = [material_line(each) for each in range(level * share, last)]
        if level:
            lines.append({"product": f"level{level - 1}", "quantity_per_piece": "1"})
        put(
            f"products/level{level}",
            {"name": f"Level {level}", "bill_of_materials": lines, "operations": [operation("pressing", "press")]},
        )


def register_listing(put: Put, rated: Callable[[str, Any, Any], None]) -> None:
    """Register listings in a foreign currency, with three fees, a tax and a shipping service."""
    rated("taxes/standard", {"name": "VAT 21 %"}, {"rate_share": "0.21"})
    fees = [
        {"name": "commission", "bands": [{"up_to": "50", "share": "0.08"}, {"above": "50", "share": "0.06"}]},
        {"name": "payment", "base": "gross_with_shipping", "share": "0.019", "fixed": "0.30", "tax_share": "0.21"},
        {"name": "listing fee", "base": "net_price", "share": "0.01", "minimum": "0.10", "maximum": "2"},
    ]
    terms = {"currency": "EUR", "fees": fees, "conversion_spread_share": "0.025"}
    rated("channels/quay-market", {"name": "Quay market", "payout_currency": "EUR"}, terms)
    box = {
        "code": "carton",
        **{f"inner_{side}_mm": "400" for side in ("length", "width", "height")},
        **{f"{side}_mm": "410" for side in ("length", "width", "height")},
        "mass_kg": "0.4",
    }
    classes = [
        {"above_kg": "0", "up_to_kg": "5", "price": money("5.9")},
        {"above_kg": "5", "up_to_kg": "30", "price": money("12.4")},
    ]
    service = {"zones": {"home": classes}, "divisor_cm3_per_kg": "5000", "weight_step_kg": "0.5"}
    rated("shipping-services/post", {"name": "Post", "boxes": [box]}, service)
    put(f"exchange-rates/{AS_OF}", {"base": "EUR", "rates": {"CHF": "0.9321", "GBP": "0.8640"}})
    listing = {
        "product": "twelve",
        "channel": "quay-market",
        "currency": "CHF",
        "locale": "de_CH",
        "policy": {"target": "margin", "value": "0.2", "price_endings": ["0.90"], "never_below_cost": "full_cost"},
        "standard_batch": 100,
        "tax": "standard",
        "shipping_service": "post",
        "shipping_zone": "home",
        "unit_price_per": "kg",
    }
    for index in range(LISTINGS):
        put(f"listings/l{index}", {**listing, "standard_batch": 100 + index})
        if index % 500 == 0:
            print(f"  registering: {index} of {LISTINGS} listings", flush=True)
