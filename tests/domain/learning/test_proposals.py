"""New facts of a product beside today's, and products with the facts that one batch had."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from service.domain.learning.facts import with_facts
from service.domain.learning.learning import ObservedBatch, learnt
from service.domain.learning.proposals import Proposal, proposal
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Catalogue, Product
from service.domain.records.observation import Fact, Learnable, Observation
from tests.domain.examples import a_catalogue, a_line, a_machine, a_product, an_operation, bench_work

D = Decimal


def about(fact: Fact, item: str = "pressing", grade: str = "") -> Learnable:
    return Learnable(fact, "sheet", item, grade)


def changed(catalogue: Catalogue | None = None, **values: tuple[Learnable, str]) -> Catalogue:
    return with_facts(catalogue or a_catalogue(), {each: D(value) for each, value in values.values()})


def of(fact: Fact, value: str, item: str = "pressing", grade: str = "", catalogue: Catalogue | None = None) -> Product:
    """The sheet with one other fact."""
    return with_facts(catalogue or a_catalogue(), {about(fact, item, grade): D(value)}).products["sheet"]


class TestAProductWithOtherFacts:
    @pytest.mark.parametrize(
        ("fact", "value", "stated"),
        [
            (Fact.YIELD_SHARE, "0.9", "0.9"),
            (Fact.YIELD_SHARE, "0", "0.95"),
            (Fact.CYCLE_MINUTES, "44.5", "44.5"),
            (Fact.SETUP_MINUTES, "25", "25"),
            (Fact.LOAD_FACTOR, "0.7", "0.7"),
        ],
    )
    def test_has_them_at_its_operation(self, fact: Fact, value: str, stated: str) -> None:
        (operation,) = of(fact, value).operations

        assert getattr(operation, fact.value) == D(stated)

    @pytest.mark.parametrize(
        ("fact", "value", "stated"),
        [
            (Fact.PROCESS_LOSS_SHARE, "0.04", "0.04"),
            (Fact.PROCESS_LOSS_SHARE, "-0.02", "0"),
            (Fact.PROCESS_LOSS_SHARE, "1", "0"),
            (Fact.RECLAIM_SHARE, "0.6", "0.6"),
            (Fact.RECLAIM_SHARE, "1.2", "1"),
        ],
    )
    def test_has_them_at_all_lines_of_a_material(self, fact: Fact, value: str, stated: str) -> None:
        lines = [a_line(), a_line(quantity_per_piece="2"), a_line(product="part-1")]
        catalogue = a_catalogue(a_product(bill_of_materials=lines), a_product())

        made = of(fact, value, "hdpe", catalogue=catalogue)

        assert [getattr(line, fact.value) for line in made.bill_of_materials] == [D(stated), D(stated), 0]

    def test_has_other_people(self) -> None:
        (operation,) = of(Fact.ATTENDANCE, "0.4", grade="operator").operations

        assert [(each.setup_crew, each.attendance) for each in operation.labour] == [(1, D("0.4"))]

    def test_has_nobody_where_nobody_was(self) -> None:
        people = [{"labour_grade": "operator", "attendance": "1"}]
        catalogue = a_catalogue(a_product(operations=[an_operation(labour=people)]))

        (operation,) = of(Fact.ATTENDANCE, "0", grade="operator", catalogue=catalogue).operations

        assert operation.labour == ()

    def test_leaves_out_what_is_no_longer_there(self) -> None:
        catalogue = a_catalogue()
        gone = {
            about(Fact.CYCLE_MINUTES, "milling"): D(5),
            about(Fact.PROCESS_LOSS_SHARE, "pvc"): D("0.1"),
            Learnable(Fact.CYCLE_MINUTES, "beam", "pressing"): D(5),
        }

        assert with_facts(catalogue, gone) == catalogue

    def test_has_no_load_at_a_bench(self) -> None:
        catalogue = a_catalogue(a_product(operations=[bench_work()]))

        assert of(Fact.LOAD_FACTOR, "1.4", "trimming", catalogue=catalogue) == catalogue.products["sheet"]

    def test_draws_what_it_drew_even_beyond_the_rated_power(self) -> None:
        operations = [an_operation(), an_operation(name="curing"), an_operation(name="baking", machine="oven")]
        catalogue = a_catalogue(
            a_product(operations=operations, bill_of_materials=[a_line(product="part-1")]),
            a_product(operations=[an_operation(name="lid")]),
            machines={"press": a_machine(), "oven": a_machine()},
        )
        facts = {about(Fact.LOAD_FACTOR): D("1.5"), about(Fact.LOAD_FACTOR, "curing"): D("1.2")}

        def electricity(made: Catalogue) -> list[Decimal]:
            bill: BillOfResources = bill_of_resources("sheet", 10, made)
            return [step.electricity_kwh for step in bill.steps]

        before, after = electricity(catalogue), electricity(with_facts(catalogue, facts))

        assert [round(each, 6) for each in after] == [
            round(before[0] / D("0.6") * D("1.5"), 6),
            round(before[1] / D("0.6") * D("1.2"), 6),
            *(round(each, 6) for each in before[2:]),
        ]


def batches(fact: Fact, *values: str, item: str = "pressing", grade: str = "") -> list[ObservedBatch]:
    """A batch for each value, all of one weight."""
    return [
        ObservedBatch(
            code=f"b{place}",
            observations=(
                Observation(fact=fact, product="sheet", item=item, grade=grade, weight=D(100), amount=D(value) * 100),
            ),
        )
        for place, value in enumerate(values)
    ]


def proposed(fact: Fact, *values: str, catalogue: Catalogue | None = None, **options: Any) -> Proposal:
    told = {name: options.pop(name) for name in ("item", "grade") if name in options}
    known = catalogue or a_catalogue()
    return proposal(known, learnt(batches(fact, *values, **told), known.products), **options)


class TestAProposal:
    def test_has_the_fact_of_today_beside_that_of_the_records(self) -> None:
        found = proposed(Fact.CYCLE_MINUTES, "44.1", "45.2", "44.7", "44.9", "45.1")

        (fact,) = found.facts
        assert (fact.now, fact.proposed, fact.is_at_odds) == (40, D("44.8"), True)
        assert fact.text == (
            "minutes a cycle of pressing: 44.8 by 5 batches, between 44.195 and 45.405 (95 % interval); "
            "the product says 40"
        )
        (operation,) = found.products["sheet"].operations
        assert operation.cycle_minutes == D("44.8")

    def test_leaves_a_fact_that_the_records_bear_out(self) -> None:
        found = proposed(Fact.CYCLE_MINUTES, "39", "41", "40", "40.5", "39.9")

        assert (found.facts[0].is_at_odds, found.products) == (False, {})

    def test_takes_what_is_chosen(self) -> None:
        chosen = [about(Fact.CYCLE_MINUTES)]

        found = proposed(Fact.CYCLE_MINUTES, "39", "41", "40", "40.5", "39.9", chosen=chosen)

        assert found.products["sheet"].operations[0].cycle_minutes == D("40.08")
        assert proposed(Fact.CYCLE_MINUTES, "44.1", "45.2", "44.7", "44.9", "45.1", chosen=[]).products == {}

    def test_of_too_few_batches_is_none_and_says_how_many_it_takes(self) -> None:
        found = proposed(Fact.CYCLE_MINUTES, "60", "61")

        assert (found.facts[0].proposed, found.products) == (None, {})
        assert found.facts[0].text == "minutes a cycle of pressing: 60.5 by 2 batches; it takes 5 to propose it"
        assert proposed(Fact.CYCLE_MINUTES, *["60"] * 5).facts[0].proposed == 60
        single = proposed(Fact.CYCLE_MINUTES, "60").facts[0]
        assert not single.is_at_odds
        assert single.text == "minutes a cycle of pressing: 60 by a single batch; it takes 5 to propose it"

    def test_may_leave_out_what_stands_out(self) -> None:
        values = ["44.1", "45.2", "44.7", "44.9", "45.1", "99"]

        assert proposed(Fact.CYCLE_MINUTES, *values).facts[0].proposed == D("53.833")
        assert proposed(Fact.CYCLE_MINUTES, *values, without_outliers=True).facts[0].proposed == D("44.8")
        assert proposed(Fact.CYCLE_MINUTES, *values[:5], without_outliers=True).facts[0].proposed == D("44.8")

    def test_of_a_load_above_one_is_none_and_names_the_machine(self) -> None:
        found = proposed(Fact.LOAD_FACTOR, "1.1", "1.2", "1.1", "1.2", "1.1")

        (fact,) = found.facts
        assert (fact.now, fact.proposed, fact.is_at_odds, found.products) == (D("0.6"), None, False, {})
        assert fact.text.endswith("; the machine draws more than its rated power: register that anew")

    def test_of_less_material_than_the_units_contain_is_none_and_asks_what_was_not_counted(self) -> None:
        lossy = a_catalogue(a_product(bill_of_materials=[a_line(process_loss_share="0.03")]))
        values = ["-0.02", "-0.03", "-0.02", "-0.03", "-0.02"]

        found = proposed(Fact.PROCESS_LOSS_SHARE, *values, item="hdpe", catalogue=lossy)

        (fact,) = found.facts
        assert (fact.now, fact.proposed, fact.is_at_odds, found.products) == (D("0.03"), None, False, {})
        assert fact.text.endswith(
            "; no share can be below 0: less is counted as issued than good units contain. Count all that is issued, "
            "or check quantity_per_piece"
        )
        exact = proposed(Fact.PROCESS_LOSS_SHARE, *["-0.00001"] * 5, item="hdpe", catalogue=lossy)
        assert (exact.facts[0].proposed, exact.facts[0].is_at_odds) == (0, True)

    def test_of_more_that_came_back_than_was_lost_is_none(self) -> None:
        found = proposed(Fact.RECLAIM_SHARE, *["1.2"] * 5, item="hdpe")

        (fact,) = found.facts
        assert (fact.proposed, fact.is_at_odds) == (None, False)
        assert fact.text.endswith("; that cannot be: something was not counted, or another fact is wrong")

    def test_of_lines_that_say_different_things_has_no_fact_of_today(self) -> None:
        lines = [a_line(process_loss_share="0.1"), a_line(process_loss_share="0.2")]
        catalogue = a_catalogue(a_product(bill_of_materials=lines))

        found = proposed(Fact.PROCESS_LOSS_SHARE, *["0.15"] * 5, item="hdpe", catalogue=catalogue)

        (fact,) = found.facts
        assert (fact.now, fact.is_at_odds) == (None, True)
        assert fact.text.endswith("between 0.15 and 0.15 (95 % interval)")
        assert {line.process_loss_share for line in found.products["sheet"].bill_of_materials} == {D("0.15")}

    def test_of_people_is_of_their_grade(self) -> None:
        found = proposed(Fact.ATTENDANCE, *["0.5"] * 5, grade="operator")

        assert found.facts[0].now == D("0.25")
        assert found.products["sheet"].operations[0].labour[0].attendance == D("0.5")

    @pytest.mark.parametrize(
        "gone",
        [
            {"fact": Fact.CYCLE_MINUTES, "item": "milling"},
            {"fact": Fact.RECLAIM_SHARE, "item": "pvc"},
            {"fact": Fact.ATTENDANCE, "item": "pressing", "grade": "helper"},
        ],
    )
    def test_is_none_of_what_the_product_no_longer_has(self, gone: dict[str, Any]) -> None:
        found = proposed(gone.pop("fact"), *["0.5"] * 5, **gone)

        assert (found.facts, found.products) == ((), {})

    def test_is_none_of_the_load_at_a_bench_or_of_a_product_that_is_gone(self) -> None:
        catalogue = a_catalogue(a_product(operations=[bench_work()]))

        assert proposed(Fact.LOAD_FACTOR, *["0.5"] * 5, item="trimming", catalogue=catalogue).facts == ()
        assert proposed(Fact.LOAD_FACTOR, *["0.5"] * 5, catalogue=replace(catalogue, products={})).facts == ()
