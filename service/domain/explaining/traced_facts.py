"""Facts and terms with traced figures, so that costing leaves its formulas."""

from collections.abc import Callable, Mapping
from copy import copy
from dataclasses import fields, is_dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Any, TypeVar

from service.domain.costing.rates import Convert
from service.domain.currency.exchange_rates import DayRates
from service.domain.values.money import Money, in_currency
from service.domain.values.traced import Traced

T = TypeVar("T")


def with_traced_figures(value: T, label: str = "", names: Mapping[str, str] = MappingProxyType({})) -> T:
    """A copy of facts or terms with every figure traced, labelled with the name of its field; not checked again.

    Args:
        names: labels for some fields in place of their names.
    """
    made: Any = value
    match made:
        case Traced() | bool() | str() | None:
            return value
        case Decimal() | int():
            made = Traced(made, label=label)
        case Money():
            made = in_currency(Traced(made.amount, label=label), made.currency)
        case tuple():
            made = tuple(with_traced_figures(each, label, names) for each in made)
        case Mapping():
            made = {key: with_traced_figures(each, label, names) for key, each in made.items()}
        case _ if is_dataclass(made):
            made = copy(made)
            for field in fields(made):
                label = names.get(field.name, field.name)
                object.__setattr__(made, field.name, with_traced_figures(getattr(made, field.name), label, names))
    found: T = made
    return found


def traced_conversion(day_for: Callable[[str, str], DayRates], currency: str) -> Convert:
    """Converts into the currency as costing does, with traced exchange rates of the day for two currencies."""

    def converted(money: Money) -> Decimal:
        if money.currency == currency:
            return money.amount
        day = copy(day_for(money.currency, currency))
        rates = {
            code: Traced(rate, label=f"{code} for 1 {day.base}")
            for code, rate in day.rates.items()
            if code in (money.currency, currency)
        }
        object.__setattr__(day, "rates", rates)
        return day.converted(money, currency)

    return converted
