"""What a month rests on, what it takes and what an hour of it earns, as text with as many digits as people read."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.client.text.figures import NOTHING, amount, hours, quantity, stated_share
from service.client.text.month_units import in_unit
from service.client.text.terminal import isolated

Month = Mapping[str, Any]


def rests_on(month: Month) -> Iterator[str]:
    """The month of the calendar, the exchange rates and what is supposed, as far as they apply."""
    if (period := month["period"]) is not None:
        closed = f"closed on {_days(period['days_closed'])}, {quantity(month['weeks'])} working weeks"
        yield f"From {period['first_day']} to {period['last_day']}, {closed}."
    if month["exchange_rates"]:
        used = "; ".join(
            f"{isolated(each['source'])} of {each['published_on']}{_aged(each['age_days'])}"
            for each in month["exchange_rates"]
        )
        is_later = month["converted_on"] < month["as_of"]  # dates of ISO 8601 sort as texts
        known = f"No exchange rates of {month['as_of']} are known yet; the last ones are used" if is_later else ""
        yield f"{known or 'Exchange rates'}: {used}."
    if month["supposed"]:
        yield f"Supposed, not registered, are rates or facts of: {', '.join(month['supposed'])}."


def earned(month: Month) -> Iterator[tuple[str, str]]:
    """The profit after an income tax, and what an hour of work earns, as far as they are known."""
    currency = month["currency"]
    if (taxed := month["after_income_tax"]) is not None:
        told = f"after income tax of {stated_share(taxed['income_tax_share'])}, an illustration; ask a tax adviser"
        yield told, taxed["profit_after_tax"]["amount"]
    used = month["resources_used"]
    for name in ("contribution", "profit"):
        if (earns := used[f"{name}_per_hour_worked"]) is not None:
            told = f"{name} an hour worked ({hours(used['hours_worked'])} hours)"
            yield told, amount(earns["amount"], currency)


def taken(month: Month) -> Iterator[tuple[str, Sequence[Sequence[str]], int]]:
    """Tables of materials, electricity and work: heading, rows and columns of figures; none of what is not taken."""
    used = month["resources_used"]
    columns = {"issued": "issued", "reclaimed": "comes back", "net": "used up"}
    if any(Decimal(each["disposed"]) for each in used["materials"]):
        columns["disposed"] = "to be disposed of"
    materials = [
        (isolated(each["name"]), *(_taken(each[name], each["unit"]) for name in columns)) for each in used["materials"]
    ]
    if materials:
        yield "Materials", [("material", *columns.values()), *materials], len(columns)
    if paid := [row for each in used["materials"] if (row := _paid(each))]:
        yield "Paid for taking materials, and for getting rid of waste", [("material", "to you", "by you"), *paid], 2
    rows = [(isolated(each["name"]), f"{quantity(each['kwh'])} kWh") for each in used["electricity"]]
    rows += [(isolated(each["name"]), f"{hours(each['hours'])} h") for each in used["labour"]]
    if rows:
        yield "Electricity and work", [("what", "the plan takes"), *rows], 1


def _taken(figure: str, unit: str) -> str:
    """A quantity; more of a material may come back, of others too, than is issued."""
    return f"{in_unit(figure.removeprefix('-'), unit)} gained" if Decimal(figure) < 0 else in_unit(figure, unit)


def _paid(material: Month) -> tuple[str, str, str] | None:
    """The gate fee of a material and the cost of its disposal; None if there is neither."""
    amounts = (material["gate_fee"], material["disposal_cost"])
    fee, cost = (NOTHING if each is None else each["amount"] for each in amounts)
    is_paid = any(each is not None and Decimal(each["amount"]) for each in amounts)
    return (isolated(material["name"]), fee, cost) if is_paid else None


def _aged(days: int) -> str:
    return f", {_days(days)} old" if days else ""


def _days(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"
