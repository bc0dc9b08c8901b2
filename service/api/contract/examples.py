"""Examples of the contract: what one sends, in the order of the contract, so that each works on what came before.

Facts and terms are those of the demo workshop, so on that they change nothing. What is deleted is called `SPARE`.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

DAY = "2026-11-25"
"""The day on which the examples are sent when their answers are recorded."""
FIRST_DAY, SPARE, SPARE_DAY = "2025-01-01", "spare", "2030-01-01"
NEWEST = "newest"

_FILE = json.loads((Path(__file__).parent / "examples.json").read_text("utf-8"))
FACTS: dict[str, dict[str, Any]] = _FILE["facts"]
"""By collection and code."""
TERMS: dict[str, dict[str, Any]] = _FILE["terms"]
"""By collection and code, from `FIRST_DAY` on."""


def _eur(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "EUR"}


_POLICY = {"target": "margin", "value": "0.30", "never_below_cost": "full_cost", "price_step": "0.05"}
_DEARER: dict[str, Any] = {**TERMS["tariffs"]["grid"], "price_per_kwh": {"day": _eur("0.39"), "night": _eur("0.24")}}

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

REGISTER: dict[str, Any] = {
    name: {code: {"facts": FACTS[name][code], "rates": {FIRST_DAY: TERMS[name][code]}}}
    for name, code in (("tariffs", "grid"), ("materials", "hdpe-crates"))
}

EXCHANGE_RATES: dict[str, Any] = {"base": "EUR", "rates": {"CHF": "0.9350", "GBP": "0.8640", "JPY": "172.30"}}

REFRESH: dict[str, Any] = {"latest": {"span": "latest"}, "90 days": {"span": "90-days"}}
EXCHANGE_RATES_FILE = "day,base,currency,rate\r\n2026-11-24,EUR,GBP,0.8651\r\n2026-11-25,EUR,GBP,0.8642\r\n"

WHAT_IF: dict[str, Any] = {"quantity": 500, "rates": {"tariffs/grid": _DEARER}}

_RULES = {"least_move_share": "0.001", "greatest_move_share": "0.25"}
REPRICING: dict[str, Any] = {
    "preview": {"rates": {"tariffs/grid": _DEARER}, "rules": _RULES},
    "apply": {"scope": {"resources": ["tariffs/grid"]}, "rules": _RULES, "apply": True},
}

SHIPPING_ESTIMATE: dict[str, Any] = {
    "service": "parcels",
    "zone": "home",
    "lines": [{"product": "brick", "quantity": 12}],
}

PERIOD: dict[str, Any] = {
    "first_day": "2026-11-01",
    "last_day": "2026-11-24",
    "incurred": {"overheads/premises": _eur("655.00")},
}

MONTH: dict[str, Any] = {
    "lines": [
        {
            "product": "brick",
            "standard_batch": 500,
            "pieces": 1000,
            "most_per_month": 2000,
            "policy": _POLICY,
            "tax": "standard",
        },
        {"listing": "brick-stall", "pieces": 500, "most_per_month": 900},
    ],
    "other_fixed_costs": [{"name": "Place on the Saturday market", "amount": _eur("65.00")}],
    "target_profit": _eur("600.00"),
    "income_tax_share": "0.20",
}

ISSUE: dict[str, Any] = {"plainly": {}, "below its floor": {"below_floor": "accepted"}}

QUOTATION: dict[str, Any] = {
    "customer": {"name": "Harbour Garden Trust", "address": "Pier 4\nPort Quillan", "reference": "Beds 14 to 20"},
    "lines": [
        {
            "product": "brick",
            "quantity": "500",
            "tax": "standard",
            "policy": _POLICY,
            "allowances": [{"reason": "First order", "share": "0.02"}],
        }
    ],
    "charges": [{"reason": "Delivery", "tax": "standard", "amount": "40.00"}],
    "delivery": "Three weeks after order.",
}
_SHREDDING = {
    "machine": "granulator",
    "labour": [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.5"}],
    "units_per_hour": "60",
    "setup_minutes": "15",
    "band_shares": {"day": "1"},
}
_MARKED_UP = {"tax": "standard", "policy": {"target": "markup", "value": "0.25"}}
PREVIEW: dict[str, Any] = {
    "work, a bought part and a free line": {
        "customer": QUOTATION["customer"],
        "lines": [
            {
                "item": {"name": "Shredding, your crates", "unit": "kg", "work": _SHREDDING},
                "quantity": "137.5",
                **_MARKED_UP,
            },
            {
                "item": {"name": "Steel hinge", "purchase": {"price": {"amount": "1.20", "currency": "CHF"}}},
                "quantity": "40",
                **_MARKED_UP,
            },
            {"item": {"name": "Fitting on site", "unit": "hour", "cost": "38.50"}, "quantity": "2.5", **_MARKED_UP},
        ],
    },
    "a batch of a product": QUOTATION,
}


BATCH_RECORDS: dict[str, dict[str, Any]] = {
    "2026-31": {
        "product": "brick",
        "made_on": DAY,
        "good_units": "488",
        "units_started": "520",
        "materials": [{"material": "hdpe-crates", "issued": "496"}],
        "operations": [{"operation": "extruding", "minutes": "1700", "scrap": "22"}],
        "labour": [{"labour_grade": "operator", "hours": "22.5"}],
        "electricity": [{"tariff": "grid", "meter_begin": "18204", "meter_end": "18466"}],
        "note": "Damp flakes",
    },
    SPARE: {"product": "brick", "made_on": DAY, "good_units": "100"},
}
"""By code: one of which much was counted, and one of which nobody counted anything but bricks."""
RECORDS: dict[str, Any] = {
    "records": [
        {
            "code": code,
            "product": "brick",
            "made_on": DAY,
            "good_units": "500",
            "operations": [{"operation": "extruding", "minutes": minutes}],
        }
        for code, minutes in (("2026-35", "1640"), ("2026-36", "1655"), ("2026-37", "1632"), ("2026-38", "1649"))
    ]
}
RECORDS_FILE = "code,product,made_on,good_units,operations/extruding/minutes\r\n2026-33,brick,2026-11-25,492,1640\r\n"
LEARNING: dict[str, Any] = {
    "preview": {"first_day": "2026-11-01", "without_outliers": True},
    "apply": {"facts": [{"fact": "units_per_hour", "item": "extruding"}], "apply": True},
}
RECORD_OF_QUOTATION: dict[str, Any] = {
    "code": "2026-34",
    "product": "brick",
    "made_on": DAY,
    "good_units": "500",
    "operations": [{"operation": "extruding", "minutes": "1740", "scrap": "26"}],
}


def values_sent(name: str, operation_id: str, template: str, method: str) -> Sequence[Any]:
    """Values of a parameter with which the operation can be tried at once; none if it is better left out."""
    collection = template.split("/")[2] if template.startswith("/v1/") else ""
    is_of_rate, codes = template.endswith("{day}"), [*_CODES.get(collection, FACTS.get(collection, ()))]
    by_method: dict[tuple[str, str], Sequence[Any]] = {
        ("code", "put"): codes if is_of_rate else [*dict.fromkeys([*codes, SPARE])],
        ("code", "delete"): codes[:1] if is_of_rate else [SPARE],
        ("code", ""): codes[:1],
        ("day", "put"): [FIRST_DAY, SPARE_DAY],
        ("day", "delete"): [SPARE_DAY],
        ("day", ""): [FIRST_DAY],
    }
    found = _SENT_BY.get(operation_id, {}).get(name) or by_method.get((name, method)) or by_method.get((name, ""))
    return found or _SENT.get(name, ())


_CODES = {"batch-records": [*BATCH_RECORDS]}
"""Of what has codes without being registered."""
_SENT: dict[str, Sequence[Any]] = {"quantity": [500], "quotation_id": [NEWEST], "repricing_id": [NEWEST]}
_SENT_BY: dict[str, dict[str, Sequence[Any]]] = {
    "putExchangeRates": {"day": [DAY, "2026-11-20"]},
    "getExchangeRates": {"day": [DAY]},
    "importExchangeRates": {"source": ["customs"]},
    "withdrawExchangeRates": {"day": ["2026-11-20"]},
    "getHeldExchangeRates": {"day": [DAY]},
    "confirmExchangeRates": {"day": ["2026-11-24"]},
    "dropHeldExchangeRates": {"day": [DAY]},
    "convertAmount": {"amount": ["10.85"], "currency": ["GBP"], "to": ["EUR"]},
    "listChanges": {"subject": ["taxes"]},
    "getProductVariances": {"code": ["brick"]},
    "getLearning": {"code": ["brick"]},
    "learn": {"code": ["brick"], "Idempotency-Key": ['"learn-1"']},
    "undoLearning": {"code": ["brick"]},
    "getPriceSheet": {"target": ["margin"], "value": ["0.30"], "tax": ["standard"], "price_step": ["0.05"]},
    "reprice": {"Idempotency-Key": ['"reprice-1"']},
    "repriceCsv": {"Idempotency-Key": ['"reprice-2"']},
    "repriceNdjson": {"Idempotency-Key": ['"reprice-3"']},
    "createQuotation": {"Idempotency-Key": [f'"quotation-{each}"' for each in (1, 2, 3)]},
    "discardQuotation": {"quotation_id": ["draft"]},
    "issueQuotation": {"quotation_id": ["draft"]},
    "acceptQuotation": {"quotation_id": ["issued"]},
    "declineQuotation": {"quotation_id": ["issued"]},
    "completeQuotation": {"quotation_id": ["accepted"]},
    "reviseQuotation": {"quotation_id": ["declined"], "Idempotency-Key": ['"quotation-4"']},
}

SAMPLES: dict[str, Any] = {
    "action": "registered",
    "as_of": DAY,
    "base_quantity": 1,
    "by": "command line",
    "channel": "saturday-stall",
    "code": "grid",
    "columns": 3,
    "copies": 2,
    "cost_basis": "full_cost",
    "currency": "EUR",
    "cursor": "cyXOqlEw0Ebg8SBPfbqoFVsiYnJpY2siXQ",
    "discount_share": "0.10",
    "correct": False,
    "display": "tax_inclusive",
    "dry_run": True,
    "gap_x_mm": "2.5",
    "gap_y_mm": "0",
    "first_day": "2026-11-01",
    "is_rush": False,
    "kept_at": "4.00",
    "last_day": DAY,
    "limit": 100,
    "locale": "de_DE",
    "margin_x_mm": "7",
    "margin_y_mm": "15",
    "never_below_amount": "3.50",
    "pieces_per_order": 12,
    "never_below_cost": "full_cost",
    "price_endings": ["0.49", "0.99"],
    "price_step": "0.05",
    "prices": "in_force",
    "product": "brick",
    "prune": False,
    "rounding": "nearest",
    "rows": 8,
    "shipping_service": "parcels",
    "shipping_zone": "home",
    "since": "2026-11-01",
    "skip": 4,
    "source": "ECB",
    "starting_on": DAY,
    "status": "issued",
    "subject": "tariffs/grid",
    "target": "margin",
    "tax": "standard",
    "until": DAY,
    "value": "0.30",
    "weeks": 4,
    "without_outliers": True,
    "If-Match": '"3"',
    "If-None-Match": '"3"',
    "Idempotency-Key": '"8e03978e-40d5-43e8-bc93-6894a57f9324"',
}
"""A value of each parameter that is left out at first."""
