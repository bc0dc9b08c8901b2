"""Request bodies; every member has a default."""

from base64 import b64encode
from typing import Any

from tests.support.furnishing import furnishes


class CsvFile(str):
    """A request body in CSV."""

    media_type = "text/csv"


def money(amount: str, currency: str = "EUR") -> dict[str, str]:
    return {"amount": amount, "currency": currency}


LOGO = b64encode(
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10"><path d="M0 0h30v10h-30z" fill="#157"/></svg>'
).decode()


def seller(**changes: Any) -> dict[str, Any]:
    address = {"street": "1 Kiln Lane\nThe yard", "post_code": "1010", "city": "Marrow Bay", "country": "AT"}
    return {
        "name": "Kiln Lane Workshop",
        "address": address,
        "contact": "The order desk",
        "telephone": "+43 1 555 01",
        "email": "desk@kiln.example",
        "url": "https://kiln.example",
        "vat_number": "GB 000 000 000",
        "tax_number": "12 345/6789",
        "electronic_address": {"scheme": "EM", "address": "papers@kiln.example"},
        "account": {"iban": "IE10 PLNK 9999 0000 0012 34", "bic": "PLNKIE2D", "holder": "Kiln Lane"},
        "logo": LOGO,
        "terms": "Goods stay ours until they are paid for.",
        "foot": "Registered in Marrow Bay",
        **changes,
    }


def material(**changes: Any) -> dict[str, Any]:
    return {"name": "HDPE flakes", "unit": "kg", "polymer": "HDPE", **changes}


def material_rate(price: str = "0.80", **changes: Any) -> dict[str, Any]:
    return {"price": money(price), **changes}


def machine(**changes: Any) -> dict[str, Any]:
    return {"name": "Sheet press", "rated_power_kw": "12", "load_factor": "0.6", "tariff": "grid", **changes}


def machine_rate(**changes: Any) -> dict[str, Any]:
    return {"replacement_value": money("24000"), "life_years": "10", "planned_hours_per_year": "1600", **changes}


def tariff(**changes: Any) -> dict[str, Any]:
    return {"name": "Grid", "bands": ["day", "night"], **changes}


def tariff_rate(day: str = "0.30", night: str = "0.18", **changes: Any) -> dict[str, Any]:
    return {"price_per_kwh": {"day": money(day), "night": money(night)}, **changes}


def labour_rate(wage: str = "15", **changes: Any) -> dict[str, Any]:
    return {"wage_per_hour": money(wage), **changes}


def overhead_rate(amount: str = "600", base: str = "200", **changes: Any) -> dict[str, Any]:
    return {"amount_per_month": money(amount), "base_per_month": base, **changes}


def operation(**changes: Any) -> dict[str, Any]:
    return {
        "name": "pressing",
        "machine": "press",
        "setup_minutes": "20",
        "cycle_minutes": "40",
        "yield_share": "0.95",
        "labour": [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.25"}],
        "band_shares": {"day": "0.7", "night": "0.3"},
        **changes,
    }


def product(**changes: Any) -> dict[str, Any]:
    return {
        "name": "Sheet",
        "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "9.6"}],
        "operations": [operation()],
        **changes,
    }


def policy(target: str = "margin", value: str = "0.35", **changes: Any) -> dict[str, Any]:
    return {"target": target, "value": value, **changes}


def fee(**changes: Any) -> dict[str, Any]:
    return {"name": "commission", "share": "0.065", **changes}


def channel(**changes: Any) -> dict[str, Any]:
    return {"name": "Lantern Quay market", "display": "tax_inclusive", **changes}


def channel_rate(**changes: Any) -> dict[str, Any]:
    fees = [fee(), fee(name="payment", base="gross_with_shipping", share="0.019", fixed="0.30")]
    return {"currency": "EUR", "fees": fees, **changes}


def listing(**changes: Any) -> dict[str, Any]:
    return {
        "product": "sheet",
        "channel": "quay-market",
        "currency": "EUR",
        "locale": "en_IE",
        "policy": policy(),
        "standard_batch": 20,
        "tax": "vat",
        **changes,
    }


def quotation(**changes: Any) -> dict[str, Any]:
    return {
        "customer": {"name": "Harbour Garden Trust"},
        "lines": [{"product": "sheet", "quantity": 20, "tax": "vat", "policy": policy()}],
        **changes,
    }


def planned(**changes: Any) -> dict[str, Any]:
    return {"product": "sheet", "standard_batch": 20, "pieces": 100, "policy": policy(), "tax": "vat", **changes}


def batch_record(**counted: Any) -> dict[str, Any]:
    issued = {"material": "hdpe", "issued": "195.5"}
    return {"product": "sheet", "made_on": "2026-11-25", "good_units": 19, "materials": [issued], **counted}


def month_plan(**changes: Any) -> dict[str, Any]:
    return {"as_of": "2026-11-25", "lines": [planned()], **changes}


def a_box(
    code: str = "carton", inner: str = "600 400 400", outer: str = "610 410 420", **changes: Any
) -> dict[str, Any]:
    sides = ("length_mm", "width_mm", "height_mm")
    return {
        "code": code,
        **{f"inner_{side}": length for side, length in zip(sides, inner.split(), strict=True)},
        **dict(zip(sides, outer.split(), strict=True)),
        "mass_kg": "0.8",
        **changes,
    }


def a_pallet(code: str = "euro", **changes: Any) -> dict[str, Any]:
    base = {"length_mm": "1200", "width_mm": "800", "height_mm": "144"}
    return {"code": code, **base, "max_height_mm": "1800", "mass_kg": "25", **changes}


def shipping_service(**changes: Any) -> dict[str, Any]:
    return {"name": "Parcel post", "boxes": [a_box()], **changes}


def weight_class(above: str, up_to: str, price: str, currency: str = "EUR", **changes: Any) -> dict[str, Any]:
    return {"above_kg": above, "up_to_kg": up_to, "price": money(price, currency), **changes}


def shipping_rate(**changes: Any) -> dict[str, Any]:
    home = [weight_class("0", "2", "5"), weight_class("2", "10", "8"), weight_class("10", "31.5", "14")]
    return {"zones": {"home": home}, "divisor_cm3_per_kg": "5000", "weight_step_kg": "0.5", **changes}


def measured(**changes: Any) -> dict[str, Any]:
    """A product that can be shipped: a brick of 1.6 kg."""
    sides = {"length_mm": "240", "width_mm": "120", "height_mm": "60"}
    return product(**{"name": "Brick", "mass_kg": "1.6", **sides, **changes})


def shipping_question(product: str = "brick", quantity: int | str = 1, **changes: Any) -> dict[str, Any]:
    lines = [{"product": product, "quantity": quantity}]
    return {"service": "post", "zone": "home", "as_of": "2026-11-25", "lines": lines, **changes}


@furnishes
def register_shipping(client: Any, service: Any = None, rate: Any = None, **brick: Any) -> None:
    """A shipping service called post and, beside the workshop's things, a product called brick."""
    register_workshop(client)
    client.register("products/brick", measured(**brick))
    client.register("shipping-services/post", service or shipping_service(), **{"2026-01-01": rate or shipping_rate()})


@furnishes
def register_workshop(client: Any) -> None:
    """A tariff, a press, an operator, flakes, rent, a tax, a sales channel and a sheet, all priced from 2026 on."""
    day = "2026-01-01"
    client.register("tariffs/grid", tariff(), **{day: tariff_rate()})
    client.register("machines/press", machine(), **{day: machine_rate()})
    client.register("materials/hdpe", material(), **{day: material_rate()})
    client.register("labour-grades/operator", {"name": "Operator"}, **{day: labour_rate()})
    client.register("overheads/rent", {"name": "Rent", "base": "machine_hour"}, **{day: overhead_rate()})
    client.register("taxes/vat", {"name": "VAT 21 %"}, **{day: {"rate_share": "0.21"}})
    client.register("channels/quay-market", channel(), **{day: channel_rate()})
    client.register("products/sheet", product())
