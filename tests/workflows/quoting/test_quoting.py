"""Quoting, finding and recomputing quotations, on every database engine."""

import json
from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
import sqlalchemy as sa

from service.documents.quoting.quotation_text import quotation_text
from service.documents.quoting.quotation_view import quotation_view
from service.domain.costing.errors import MissingRatesError
from service.domain.quoting.life import Status
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.store.engine.stored_rows import as_stored
from service.workflows.costing.cost_sheets import MAX_LINES
from service.workflows.errors import NotRegisteredError
from service.workflows.quoting import quotations as reading
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.furnishing import furnishes
from tests.workflows.owner import Owner

quotations = as_stored.tables["quotations"]
TWO_LINES = [
    {"product": "sheet", "quantity": 20, "quantity_breaks": [50], "tax": "vat", "policy": builders.policy()},
    {"product": "brick", "quantity": 500, "tax": "vat", "policy": builders.policy("markup", "0.4")},
]


@pytest.fixture
@furnishes
def bricks(owner: Owner) -> Owner:
    """The furnished workshop, which also makes bricks from a material bought in dollars."""
    builders.register_workshop(owner)
    owner.register(
        "materials/pp", builders.material(polymer="PP"), **{"2026-01-01": {"price": builders.money("1", "USD")}}
    )
    owner.put_exchange_rates("2026-11-20", USD="1.25")
    owner.put(
        "products/brick", {"name": "Brick", "bill_of_materials": [{"material": "pp", "quantity_per_piece": "1.5"}]}
    )
    return owner


def rows_of(owner: Owner) -> dict[str, int]:
    """The number of the workshop's rows in each table."""
    with owner.database.reading() as connection:
        return {
            table.name: connection.execute(
                sa.select(sa.func.count()).where(table.c.workshop_id == owner.workshop_id)
            ).scalar_one()
            for table in as_stored.sorted_tables
        }


class TestQuoting:
    def test_keeps_a_draft_that_is_found_again_as_it_was_given(self, bricks: Owner) -> None:
        made = bricks.quote(lines=TWO_LINES)

        found = reading.find_quotation(bricks.workspace, made.id)

        assert found == made
        assert found.status == Status.DRAFT
        assert found.created_at.tzinfo is not None

    def test_a_preview_equals_the_quotation_and_stores_nothing(self, bricks: Owner) -> None:
        before = rows_of(bricks)

        shown = bricks.preview(lines=TWO_LINES)

        assert rows_of(bricks) == before
        made = bricks.quote(lines=TWO_LINES)
        for each in fields(shown):
            assert getattr(shown, each.name) == getattr(made, each.name), each.name

    def test_a_preview_refuses_what_quoting_would_refuse(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match="must not be before"):
            furnished.preview(quoted_on=None, valid_until="2020-01-01")

    def test_is_of_today_and_valid_for_thirty_days_where_nothing_else_is_said(self, furnished: Owner) -> None:
        before = datetime.now(UTC).date()
        made = furnished.quote(quoted_on=None)

        assert before <= made.quoted_on <= datetime.now(UTC).date()
        assert made.valid_until - made.quoted_on == timedelta(days=30)

    def test_uses_the_days_it_is_given(self, furnished: Owner) -> None:
        made = furnished.quote(valid_until="2026-12-01")

        assert (made.quoted_on, made.valid_until) == (TODAY, date(2026, 12, 1))

    def test_with_an_end_before_today_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match=r"^valid_until: must not be before"):
            furnished.quote(quoted_on=None, valid_until="2020-01-01")

    def test_in_a_currency_that_had_ended_by_its_day_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match=r"^currency: HRK is no longer in use"):
            furnished.quote(currency="HRK")

    def test_shows_what_the_cost_sheet_and_the_price_sheet_show(self, furnished: Owner) -> None:
        sheet, priced = furnished.cost(), furnished.price()

        quoted = furnished.quote().figures.lines[0].quoted

        assert quoted.unit_price == priced.price_per_piece.price
        assert quoted.unit_full_cost == sheet.subtotals.full_cost.per_piece
        assert quoted.kept.full_cost == sheet.subtotals.full_cost.per_batch
        assert quoted.kept.variable_cost == sheet.subtotals.variable_cost.per_batch

    def test_names_every_unknown_product(self, furnished: Owner) -> None:
        lines = [{**TWO_LINES[1], "product": product} for product in ("sheet", "nothing", "crate")]

        with pytest.raises(InvalidValuesError) as error:
            furnished.quote(lines=lines)

        assert [str(problem) for problem in error.value.problems] == [
            "lines/1/product: there is no product 'nothing'; register it first",
            "lines/2/product: there is no product 'crate'; register it first",
        ]

    def test_names_every_unknown_tax_and_where(self, furnished: Owner) -> None:
        charge = {"reason": "freight", "tax": "export", "amount": "12"}

        with pytest.raises(InvalidValuesError) as error:
            furnished.quote(lines=[{**TWO_LINES[0], "tax": "nothing"}], charges=[charge])

        assert [str(problem) for problem in error.value.problems] == [
            "lines/0/tax: there is no tax 'nothing'; register it first",
            "charges/0/tax: there is no tax 'export'; register it first",
        ]

    def test_before_there_are_rates_names_them_all(self, furnished: Owner) -> None:
        with pytest.raises(MissingRatesError) as error:
            furnished.quote(quoted_on="2025-12-31")

        assert {"materials/hdpe", "machines/press", "taxes/vat"} < {each.resource for each in error.value.missing}

    def test_keeps_nothing_where_it_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError):
            furnished.quote(charges=[{"reason": "freight", "tax": "vat", "amount": "0.001"}])

        assert reading.list_quotations(furnished.workspace, after=None, limit=9) == []

    def test_of_more_batches_than_one_request_may_work_out_is_refused(self, furnished: Owner) -> None:
        lines = [{"material": "hdpe", "quantity_per_piece": "0.001"}] * 1000
        furnished.put("products/mosaic", {"name": "Mosaic", "bill_of_materials": lines})

        def quote(count: int) -> None:
            batches = [range(start, start + 21) for start in range(1, 21 * count, 21)]
            furnished.quote(
                lines=[
                    {**TWO_LINES[0], "product": "mosaic", "quantity": first, "quantity_breaks": breaks}
                    for first, *breaks in batches
                ]
            )

        quote(2)  # 42 batches of a thousand lines
        with pytest.raises(TooComplexError, match=f"more than {MAX_LINES} lines on all the bills of one request"):
            quote(3)

    def test_warns_and_cautions_once_for_what_is_quoted(self, furnished: Owner) -> None:
        hot = builders.operation(processing_temperature_c="200", yield_share="1")
        furnished.put("products/sheet", builders.product(operations=[hot], declared_uses=["toy"]))

        remarks = furnished.quote(lines=[TWO_LINES[0], {**TWO_LINES[0], "description": "again"}]).remarks

        assert [each.code for each in remarks.warnings] == ["no-scrap"]
        assert [each.code for each in remarks.cautions] == list(dict.fromkeys(each.code for each in remarks.cautions))
        assert "hot-work" in [each.code for each in remarks.cautions]

    def test_states_each_caution_once_for_all_quoted_products(self, furnished: Owner) -> None:
        hot = builders.operation(processing_temperature_c="200")
        for code in ("sheet", "brick"):
            furnished.put(f"products/{code}", builders.product(name=f"A {code}", operations=[hot]))

        cautions = furnished.quote(lines=TWO_LINES).remarks.cautions

        (caution,) = (each for each in cautions if each.code == "hot-work")
        assert "'A brick, pressing'" in caution.text
        assert "'A sheet, pressing'" in caution.text

    def test_warns_of_every_batch_of_a_product_that_is_quoted_twice(self, furnished: Owner) -> None:
        hot = builders.operation(processing_temperature_c="200", cycle_minutes="0.01")
        furnished.put("products/sheet", builders.product(operations=[hot]))
        batches = (20, 500)

        remarks = furnished.quote(lines=[{**TWO_LINES[0], "quantity": each} for each in batches]).remarks

        alone = [furnished.cost(quantity=each).warnings for each in batches]
        assert alone[0] != alone[1]
        assert set(remarks.warnings) == {warning for found in alone for warning in found}


class TestRecomputing:
    def test_a_rate_corrected_and_a_product_changed_after_it_leave_a_quotation_as_it_was(self, bricks: Owner) -> None:
        made = bricks.quote(lines=TWO_LINES)

        bricks.put_rate("materials/hdpe", "2026-01-01", builders.material_rate("99"))
        bricks.put_rate("taxes/vat", "2026-01-01", {"rate_share": "0.5"})
        bricks.put_exchange_rates("2026-11-20", USD="9")
        bricks.put("overheads/new", {"name": "New", "base": "piece"})
        bricks.put("products/sheet", builders.product(name="Plate", operations=[]))
        bricks.retire("products/brick")

        again = reading.recompute(bricks.workspace, made.id)
        assert again.agrees
        assert again.recomputed == again.stored == made.figures
        assert reading.find_quotation(bricks.workspace, made.id) == made

    def test_one_stored_with_whole_days_of_rates_and_one_maximum_age_is_still_read(self, bricks: Owner) -> None:
        """The format from before a feed had a maximum age of its own."""
        made = bricks.quote(lines=TWO_LINES)
        ours = (quotations.c.workshop_id == bricks.workshop.workshop_id, quotations.c.quotation_id == made.id)
        with bricks.database.writing() as connection:
            basis = json.loads(connection.execute(sa.select(quotations.c.basis).where(*ours)).scalar_one())
            assert basis["exchange"].pop("feed_max_age_days") == 10
            assert basis["exchange"]["max_age_days"] == 31
            basis["exchange"]["days"][0]["rates"]["JPY"] = "160"
            connection.execute(quotations.update().where(*ours).values(basis=json.dumps(basis)))

        assert reading.recompute(bricks.workspace, made.id).agrees

    def test_one_stored_before_adjustments_stated_their_tax_agrees(self, furnished: Owner) -> None:
        terms = [{"reason": "season", "tax": "vat", "share": "0.1"}, {"reason": "friends", "tax": "vat", "amount": "1"}]
        made = furnished.quote(allowances=terms, charges=terms)
        ours = (quotations.c.workshop_id == furnished.workshop.workshop_id, quotations.c.quotation_id == made.id)

        def agrees_with(**changes: str) -> bool:
            with furnished.database.writing() as connection:
                stored = json.loads(connection.execute(sa.select(quotations.c.figures).where(*ours)).scalar_one())
                for each in (*stored["allowances"], *stored["charges"]):
                    each.pop("tax", None)
                    each.update(changes)
                connection.execute(quotations.update().where(*ours).values(figures=json.dumps(stored)))
            return reading.recompute(furnished.workspace, made.id).agrees

        assert agrees_with()
        assert not agrees_with(reason="another")

    def test_one_that_lost_an_adjustment_does_not_agree(self, furnished: Owner) -> None:
        made = furnished.quote(charges=[{"reason": "crate", "tax": "vat", "amount": "1"}])
        ours = (quotations.c.workshop_id == furnished.workshop.workshop_id, quotations.c.quotation_id == made.id)
        with furnished.database.writing() as connection:
            stored = json.loads(connection.execute(sa.select(quotations.c.figures).where(*ours)).scalar_one())
            stored["charges"].pop()
            connection.execute(quotations.update().where(*ours).values(figures=json.dumps(stored)))

        assert not reading.recompute(furnished.workspace, made.id).agrees

    def test_one_stored_before_savings_of_larger_batches_were_stated_still_agrees(self, bricks: Owner) -> None:
        made = bricks.quote(lines=[{**TWO_LINES[0], "quantity_breaks": [500]}])
        ours = (quotations.c.workshop_id == bricks.workshop.workshop_id, quotations.c.quotation_id == made.id)

        def keep(change: Callable[[Any], Any]) -> None:
            with bricks.database.writing() as connection:
                figures = json.loads(connection.execute(sa.select(quotations.c.figures).where(*ours)).scalar_one())
                change(figures["lines"][0]["quantity_breaks"][0])
                connection.execute(quotations.update().where(*ours).values(figures=json.dumps(figures)))

        keep(lambda larger: (larger.pop("saving_per_piece"), larger.pop("saving_share")))
        assert reading.recompute(bricks.workspace, made.id).agrees
        keep(lambda larger: larger["unit_price"].update(amount="0.01"))
        assert not reading.recompute(bricks.workspace, made.id).agrees

    def test_a_new_quotation_takes_the_corrected_rate(self, furnished: Owner) -> None:
        before = furnished.quote()
        furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate("99"))

        assert furnished.quote().figures.totals.payable.amount > before.figures.totals.payable.amount

    def test_all_says_of_each_whether_it_agrees(self, bricks: Owner) -> None:
        made = [bricks.quote(lines=TWO_LINES[:count]) for count in (1, 2)]

        found = list(reading.recompute_all(bricks.workspace))

        assert [(each.id, each.agrees) for each in found] == [(each.id, True) for each in made]

    def test_a_stored_figure_that_was_tampered_with_does_not_agree(self, furnished: Owner) -> None:
        made = furnished.quote()
        payable = str(made.figures.totals.payable.amount)
        ours = (quotations.c.workshop_id == furnished.workshop.workshop_id, quotations.c.quotation_id == made.id)
        with furnished.database.writing() as connection:
            stored: str = connection.execute(sa.select(quotations.c.figures).where(*ours)).scalar_one()
            assert payable in stored
            connection.execute(quotations.update().where(*ours).values(figures=stored.replace(payable, "0.01")))

        (again,) = reading.recompute_all(furnished.workspace)

        assert not again.agrees
        assert again.recomputed == made.figures != again.stored


class TestFinding:
    def test_what_is_not_there_is_not_found(self, furnished: Owner) -> None:
        unknown = uuid4()

        for find in (reading.find_quotation, reading.recompute):
            with pytest.raises(NotRegisteredError, match=f"there is no quotation {unknown}"):
                find(furnished.workspace, unknown)

    def test_a_quotation_of_another_workshop_is_not_found(self, furnished: Owner, other_owner: Owner) -> None:
        made = furnished.quote()

        for find in (reading.find_quotation, reading.recompute):
            with pytest.raises(NotRegisteredError):
                find(other_owner.workspace, made.id)
        assert list(reading.recompute_all(other_owner.workspace)) == []

    def test_a_page_lists_them_oldest_first_and_goes_on_after_one(self, furnished: Owner) -> None:
        made = [furnished.quote().id for _ in range(3)]

        def page(after: Any, limit: int) -> list[Any]:
            found = reading.list_quotations(furnished.workspace, after=after, limit=limit)
            return [each.id for each in found]

        assert page(None, 2) == made[:2]
        assert page(made[1], 2) == made[2:]


def test_the_text_is_what_the_customer_reads(furnished: Owner) -> None:
    made = furnished.quote(delivery="Three weeks.")

    text = quotation_text(quotation_view(reading.quotation_paper(furnished.workspace, made)))

    assert "Harbour Garden Trust" in text
    assert "Kiln Lane Workshop" in text
    assert "Three weeks." in text
    assert str(made.id) in text
