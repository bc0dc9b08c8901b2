"""Lines of a quotation that are no product: services by the hour, and anything else with a cost of its own."""

from typing import Any

import pytest

from service.domain.quoting.figures import floor_warnings
from service.domain.quoting.quotation import QuotationFigures
from service.domain.values.errors import InvalidValuesError
from tests.domain.examples import D, a_request, euros
from tests.domain.quoting.test_quoted_batches import a_sheet_line, figures
from tests.support import builders

PRESS_WORK = {"name": "Press work", "unit": "hour", "cost": "38.50", "variable_cost": "20"}


def a_service(item: Any = None, **changes: Any) -> dict[str, Any]:
    """An hour of press work at 38.50, sold at 50 an hour."""
    line = {"item": {**PRESS_WORK, **(item or {})}, "quantity": "2.5", "tax": "vat"}
    return {**line, "policy": builders.policy("fixed_price", "50"), **changes}


def of_service(item: Any = None, **changes: Any) -> QuotationFigures:
    return figures(a_service(item, **changes))


def test_is_quoted_alone_by_the_hour_with_its_tax_and_what_is_kept() -> None:
    found = of_service()

    (line,) = found.lines
    assert (line.product, line.description, line.unit, line.quoted.quantity) == (None, "Press work", "hour", D("2.5"))
    assert (line.quoted.unit_price, line.quoted.net_amount) == (euros("50.00"), euros("125.00"))
    assert (found.totals.tax_total, found.totals.payable) == (euros("26.25"), euros("151.25"))
    assert line.quoted.unit_full_cost == euros("38.500000")
    kept = found.kept
    assert (kept.full_cost, kept.variable_cost) == (euros("96.25"), euros("50.00"))
    assert (kept.profit, kept.contribution) == (euros("28.75"), euros("75.00"))


def test_stands_beside_products_and_adds_to_what_they_leave() -> None:
    sheets, both = figures(a_sheet_line()), figures(a_sheet_line(), a_service())

    assert both.totals.tax_exclusive.amount == sheets.totals.tax_exclusive.amount + 125
    assert both.kept.full_cost.amount == sheets.kept.full_cost.amount + D("96.25")


def test_without_a_variable_cost_all_of_it_is_variable() -> None:
    assert of_service({"variable_cost": None}).kept.variable_cost == euros("96.25")


def test_what_it_costs_once_falls_on_each_unit_and_less_on_more_of_them() -> None:
    policy = builders.policy("markup", "0")
    (line,) = of_service({"cost": "30", "cost_once": "25"}, policy=policy, quantity_breaks=["10"]).lines

    (more,) = line.quantity_breaks
    assert (line.quoted.unit_price, more.unit_price) == (euros("40.00"), euros("32.50"))  # 30 + 25 ÷ 2.5; 30 + 25 ÷ 10
    assert more.saving_per_piece == euros("7.50")
    assert line.quoted.kept.profit == more.kept.profit == euros("0.00")


def test_has_allowances_and_a_floor_as_a_product_has() -> None:
    policy = builders.policy("fixed_price", "40", never_below_cost="full_cost")
    found = of_service(policy=policy, allowances=[{"reason": "regular", "amount": "5"}])

    # 2.5 × 40 − 5 brings in 95, and 2.5 × 38.50 = 96.25.
    assert found.lines[0].quoted.below_floor == euros("1.25")
    (warning,) = floor_warnings(found)
    assert "a quantity of 2.5 hours brings in 1.25 EUR less" in warning.text


def test_costs_in_the_workshops_currency_whatever_the_quotations() -> None:
    found = figures(a_service(policy=builders.policy("markup", "0")), currency="USD")

    assert str(found.lines[0].quoted.unit_price.amount) == "48.13"  # 38.50 × 1.25, up to the cent
    assert found.kept.full_cost.amount == D("120.31")  # 96.25 × 1.25


@pytest.mark.parametrize(
    ("line", "path", "told"),
    [
        ({"product": "sheet"}, "product", "either a product or"),
        ({"item": None}, "product", "either a product or"),
        ({"quantity": "2.5001"}, "quantity", "at most 3 decimals"),
        ({"quantity_breaks": ["5", "7.0001"]}, "quantity_breaks", "at most 3 decimals"),
        ({"item": {**PRESS_WORK, "unit": "piece"}}, "quantity", "must be whole"),
        ({"tooling": "this_order"}, "tooling", "of products and work only"),
        ({"supplied_materials": ["hdpe"]}, "supplied_materials", "of products only"),
        ({"automatic_breaks": {"least_fall_share": "0.1", "up_to": 9}}, "automatic_breaks", "products and work only"),
        ({"item": {**PRESS_WORK, "variable_cost": "38.51"}}, "variable_cost", "not be more than the cost"),
    ],
)
def test_what_cannot_be_quoted_is_named(line: Any, path: str, told: str) -> None:
    with pytest.raises(InvalidValuesError) as refused:
        a_request(lines=[{**a_service(), **line}])

    assert [told in each.reason for each in refused.value.problems if path in each.path] == [True]
