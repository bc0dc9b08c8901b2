"""Entries at the limits of their lists, for what measures the largest requests."""

from collections.abc import Iterator
from typing import Any

DAY = "2026-01-01"
FEES, BANDS = 50, 50
POLICY = {"target": "margin", "value": "0.31", "never_below_cost": "full_cost"}
Put = tuple[str, Any]


def money(amount: str) -> dict[str, str]:
    """An amount in the workshop's currency."""
    return {"amount": amount, "currency": "EUR"}


def rated(path: str, facts: Any, terms: Any) -> Iterator[Put]:
    """Facts and a rate."""
    yield path, facts
    yield f"{path}/rates/{DAY}", terms


def fee(number: int) -> dict[str, Any]:
    """A fee whose bands begin at different prices than any other's."""
    ends = [f"{(each + 1) * 7 + number / 64}" for each in range(BANDS - 1)]
    bands = [
        {"above": above, **({"up_to": up_to} if up_to else {}), "share": f"0.00{each % 7 + 1}"}
        for each, (above, up_to) in enumerate(zip(["0", *ends], [*ends, None], strict=True))
    ]
    return {
        "name": f"fee {number}",
        "bands": bands,
        "banding": "portion",
        "minimum": f"0.0{number % 9 + 1}",
        "maximum": "9",
    }
