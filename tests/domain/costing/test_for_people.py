"""A cost sheet in the digits that people read."""

from decimal import Decimal

import pytest

from service.domain.costing.cost_statement import CostStatement, cost_statement, for_people
from tests.domain.examples import Shop, a_line, a_product, a_shop, an_operation, an_overhead, bench_work, terms_of
from tests.support import builders


def read_by_people(shop: Shop, quantity: int) -> CostStatement:
    return for_people(cost_statement(shop.sheet(quantity), rates_valid_from={}))


def of_flakes(price: str) -> Shop:
    """A product of a kilogram of flakes that costs this."""
    product = a_product(bill_of_materials=[a_line(quantity_per_piece="1")], operations=[])
    terms = terms_of(type(a_shop().terms["materials/hdpe"]), builders.material_rate(price))
    return a_shop(product, terms={"materials/hdpe": terms})


@pytest.mark.parametrize(
    ("price", "shown"),
    [("12.344", "12.34"), ("1", "1.00"), ("0.95449", "0.954"), ("0.012345", "0.0123"), ("0.0000014", "0.000001")],
)
def test_the_cost_of_a_piece_has_cents_and_at_least_three_digits_as_far_as_it_has_them(price: str, shown: str) -> None:
    assert str(read_by_people(of_flakes(price), 1).subtotals.full_cost.per_piece.amount) == shown


def test_the_lines_of_a_piece_add_up_to_every_sum_to_the_cent() -> None:
    pressing = an_operation(yield_share="0.9", tool="mould")
    product = a_product(bill_of_materials=[a_line(reclaim_share="0.8")], operations=[pressing])
    shop = a_shop(product, overheads={"rent": an_overhead()})

    found = read_by_people(shop, 7)

    amounts = [line.amount_per_piece.amount for line in found.lines]
    variable = [line.amount_per_piece.amount for line in found.lines if line.variable]
    assert all(amount == amount.quantize(Decimal("0.01")) for amount in amounts)
    assert sum(amounts) == found.subtotals.full_cost.per_piece.amount
    assert sum(variable) == found.subtotals.variable_cost.per_piece.amount
    assert sum(each.per_piece.amount for each in found.cost_classes.values()) == sum(amounts)


def test_quantities_rates_and_shares_have_the_decimals_that_people_need() -> None:
    product = a_product(bill_of_materials=[a_line(quantity_per_piece="1.23456")], operations=[])

    (line,) = read_by_people(a_shop(product), 3).lines

    assert line.quantity == Decimal("3.704")
    assert line.share_of_full_cost == 1


def test_a_sheet_without_lines_stays_empty() -> None:
    product = a_product(bill_of_materials=[], operations=[bench_work(cycle_minutes="0", setup_minutes="0", labour=[])])

    found = read_by_people(a_shop(product), 3)

    assert found.lines == ()
    assert str(found.subtotals.full_cost.per_piece.amount) == "0.00"
