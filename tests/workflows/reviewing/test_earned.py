"""What batches earned that were made for quotations: the same as quoted, but for what really happened."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import pytest

from service.domain.records.batch_record import BatchRecord
from service.domain.reviewing.earned import EarnedStatement
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded
from service.store.quoting.quotations import Quotation
from service.store.records.batch_records import ChosenRecords
from service.workflows.quoting import quotation_life
from service.workflows.records.recording import CodedRecord
from service.workflows.reviewing.period import variances_of_product
from service.workflows.reviewing.variances import variances_of_record
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.builders import money
from tests.workflows.owner import Owner

HINGE = {"product": "hinge", "quantity": 60, "tax": "vat", "policy": builders.policy("markup", "0.5")}
SHEETS = builders.quotation()["lines"][0]
ON_THE_WHOLE = {
    "allowances": [{"reason": "Regular customer", "share": "0.05", "tax": "vat"}],
    "charges": [{"reason": "A wooden crate", "amount": "18.50", "tax": "vat"}],
}


@pytest.fixture
def moulding(furnished: Owner) -> Owner:
    """Sheets and hinges that take one mould, a pool spread over orders, and dollars."""
    day = "2026-01-01"
    terms = {"cost": money("3000"), "life_shots": "60000"}
    furnished.register("tools/mould", {"name": "Mould"}, **{day: terms})
    order = {"name": "Paperwork", "base": "order"}
    furnished.register("overheads/paperwork", order, **{day: builders.overhead_rate("400", "20")})
    step = builders.operation(tool="mould")
    furnished.put("products/sheet", builders.product(operations=[step]))
    hinge = builders.product(
        name="Hinge", operations=[step], bill_of_materials=[{"material": "hdpe", "quantity_per_piece": "0.2"}]
    )
    furnished.put("products/hinge", hinge)
    furnished.put_exchange_rates("2026-11-25", USD="1.16")
    return furnished


def completed(owner: Owner, *records: dict[str, Any], code: str = "B", **quotation: Any) -> Quotation:
    """A quotation that was accepted, and completed with these records: B-1, B-2 …"""
    accepted = owner.accepted(**quotation)
    made = [builders.batch_record(**{"made_on": TODAY.isoformat(), "materials": [], **each}) for each in records]
    coded = [CodedRecord(f"{code}-{place}", decoded(each, BatchRecord)) for place, each in enumerate(made, start=1)]
    return quotation_life.complete(owner.workspace, accepted.id, coded)


def earned_by(owner: Owner, code: str = "B-1") -> EarnedStatement:
    found = variances_of_record(owner.workspace, code).statement.earned
    assert found is not None
    return found


def profit_of(owner: Owner, codes: Sequence[str]) -> Decimal:
    return sum((earned_by(owner, code).profit.amount for code in codes), Decimal())


@pytest.mark.parametrize(
    "quotation",
    [
        {},
        {"lines": [SHEETS, HINGE], **ON_THE_WHOLE},
        {"lines": [{**SHEETS, "tooling": "this_order"}, {**HINGE, "tooling": "charged_once"}]},
        {"lines": [{**SHEETS, "tooling": "charged_once"}, HINGE]},
        {"lines": [{**SHEETS, "supplied_materials": ["hdpe"]}, {**HINGE, "supplied_quantities": {"hdpe": "5"}}]},
        {"lines": [{**SHEETS, "base_quantity": 12}], "display": "tax_inclusive"},
        {"lines": [SHEETS, HINGE], "rush_charge": {"share": "0.1", "tax": "vat", "reason": "Express"}},
        {"lines": [SHEETS], "minimum_order": {"amount": "2000", "tax": "vat"}},
    ],
    ids=["plain", "on the whole", "mould in one price", "mould beside", "supplied", "per twelve", "rush", "minimum"],
)
def test_what_was_made_as_estimated_earns_what_was_quoted(moulding: Owner, quotation: dict[str, Any]) -> None:
    lines = quotation.get("lines", [SHEETS])
    made = completed(
        moulding, *({"product": each["product"], "good_units": each["quantity"]} for each in lines), **quotation
    )

    earned = [earned_by(moulding, f"B-{place}") for place in range(1, len(lines) + 1)]

    assert made.acceptance is not None
    total = sum(each.profit.amount for each in earned)
    assert abs(total - made.acceptance.kept.profit.amount) <= Decimal("0.01") * len(lines)
    for each in earned:
        assert abs(each.profit.amount - each.quoted_profit.amount) <= Decimal("0.01")
    assert {each.quotation for each in earned} == {made.number}


def test_what_cost_more_is_earned_less(moulding: Owner) -> None:
    """19 of 20 sheets came out, which the customer gets and pays, of 199 kg and not 20 × 9.6 = 192 at 0.80."""
    made = completed(
        moulding, {"units_started": 20, "good_units": 19, "materials": [{"material": "hdpe", "issued": "199"}]}
    )

    found, statement = earned_by(moulding), variances_of_record(moulding.workspace, "B-1").statement

    assert made.acceptance is not None
    assert found.cost == statement.actual_cost
    assert found.net_amount.amount == round(made.acceptance.totals.tax_exclusive.amount * 19 / 20, 2)
    assert found.profit.amount == found.net_amount.amount - found.cost.amount
    assert found.profit.amount < found.quoted_profit.amount
    assert found.units_sold == 19


def test_what_the_order_does_not_take_stays_in_stock_at_its_cost(moulding: Owner) -> None:
    completed(moulding, {"good_units": 15}, {"good_units": 10})

    first, second = earned_by(moulding, "B-1"), earned_by(moulding, "B-2")

    assert (first.units_sold, second.units_sold) == (12, 8)
    actual = variances_of_record(moulding.workspace, "B-1").statement.actual_cost
    assert first.cost.amount == round((actual.amount - 10) * 20 / 25 + 12, 2)  # the order pays its paperwork of 20 once
    assert first.text.startswith("Made for Q000001, which takes 12 of 15 pieces: they bring ")


@pytest.mark.parametrize("tooling", ["this_order", "charged_once"])
def test_an_order_pays_a_mould_and_its_paperwork_once_however_much_is_made(moulding: Owner, tooling: str) -> None:
    completed(moulding, {"good_units": 10}, {"good_units": 20}, lines=[{**SHEETS, "tooling": tooling}])

    earned = [earned_by(moulding, f"B-{place}") for place in (1, 2)]

    actual = [variances_of_record(moulding.workspace, f"B-{place}").statement for place in (1, 2)]
    worn = [sum(each.amount.amount for each in statement.variances if "mould" in each.resource) for statement in actual]
    assert worn == [0, 0]
    taken = sum(statement.actual_cost.amount for statement in actual) - 20
    wear = Decimal("0.05") * 30 / Decimal("0.95")
    assert sum(each.cost.amount for each in earned) == round((taken - wear) * 20 / 30 + 3000 + 20, 2)
    assert abs(earned[0].profit.amount * 2 - earned[1].profit.amount) < 15  # but for setting up twice


def test_a_mould_beside_the_pieces_is_paid_where_fewer_came_out_than_ordered(moulding: Owner) -> None:
    made = completed(moulding, {"good_units": 5}, lines=[{**SHEETS, "tooling": "charged_once"}])

    found = earned_by(moulding)

    assert made.acceptance is not None
    net = made.acceptance.totals.tax_exclusive.amount
    assert found.net_amount.amount == round((net - 3000) * 5 / 20 + 3000, 2)


def test_several_lines_of_a_product_each_bear_their_part_of_a_batch(moulding: Owner) -> None:
    """The mould is bought for the second line, and the flakes of the first are the customer's."""
    lines = [{**SHEETS, "supplied_materials": ["hdpe"]}, {**SHEETS, "quantity": 60, "tooling": "this_order"}]
    made = completed(moulding, {"good_units": 80}, lines=lines)
    found, statement = earned_by(moulding), variances_of_record(moulding.workspace, "B-1").statement

    assert made.acceptance is not None
    flakes = Decimal("9.6") * 80 / Decimal("0.95") * Decimal("0.80")
    wear = Decimal("0.05") * 80 / Decimal("0.95")
    assert abs(found.cost.amount - (statement.actual_cost.amount - flakes / 4 - wear + 3000)) < Decimal("0.01")


def test_a_quantity_that_the_customer_brings_goes_into_all_batches(moulding: Owner) -> None:
    """100 kg at 0.80, three quarters of it in the batch of 15, as of the paperwork."""
    brought = [{**SHEETS, "supplied_quantities": {"hdpe": "100"}}]
    completed(moulding, {"good_units": 15}, {"good_units": 5}, lines=brought)

    costs = [variances_of_record(moulding.workspace, f"B-{place}").statement.actual_cost for place in (1, 2)]

    assert earned_by(moulding, "B-1").cost.amount == costs[0].amount - 10 + 15 - 60
    assert earned_by(moulding, "B-2").cost.amount == costs[1].amount - 10 + 5 - 20


def test_all_that_the_customer_brings_is_the_orders_where_more_was_made(moulding: Owner) -> None:
    completed(moulding, {"good_units": 40}, lines=[{**SHEETS, "supplied_quantities": {"hdpe": "100"}}])

    actual = variances_of_record(moulding.workspace, "B-1").statement.actual_cost.amount

    assert abs(earned_by(moulding).cost.amount - ((actual - 20) / 2 + 20 - 80)) < Decimal("0.01")


def test_what_is_taken_off_under_a_tax_is_taken_off_its_own_lines(moulding: Owner) -> None:
    moulding.register("taxes/reduced", {"name": "VAT 10 %"}, **{"2026-01-01": {"rate_share": "0.10"}})
    lines = [SHEETS, {**HINGE, "tax": "reduced"}]
    batches = {"good_units": 20}, {"product": "hinge", "good_units": 60}
    completed(moulding, *batches, lines=lines)
    off = [{"reason": "For the flakes", "amount": "30", "tax": "vat"}]
    completed(moulding, *batches, lines=lines, allowances=off, code="C")

    whole, less = ([earned_by(moulding, f"{code}-{place}").net_amount.amount for place in (1, 2)] for code in "BC")

    assert less == [whole[0] - 30, whole[1]]


def test_a_charge_under_a_tax_is_brought_by_its_own_lines_even_if_these_are_free(moulding: Owner) -> None:
    moulding.register("taxes/reduced", {"name": "VAT 10 %"}, **{"2026-01-01": {"rate_share": "0.10"}})
    free = {**SHEETS, "policy": builders.policy("fixed_price", "0")}
    hinges = {**HINGE, "tax": "reduced", "policy": builders.policy("fixed_price", "10")}
    crate = [{"reason": "A wooden crate", "amount": "80", "tax": "vat"}]
    completed(moulding, {"good_units": 20}, {"product": "hinge", "good_units": 60}, lines=[free, hinges], charges=crate)

    assert [earned_by(moulding, f"B-{place}").net_amount.amount for place in (1, 2)] == [80, 600]


def test_a_charge_for_lines_that_cost_nothing_is_brought_by_them(moulding: Owner) -> None:
    free = {**SHEETS, "policy": builders.policy("fixed_price", "0")}
    crate = [{"reason": "A wooden crate", "amount": "80", "tax": "vat"}]
    completed(moulding, {"good_units": 20}, lines=[free], charges=crate)

    assert earned_by(moulding).net_amount.amount == 80


def test_a_pool_of_orders_is_borne_once_by_all_batches_of_one(moulding: Owner) -> None:
    completed(moulding, {"good_units": 10}, {"good_units": 10})

    costs = [variances_of_record(moulding.workspace, f"B-{place}").statement.standard_cost.amount for place in (1, 2)]
    moulding.record("B-3", good_units=10, materials=[])
    alone = variances_of_record(moulding.workspace, "B-3").statement.standard_cost.amount

    assert costs == [alone - 10, alone - 10]


def test_a_record_of_an_order_stays_of_what_that_is_for(moulding: Owner) -> None:
    completed(moulding, {"good_units": 20})

    with pytest.raises(
        InvalidValuesError, match="product: must be sheet: the batch was made for quotation Q000001; delete"
    ):
        moulding.record("B-1", product="hinge", materials=[])


def test_a_batch_of_which_nothing_is_good_loses_what_it_cost(moulding: Owner) -> None:
    completed(moulding, {"good_units": 0, "units_started": 20}, {"good_units": 20})

    lost, good = earned_by(moulding, "B-1"), earned_by(moulding, "B-2")

    assert (lost.units_sold, lost.net_amount.amount, lost.quoted_profit.amount) == (0, 0, 0)
    assert lost.profit.amount == -lost.cost.amount < 0
    assert (
        lost.text == f"Made for Q000001, and nothing good came out: it brings nothing and cost {lost.cost.amount} EUR"
    )
    assert good.units_sold == 20


def test_an_order_of_which_all_is_lost_brings_nothing(moulding: Owner) -> None:
    brought = [{**SHEETS, "supplied_quantities": {"hdpe": "100"}}]
    completed(moulding, {"good_units": 0, "units_started": 20}, lines=brought)

    statement = variances_of_record(moulding.workspace, "B-1").statement

    assert statement.earned is not None
    assert statement.earned.cost.amount == statement.actual_cost.amount - 80


def test_an_order_that_costs_nothing_brings_nothing_for_any_batch(moulding: Owner) -> None:
    free = {**SHEETS, "policy": builders.policy("fixed_price", "0")}
    completed(moulding, {"good_units": 20}, lines=[free])

    found = earned_by(moulding)
    assert found.net_amount.amount == 0
    assert found.text.endswith(f", which loses {found.cost.amount}; as quoted it would be {found.quoted_profit.amount}")


def test_is_told_in_the_workshops_money_at_the_rates_of_the_quotation(moulding: Owner) -> None:
    made = completed(moulding, {"good_units": 20}, currency="USD")
    moulding.put_exchange_rates("2026-11-25", USD="2")

    found = earned_by(moulding)

    assert made.acceptance is not None
    assert found.net_amount.currency == "EUR"
    assert found.net_amount.amount == round(made.acceptance.totals.tax_exclusive.amount / Decimal("1.16"), 2)


def test_several_batches_are_told_together_and_others_have_earned_nothing_here(moulding: Owner) -> None:
    completed(moulding, {"good_units": 10}, {"good_units": 10})
    moulding.record("B-3")

    together = variances_of_product(moulding.workspace, "sheet", ChosenRecords())

    assert together.earned is not None
    assert (together.batches, together.earned.batches, together.earned.units_sold) == (3, 2, 20)
    assert abs(together.earned.profit.amount - profit_of(moulding, ["B-1", "B-2"])) <= Decimal("0.01")
    assert together.earned.text.startswith("2 batches were made for quotations: they bring ")
    assert variances_of_record(moulding.workspace, "B-3").statement.earned is None


def test_of_several_one_may_have_been_made_for_a_quotation(moulding: Owner) -> None:
    completed(moulding, {"good_units": 20})
    moulding.record("B-3")

    earned = variances_of_product(moulding.workspace, "sheet", ChosenRecords()).earned

    assert earned is not None
    assert (earned.quotation, earned.profit) == (None, earned_by(moulding).profit)
    assert earned.text.startswith("One batch was made for a quotation: it brings ")
