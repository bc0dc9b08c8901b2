"""Taxes: their names against their rates."""

from decimal import Decimal

import pytest

from service.domain.selling.taxes import Tax, misnamed


@pytest.mark.parametrize(
    ("name", "share", "is_told"),
    [
        ("VAT 21 %", "0.21", False),
        ("VAT 21 %", "0.25", True),
        ("VAT 21.0%", "0.21", False),
        ("MwSt. 8,1\u00a0%", "0.081", False),
        ("MwSt. 8,1\u00a0%", "0.077", True),
        ("KDV %20", "0.2", False),
        ("KDV %20", "0.1", True),
        ("VAT 19 % (7 % on books)", "0.07", False),
        ("VAT of 2021", "0.21", False),
        ("Standard rate", "0.21", False),
        ("", "0.21", False),
        ("Exempt, 0 %", "0", False),
        ("Exempt, 19 %", "0", True),
    ],
)
def test_a_name_that_holds_other_percentages_than_the_rate_is_told(name: str, share: str, *, is_told: bool) -> None:
    found = list(misnamed(name, Decimal(share)))

    assert [(each.code, each.product) for each in found] == [("tax-name", None)] * is_told
    assert all(each.text.facts["tax"] == name for each in found)


def test_a_tax_needs_no_name() -> None:
    assert Tax().name == ""
