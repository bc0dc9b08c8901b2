"""Example bodies of the contract, all valid. The figures are invented."""

from typing import Any


def _eur(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "EUR"}


WORKSHOP: dict[str, Any] = {
    "name": "Sieve Lane Plastics Workshop (invented)",
    "address": {"street": "3 Sieve Lane", "post_code": "Q12 PQ34", "city": "Port Quillan", "country": "IE"},
    "contact": "The order desk",
    "telephone": "+353 1 555 0147",
    "email": "desk@sievelane.example",
    "url": "https://sievelane.example",
    "tax_number": "an invented number",
    "account": {"iban": "IE10 PLNK 9999 0000 0012 34", "holder": "Sieve Lane Plastics"},
    "locale": "en_IE",
    "time_zone": "Europe/Dublin",
    "terms": "Goods stay ours until they are paid for.",
    "foot": "Open Monday to Friday, 9 to 17",
}
"""An invented workshop; its bank does not exist."""

FACTS: dict[str, Any] = {
    "materials": {"name": "HDPE flakes, washed", "unit": "kg", "polymer": "HDPE"},
    "machines": {
        "name": "Sheet press",
        "rated_power_kw": "12",
        "load_factor": "0.6",
        "warm_up_power_kw": "9",
        "tariff": "grid",
    },
    "labour-grades": {"name": "Operator"},
    "closures": {"name": "Christmas", "first_day": "2026-12-24", "last_day": "2027-01-01"},
    "tariffs": {"name": "Grid, two bands", "bands": ["day", "night"], "note": "night is 22:00 to 06:00"},
    "overheads": {"name": "Rent and insurance", "base": "machine_hour"},
    "tools": {"name": "Brick mould, two cavities"},
    "taxes": {"name": "VAT 21 % (an illustration)", "category": "S"},
    "channels": {
        "name": "Lantern Quay market (an invented marketplace)",
        "display": "tax_inclusive",
        "payout_currency": "EUR",
    },
    "listings": {
        "name": "Sheet of recycled plastic, 1 m × 1 m",
        "product": "sheet",
        "channel": "quay-market",
        "currency": "EUR",
        "locale": "en_IE",
        "policy": {"target": "margin", "value": "0.25", "never_below_cost": "full_cost", "price_endings": ["0.90"]},
        "standard_batch": 50,
        "tax": "vat-standard",
    },
    "shipping-services": {
        "name": "Parcel post (an illustration)",
        "boxes": [
            {
                "code": "sheet-carton",
                "inner_length_mm": "1010",
                "inner_width_mm": "1010",
                "inner_height_mm": "60",
                "length_mm": "1020",
                "width_mm": "1020",
                "height_mm": "80",
                "mass_kg": "2.1",
                "max_load_kg": "50",
            }
        ],
        "pallets": [
            {
                "code": "euro-pallet",
                "length_mm": "1200",
                "width_mm": "800",
                "height_mm": "144",
                "max_height_mm": "1800",
                "mass_kg": "25",
                "max_load_kg": "1000",
            }
        ],
        "note": "prices are invented",
    },
    "products": {
        "name": "Sheet, 1 m × 1 m × 10 mm",
        "bill_of_materials": [
            {
                "material": "hdpe-flakes",
                "quantity_per_piece": "9.5",
                "process_loss_share": "0.03",
                "reclaim_share": "0.8",
            }
        ],
        "operations": [
            {
                "name": "pressing",
                "machine": "sheet-press",
                "setup_minutes": "20",
                "warm_up_minutes": "45",
                "cycle_minutes": "40",
                "yield_share": "0.95",
                "labour": [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.25"}],
                "band_shares": {"day": "0.7", "night": "0.3"},
                "processing_temperature_c": "190",
            }
        ],
        "mass_kg": "9.5",
        "length_mm": "1000",
        "width_mm": "1000",
        "height_mm": "10",
    },
}
"""Example facts, by collection."""

TERMS: dict[str, Any] = {
    "materials": {"price": _eur("0.85"), "reclaim_value": _eur("0.30")},
    "machines": {
        "replacement_value": _eur("24000"),
        "residual_value": _eur("2000"),
        "life_years": "10",
        "interest_share": "0.05",
        "floor_m2": "12",
        "space_cost_per_m2_month": _eur("7.50"),
        "maintenance_share": "0.04",
        "planned_hours_per_year": "1600",
        "utilisation_share": "0.7",
    },
    "labour-grades": {"wage_per_hour": _eur("15.20"), "on_cost_share": "0.22", "productive_share": "0.85"},
    "tariffs": {
        "price_per_kwh": {"day": _eur("0.31"), "night": _eur("0.19")},
        "standing_charge_per_month": _eur("60"),
        "expected_kwh_per_month": "2000",
    },
    "overheads": {"amount_per_month": _eur("900"), "base_per_month": "240"},
    "tools": {"cost": _eur("3600"), "life_shots": "40000"},
    "taxes": {"rate_share": "0.21"},
    "channels": {
        "currency": "EUR",
        "fees": [
            {
                "name": "commission",
                "base": "gross_price",
                "bands": [{"up_to": "50", "share": "0.08"}, {"above": "50", "share": "0.06"}],
                "banding": "portion",
                "maximum": "25",
            },
            {"name": "payment", "base": "gross_with_shipping", "share": "0.019", "fixed": "0.30", "tax_share": "0.21"},
        ],
        "conversion_spread_share": "0.025",
        "shipping_paid_by": "buyer",
        "shipping_charge": "4.90",
    },
    "shipping-services": {
        "zones": {
            "home": [
                {"above_kg": "0", "up_to_kg": "10", "price": _eur("14.90")},
                {"above_kg": "10", "up_to_kg": "31.5", "price": _eur("24.90")},
                {"above_kg": "31.5", "up_to_kg": "1000", "price": _eur("129.00")},
            ]
        },
        "divisor_cm3_per_kg": "5000",
        "weight_step_kg": "0.5",
        "fuel_surcharge_share": "0.06",
        "limits": {"max_longest_side_mm": "2000", "max_length_plus_girth_mm": "7000"},
    },
}
"""Example terms, by collection."""

REGISTER: dict[str, Any] = {
    "tariffs": {"grid": {"facts": FACTS["tariffs"], "rates": {"2026-01-01": TERMS["tariffs"]}}},
    "materials": {
        "hdpe-flakes": {
            "facts": FACTS["materials"],
            "rates": {"2026-01-01": TERMS["materials"], "2027-01-01": {"price": _eur("0.92")}},
        }
    },
}

EXCHANGE_RATES: dict[str, Any] = {"base": "EUR", "rates": {"GBP": "0.8642", "USD": "1.0853"}}

EXCHANGE_RATES_FILE = "day,base,currency,rate\r\n2026-11-24,EUR,GBP,0.8651\r\n2026-11-25,EUR,GBP,0.8642\r\n"

WHAT_IF: dict[str, Any] = {"quantity": 50, "as_of": "2026-12-01", "rates": {"tariffs/grid": TERMS["tariffs"]}}

REPRICING: dict[str, Any] = {
    "as_of": "2026-12-01",
    "scope": {"resources": ["tariffs/grid"], "channel": "quay-market"},
    "rules": {"least_move_share": "0.01", "greatest_move_share": "0.25"},
    "confirmed": ["sheet-quay"],
}

SHIPPING_ESTIMATE: dict[str, Any] = {
    "service": "parcel-post",
    "zone": "home",
    "as_of": "2026-12-01",
    "lines": [{"product": "sheet", "quantity": 7}],
}

MONTH: dict[str, Any] = {
    "as_of": "2026-12-01",
    "lines": [
        {
            "product": "sheet",
            "standard_batch": 20,
            "pieces": 240,
            "most_per_month": 400,
            "policy": {"target": "margin", "value": "0.35"},
            "tax": "vat-standard",
        },
        {"listing": "sheet-online", "pieces": 60, "most_per_month": 90},
    ],
    "other_fixed_costs": [{"name": "The owner's own pay", "amount": _eur("2400.00"), "kind": "other"}],
    "target_profit": _eur("500.00"),
    "income_tax_share": "0.2",
    "month": "2026-12",
}

QUOTATION: dict[str, Any] = {
    "customer": {"name": "Harbour Garden Trust", "address": "1 Quay Road\nMarrow Bay", "reference": "Order 12"},
    "lines": [
        {
            "product": "sheet",
            "quantity": 20,
            "quantity_breaks": [50, 100],
            "tax": "vat-standard",
            "policy": {"target": "margin", "value": "0.35", "never_below_cost": "full_cost", "price_step": "0.05"},
            "allowances": [{"reason": "First order", "share": "0.02"}],
        }
    ],
    "charges": [{"reason": "Delivery", "tax": "vat-standard", "amount": "40.00"}],
    "delivery": "Three weeks after order.",
}
