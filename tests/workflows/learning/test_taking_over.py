"""What the records of a product teach: read, tried, taken over, undone."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from service import clock
from service.domain.audit import Action, RecordedChange
from service.domain.learning.proposals import StatedFact
from service.domain.making.products import Product
from service.domain.records.observation import Fact, Learnable
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.domain.values.references import Thing
from service.encoding import encoded
from service.store.records.batch_records import ChosenRecords
from service.store.workshop.audit import Chosen
from service.workflows.entity_tags import always
from service.workflows.errors import NotRegisteredError, NotUndoneError, PreconditionFailedError
from service.workflows.learning import effects, learning
from service.workflows.learning.learning import Wanted, what_records_teach
from service.workflows.learning.taking_over import Preview, TakenOver, preview, take_over, undo
from service.workflows.registering import registering
from service.workflows.workshop.audit import list_changes
from tests.support import builders
from tests.workflows.owner import Owner

ALL = Wanted()
CYCLE, YIELD = (Learnable(fact, "sheet", "pressing") for fact in (Fact.CYCLE_MINUTES, Fact.YIELD_SHARE))


@pytest.fixture
def taught(furnished: Owner) -> Owner:
    """A workshop whose sheets take 45 minutes a cycle, not 40, as six batches say, and one that stands out."""
    for number, minutes in enumerate((919, 920, 921, 919, 921, 1100)):
        furnished.record(
            f"B-{number}",
            made_on=f"2026-11-{20 + number}",
            units_started="20",
            operations=[{"operation": "pressing", "minutes": f"{minutes}"}],
        )
    return furnished


def facts_of(owner: Owner, wanted: Wanted = ALL) -> dict[Fact, StatedFact]:
    return {each.fact: each for each in what_records_teach(owner.workspace, "sheet", wanted).facts}


def the_product(owner: Owner) -> Product:
    found = registering.find_one(owner.workspace, Thing("products", "sheet")).facts
    assert isinstance(found, Product)
    return found


def trail(owner: Owner, subject: str = "products") -> list[RecordedChange]:
    return list_changes(owner.workspace, Chosen(subject=subject), before=None, limit=9)


def refusal(error: InvalidValuesError) -> list[tuple[Any, str]]:
    return [(each.path, each.reason) for each in error.problems]


class TestWhatRecordsTeach:
    def test_is_told_beside_what_the_product_states(self, taught: Owner) -> None:
        found = what_records_teach(taught.workspace, "sheet", ALL)

        assert (found.batches, found.first_day, found.last_day) == (6, date(2026, 11, 20), date(2026, 11, 25))
        cycle = facts_of(taught)[Fact.CYCLE_MINUTES]
        assert (cycle.now, cycle.batches, cycle.is_at_odds) == (40, 6, True)
        assert [each.code for each in cycle.outliers] == ["B-5"]
        assert cycle.without_outliers == 45  # (919 + 920 + 921 + 919 + 921 − 5 × 20) ÷ 100 cycles
        assert facts_of(taught, Wanted(without_outliers=True))[Fact.CYCLE_MINUTES].proposed == 45
        assert "yield" in facts_of(taught)[Fact.YIELD_SHARE].text

    def test_of_a_short_period_is_too_little(self, taught: Owner) -> None:
        two = Wanted(records=ChosenRecords(first_day=date(2026, 11, 24)), facts=(CYCLE,))

        cycle = facts_of(taught, Wanted(records=two.records))[Fact.CYCLE_MINUTES]

        assert (cycle.batches, cycle.proposed) == (2, None)
        with pytest.raises(InvalidValuesError) as refused:
            preview(taught.workspace, "sheet", two)
        ((path, reason),) = refusal(refused.value)
        assert path == ("facts", 0)
        assert reason.startswith("is not proposed. minutes a cycle of pressing: ")
        assert "it takes 5 to propose it" in reason

    def test_is_nothing_without_records(self, furnished: Owner) -> None:
        found = what_records_teach(furnished.workspace, "sheet", ALL)

        assert (found.batches, found.first_day, found.facts) == (0, None, ())
        with pytest.raises(NotRegisteredError, match="did you mean 'sheet'"):
            what_records_teach(furnished.workspace, "shet", ALL)
        with pytest.raises(InvalidValuesError, match="they teach: nothing"):
            preview(furnished.workspace, "sheet", Wanted(facts=(CYCLE,)))
        assert preview(furnished.workspace, "sheet", ALL)[0].status == "nothing_to_change"
        assert take_over(furnished.workspace, "sheet", ALL, always).status == "nothing_to_change"

    def test_is_not_of_too_many(self, taught: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(learning, "MAX_LEARNT", 5)

        with pytest.raises(TooComplexError, match="shorter period"):
            what_records_teach(taught.workspace, "sheet", ALL)


CYCLE_ALONE = Wanted(without_outliers=True, facts=(CYCLE,))


def tried(owner: Owner, **options: Any) -> Preview:
    return preview(owner.workspace, "sheet", CYCLE_ALONE, **options)


def taken(owner: Owner) -> TakenOver:
    return take_over(owner.workspace, "sheet", CYCLE_ALONE, always)


class TestAPreview:
    def test_tells_what_a_product_with_these_facts_costs_is_asked_and_earns(self, taught: Owner) -> None:
        taught.put("listings/sheet-market", builders.listing())
        taught.reprice()
        draft, issued = taught.quote(), taught.issued()
        revision = taught.revision

        found = tried(taught, quantity=Decimal(20))

        assert (taught.revision, the_product(taught).operations[0].cycle_minutes) == (revision, 40)
        cost, prices = found.taken.cost, found.prices
        assert cost is not None
        assert prices is not None
        today = taught.cost(as_of=taught.workshop.today()).subtotals.full_cost.per_piece
        taught.put("products/sheet", builders.product(operations=[builders.operation(cycle_minutes="45")]))
        anew = taught.cost(as_of=taught.workshop.today()).subtotals.full_cost.per_piece
        assert (cost.before, cost.after) == (today, anew)
        assert cost.text == f"{anew.amount} EUR instead of {today.amount}"
        repriced = taught.reprice(as_of=taught.workshop.today())
        assert prices.figures.summary == repriced.figures.summary
        assert prices.changes[0]["new"]["unit_cost"] == encoded(anew)
        quoted = taught.preview().figures
        assert [each.quotation for each in found.taken.quotations] == [issued.number, str(draft.id)]
        for each in found.taken.quotations:
            assert (each.full_cost_after, each.asked_anew) == (quoted.kept.full_cost, quoted.totals.tax_exclusive)
            assert each.profit_after is not None
            assert each.profit_after.amount == each.price.amount - quoted.kept.full_cost.amount
            assert each.full_cost == each.full_cost_today == draft.figures.kept.full_cost
            assert (each.profit_today, each.text.count("since")) == (each.profit, 0)

    def test_tells_what_the_facts_do_apart_from_rates_registered_since_the_quotation(self, taught: Owner) -> None:
        issued = taught.issued()
        (alone,) = tried(taught).taken.quotations
        rent = builders.overhead_rate("6000")
        taught.register("overheads/rent", {"name": "Rent", "base": "machine_hour"}, **{"2026-01-02": rent})

        (found,) = tried(taught).taken.quotations

        assert found.profit_today is not None
        assert found.profit_after is not None
        dearer = taught.preview().figures.kept.full_cost
        assert (found.full_cost, found.full_cost_today) == (issued.figures.kept.full_cost, dearer)
        assert found.profit == alone.profit_today == issued.figures.kept.profit
        assert found.profit_today.amount == found.profit.amount + found.full_cost.amount - dearer.amount
        assert found.profit_after.amount < found.profit_today.amount < found.profit.amount
        assert found.text == (
            f"profit {found.profit_after.amount} EUR instead of {found.profit_today.amount}, at the price that was "
            f"given; as quoted it was {found.profit.amount}, and what was registered since, rates of its day or the "
            f"product, makes it {found.profit_today.amount} without these facts"
        )

    def test_names_frames_made_of_the_product_too_but_no_quotation_that_is_over(
        self, taught: Owner, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        part = [{"product": "sheet", "quantity_per_piece": "2"}]
        taught.put("products/frame", builders.product(name="Frame", bill_of_materials=part))
        taught.accepted()
        taught.issued(valid_until=f"{taught.workshop.today()}")
        line = {"product": "frame", "quantity": 20, "tax": "vat", "policy": builders.policy()}
        for _ in range(2):
            taught.quote(lines=[line])
        monkeypatch.setattr(effects, "MAX_QUOTATIONS", 1)

        with clock.set_to(clock.now() + timedelta(days=1)):
            found = tried(taught).taken

        assert (len(found.quotations), found.more_quotations) == (1, 1)
        assert found.cost is not None
        assert found.cost.quantity == 19  # of the newest record

    def test_says_why_a_cost_cannot_be_told(self, taught: Owner) -> None:
        taught.quote()
        registering.withdraw_rate(taught.workspace, Thing("materials", "hdpe"), date(2026, 1, 1))

        found = tried(taught).taken

        assert found.cost is not None
        assert (found.cost.before, found.cost.after) == (None, None)
        (quotation,) = found.quotations
        assert (quotation.asked_anew, quotation.full_cost_after, quotation.profit_after) == (None, None, None)
        assert "materials/hdpe" in found.cost.text
        assert "materials/hdpe" in quotation.text


class TestTakingOver:
    def test_is_one_act_with_the_records_as_its_reason(self, taught: Owner) -> None:
        taught.put("listings/sheet-market", builders.listing())
        taught.reprice()

        done = taken(taught)

        assert (done.status, done.products) == ("applied", ("sheet",))
        assert the_product(taught).operations[0].cycle_minutes == 45
        reason, product, *_ = trail(taught)
        assert (reason.subject, reason.action) == ("products/sheet/learning", Action.LEARNT)
        assert (product.subject, product.action) == ("products/sheet", Action.REPLACED)
        assert reason.change_id == product.change_id
        about = {"fact": "cycle_minutes", "product": "sheet", "item": "pressing", "grade": ""}
        assert reason.before == {"facts": [{**about, "value": "40"}]}
        assert reason.after["facts"][0]["value"] == "45"
        assert reason.after["records"] == {
            "batches": 6,
            "first_day": "2026-11-20",
            "last_day": "2026-11-25",
            "without_outliers": True,
        }
        assert taught.reprice().figures.summary.changed == 1
        assert taken(taught).status == "nothing_to_change"

    def test_does_what_the_preview_showed_or_nothing(self, taught: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        seen = tried(taught).tag
        taught.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("9"))
        assert tried(taught).tag == seen  # of products alone

        def changes_meanwhile(*asked: Any) -> Any:
            found = learn(*asked)
            taught.put("products/sheet", builders.product(name="Another"))
            return found

        learn = learning.learn
        monkeypatch.setattr("service.workflows.learning.taking_over.learn", changes_meanwhile)
        with pytest.raises(PreconditionFailedError, match="what the records of product 'sheet' propose has changed"):
            take_over(taught.workspace, "sheet", CYCLE_ALONE, lambda tag: tag == seen)
        assert the_product(taught).name == "Another"

    def test_is_undone_once(self, taught: Owner) -> None:
        before = the_product(taught)
        with pytest.raises(NotRegisteredError, match="taken over anything"):
            undo(taught.workspace, "sheet")
        taken(taught)

        done = undo(taught.workspace, "sheet")

        assert (done.status, done.products, the_product(taught)) == ("undone", ("sheet",), before)
        assert [each.action for each in trail(taught, "products/sheet/learning")] == [Action.ROLLED_BACK, Action.LEARNT]
        with pytest.raises(NotUndoneError, match="undone already"):
            undo(taught.workspace, "sheet")
        assert taken(taught).status == "applied"

    def test_is_not_undone_if_the_product_has_changed_since(self, taught: Owner) -> None:
        taken(taught)
        taught.put("products/sheet", builders.product(name="Another"))

        with pytest.raises(NotUndoneError, match="product 'sheet' has changed since"):
            undo(taught.workspace, "sheet")
        assert the_product(taught).name == "Another"
