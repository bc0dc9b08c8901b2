"""A quotation for a consumer: prices contain the tax, and the total is what they come to, to the cent."""

from typing import Any

import pytest

from service.domain.quoting.quotation import AdjustmentKind, QuotationFigures
from service.domain.values.errors import InvalidValuesError
from tests.domain.examples import D, a_request, euros
from tests.domain.quoting.test_items import a_service
from tests.domain.quoting.test_quoted_batches import SHIPMENT, a_sheet_line, figures
from tests.support import builders


def with_tax(*lines: dict[str, Any], **changes: Any) -> QuotationFigures:
    return figures(*lines, display="tax_inclusive", **changes)


def at(price: str, **changes: Any) -> dict[str, Any]:
    return a_sheet_line(policy=builders.policy("fixed_price", price), **changes)


def test_the_total_is_quantity_times_the_price_that_the_customer_reads() -> None:
    """100 × 0.39 = 39.00; of it 39 × 0.21 ÷ 1.21 = 6.7686, rounded, is tax."""
    found = with_tax(at("0.39"))

    (line,) = found.lines
    assert (line.quoted.unit_price, line.quoted.amount_with_tax) == (euros("0.39"), euros("39.00"))
    totals = found.totals
    assert (totals.line_total, totals.tax_inclusive, totals.payable) == (euros("39.00"),) * 3
    assert (totals.tax_exclusive, totals.tax_total) == (euros("32.23"), euros("6.77"))
    assert line.quoted.net_amount == euros("32.23")
    assert found.kept.profit.amount == D("32.23") - found.kept.full_cost.amount


def test_the_total_without_tax_is_not_the_sum_of_what_each_line_leaves() -> None:
    """The tax is rounded once, on the sum: three lines of 0.39 contain 0.0677 each, and 0.2031 together."""
    found = with_tax(*(at("0.39", quantity=1) for _ in range(3)))

    assert [line.quoted.net_amount for line in found.lines] == [euros("0.32")] * 3
    assert (found.totals.payable, found.totals.tax_total) == (euros("1.17"), euros("0.20"))
    assert found.totals.tax_exclusive == euros("0.97")


def test_a_policy_finds_the_price_with_its_tax_on_the_grid() -> None:
    """0.85 full cost; a markup of nothing needs 0.85 × 1.21 = 1.0285, and the grid has 1.05."""
    policy = builders.policy("markup", "0", price_step="0.05", never_below_cost="full_cost")

    (line,) = with_tax(a_sheet_line(policy=policy)).lines

    assert line.quoted.unit_price == euros("1.05")
    assert line.quoted.below_floor is None


def test_a_floor_is_held_with_the_tax() -> None:
    """0.85 × 1.21 × 100 = 102.85, and 1.02 × 100 − 1 is 1.85 less."""
    policy = builders.policy("fixed_price", "1.02", never_below_cost="full_cost")
    priced = builders.policy("fixed_price", "1.03", never_below_cost="full_cost")
    off = [{"reason": "regular", "amount": "1"}]

    (short,) = with_tax(a_sheet_line(policy={**policy, "never_below_cost": None}, allowances=off)).lines
    (kept,) = with_tax(a_sheet_line(policy=priced, allowances=off)).lines

    assert short.quoted.below_floor is None  # it has none
    assert kept.quoted.below_floor == euros("0.85")  # 103 − 1 against 102.85


def test_tools_shipping_and_charges_are_asked_with_their_tax() -> None:
    tool = a_sheet_line(tooling="charged_once")
    shipping = {"service": "post", "zone": "home", "tax": "vat"}
    net, gross = (
        figures(tool, shipping=shipping, basis={"shipment": SHIPMENT}, display=display)
        for display in ("tax_exclusive", "tax_inclusive")
    )

    for one, other in ((net.lines[0].quoted.charges, gross.lines[0].quoted.charges), (net.charges, gross.charges)):
        assert [each.amount.amount * D("1.21") for each in one] == [each.amount.amount for each in other]
    assert gross.charges[0].kind is AdjustmentKind.SHIPPING
    assert gross.kept.shipping_cost == net.kept.shipping_cost


def test_a_service_is_asked_with_its_tax() -> None:
    (line,) = with_tax(a_service()).lines

    assert (line.quoted.amount_with_tax, line.quoted.net_amount) == (euros("125.00"), euros("103.31"))


@pytest.mark.parametrize(("display", "other"), [("tax_exclusive", "tax_inclusive"), ("tax_inclusive", "tax_exclusive")])
def test_a_policy_cannot_display_otherwise_than_the_quotation(display: str, other: str) -> None:
    with pytest.raises(InvalidValuesError, match=f"must be {display}"):
        a_request(lines=[at("5") | {"policy": builders.policy(display=other)}], display=display)
