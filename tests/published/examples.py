"""Helpers of the published examples: register what the source names, request a sheet, read it as decimals.

What a source does not mention is not registered, or costs nothing, so that nothing else enters its figure.
"""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from tests.conftest import Client
from tests.support.builders import labour_rate, machine_rate, material_rate, money, overhead_rate

DAY = "2026-01-01"
"""The day from which everything is priced, where the source names none."""


def rounded(figure: Decimal, unit: str = "0.01") -> Decimal:
    """A figure as a source prints it, half up."""
    return figure.quantize(Decimal(unit), ROUND_HALF_UP)


def buy(client: Client, code: str, price: str, currency: str = "EUR", **rate: Any) -> None:
    """Register a material that is bought by the piece."""
    terms = material_rate(**rate) | {"price": money(price, currency)}
    client.register(f"materials/{code}", {"name": code, "unit": "piece"}, **{DAY: terms})


def employ(client: Client, code: str, wage: str) -> None:
    """Register a labour grade whose hour costs only the wage."""
    client.register(f"labour-grades/{code}", {"name": code}, **{DAY: labour_rate(wage)})


def absorb(client: Client, code: str, base: str, amount: str, quantity: str, **facts: Any) -> None:
    """Register an overhead pool. A source's yearly cost and volume stand for a month's: the rate is the same."""
    facts = {"name": code, "base": base, **facts}
    client.register(f"overheads/{code}", facts, **{DAY: overhead_rate(amount, quantity)})


def run(client: Client, code: str, **facts: Any) -> None:
    """Register a machine that costs only what pools and tariffs charge for it."""
    terms = machine_rate(replacement_value=money("0", client.workshop.currency), life_years="1")
    client.register(f"machines/{code}", {"name": code, **facts}, **{DAY: terms})


def supply(client: Client, price_per_kwh: str, currency: str = "EUR") -> None:
    """Register an electricity tariff of one band, called grid."""
    terms = {"price_per_kwh": {"all": money(price_per_kwh, currency)}}
    client.register("tariffs/grid", {"name": "grid", "bands": ["all"]}, **{DAY: terms})


def make(
    client: Client, code: str, bill: dict[str, str] | None = None, *operations: dict[str, Any], **facts: Any
) -> None:
    """Register a product: pieces of each material, and operations."""
    lines = [{"material": material, "quantity_per_piece": quantity} for material, quantity in (bill or {}).items()]
    body = {"name": code, "bill_of_materials": lines, "operations": list(operations), **facts}
    client.register(f"products/{code}", body)


def working(hours: str, grade: str, **changes: Any) -> dict[str, Any]:
    """One person's work on a piece."""
    return {
        "name": f"work of {grade}",
        "cycle_minutes": str(Decimal(hours) * 60),
        "labour": [{"labour_grade": grade, "attendance": "1"}],
        **changes,
    }


def spending(client: Client, amount: str, currency: str = "EUR") -> dict[str, Any]:
    """An operation with a fixed cost per batch: an hour's set-up of a machine."""
    terms = machine_rate(replacement_value=money(amount, currency), life_years="1", planned_hours_per_year="1")
    client.register("machines/fixed", {"name": "fixed"}, **{DAY: terms})
    return {"name": "spending", "machine": "fixed", "setup_minutes": "60"}


def asked(client: Client, path: str, **query: Any) -> Any:
    """The answer to a GET that must succeed."""
    response = client.get(path, query_string={"as_of": DAY, **query})
    assert response.status_code == 200, response.json
    return response.json


def cost_sheet(client: Client, code: str, quantity: int | Decimal = 1, **query: Any) -> Any:
    return asked(client, f"products/{code}/cost-sheet", quantity=quantity, **query)


def price_of(client: Client, code: str, quantity: int = 1, **query: Any) -> Any:
    """The price per piece on the price sheet."""
    return asked(client, f"products/{code}/price-sheet", quantity=quantity, **query)["price_per_piece"]


def bill_of(client: Client, code: str, quantity: int = 1) -> Any:
    response = client.get(f"products/{code}/bill-of-resources?quantity={quantity}")
    assert response.status_code == 200, response.json
    return response.json["bill"]


def quantity_of(bill: Any, resource: str) -> Decimal:
    """The quantity of a resource that a batch consumes."""
    return next(Decimal(line["quantity"]) for line in bill["lines"] if line["resource"] == resource)


def amount_of(sheet: Any, resource: str) -> Decimal:
    """The cost of a resource in the batch."""
    return next(amount(line["amount"]) for line in sheet["lines"] if line["resource"] == resource)


def amount(figure: Any) -> Decimal:
    """The amount of a money object in JSON."""
    return Decimal(figure["amount"])


def unit_cost(sheet: Any, subtotal: str = "full_cost") -> Decimal:
    return amount(sheet["subtotals"][subtotal]["per_piece"])


def batch_cost(sheet: Any, subtotal: str = "full_cost") -> Decimal:
    return amount(sheet["subtotals"][subtotal]["per_batch"])


def unit_rates(client: Client) -> dict[str, Decimal]:
    """The cost of a unit of every resource, from the rate card."""
    return {
        unit["resource"]: Decimal(unit["amount"])
        for rate in asked(client, "rate-card")["rates"]
        for unit in rate["unit_rates"]
    }


def components_of(client: Client, resource: str) -> dict[str, Decimal]:
    """The components of a resource's unit rate, by name."""
    (unit,) = (
        unit
        for rate in asked(client, "rate-card")["rates"]
        for unit in rate["unit_rates"]
        if unit["resource"] == resource
    )
    return {name: Decimal(figure) for name, figure in unit["components"].items()}


def month(client: Client, fixed_cost: str | None, *lines: dict[str, Any], **plan: Any) -> Any:
    """The break-even answer for a month's plan whose only other fixed cost is this one."""
    others = [] if fixed_cost is None else [{"name": "fixed", "amount": money(fixed_cost)}]
    response = client.post("break-even", {"as_of": DAY, "lines": lines, "other_fixed_costs": others, **plan})
    assert response.status_code == 200, response.json
    return response.json


def sold(product: str, pieces: int, price: str, **changes: Any) -> dict[str, Any]:
    """A line of a plan: a number of pieces at a price without tax."""
    return {"product": product, "standard_batch": 1, "pieces": pieces, "price": price, **changes}
