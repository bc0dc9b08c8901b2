"""Figures of answers as the commands print them, rounded by the domain, not by the commands."""

from decimal import Decimal

from service.domain.values.exact import half_up
from service.domain.values.money import readable_decimals


def percentage(share: str) -> str:
    """A share in tenths of a percent."""
    return f"{half_up(Decimal(share) * 100, 1)} %"


def readable_amount(money: dict[str, str]) -> str:
    """An amount with as many decimals as people read."""
    amount = Decimal(money["amount"])
    given = -int(amount.as_tuple().exponent)
    return str(half_up(amount, min(given, readable_decimals(amount, money["currency"]))))


def readable_money(money: dict[str, str]) -> str:
    """An amount with its currency."""
    return f"{readable_amount(money)} {money['currency']}"
