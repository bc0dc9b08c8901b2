"""What a month rests on, what it takes and what an hour of it earns, as text with as many digits as people read."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.client.text.figures import amount, hours, quantity, stated_share
from service.client.text.terminal import isolated

Month = Mapping[str, Any]
_UNITS = {"piece": "", "m2": " m²"}


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
    materials = [
        (isolated(each["name"]), *(_in_units(each, name) for name in ("issued", "reclaimed", "net")))
        for each in used["materials"]
    ]
    if materials:
        yield "Materials", [("material", "issued", "comes back", "used up"), *materials], 3
    rows = [(isolated(each["name"]), f"{quantity(each['kwh'])} kWh") for each in used["electricity"]]
    rows += [(isolated(each["name"]), f"{hours(each['hours'])} h") for each in used["labour"]]
    if rows:
        yield "Electricity and work", [("what", "the plan takes"), *rows], 1


def _in_units(material: Month, name: str) -> str:
    return quantity(material[name]) + _UNITS.get(material["unit"], f" {material['unit']}")


def _aged(days: int) -> str:
    return f", {_days(days)} old" if days else ""


def _days(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"
