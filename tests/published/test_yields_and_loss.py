"""Published yields and process losses, entered as yields and loss shares and checked with the sheets."""

from decimal import Decimal

import pytest

from tests.conftest import Client
from tests.published.examples import absorb, batch_cost, bill_of, buy, cost_sheet, employ, make, rounded, unit_cost
from tests.support.builders import money

ATTENDED = {"labour": [{"labour_grade": "worker", "attendance": "1"}]}


def steps(*yields: str) -> list[dict[str, str]]:
    return [{"name": f"step {place}", "yield_share": share} for place, share in enumerate(yields, 1)]


class TestNormalLossWithoutScrapValue:
    """ACCA F2 Management Accounting study text, Emile Woolf Publishing, 2010, section 2.2.

    100 units cost 4,500 and a tenth is lost: 90 good units at 50.
    """

    def test_as_a_share_of_the_material_that_never_gets_into_a_piece(self, client: Client) -> None:
        buy(client, "input", "45")
        line = {"material": "input", "quantity_per_piece": "1", "process_loss_share": "0.10"}
        make(client, "output", bill_of_materials=[line])

        sheet = cost_sheet(client, "output", 90)

        assert batch_cost(sheet) == 4500
        assert unit_cost(sheet) == 50

    def test_as_the_yield_of_an_operation(self, client: Client) -> None:
        buy(client, "input", "45")
        make(client, "output", {"input": "1"}, *steps("0.90"))

        sheet = cost_sheet(client, "output", 90)

        assert batch_cost(sheet) == 4500
        assert unit_cost(sheet) == 50


class TestNormalLossOfATenth:
    """'Normal and abnormal losses', CAT / FIA FMA notes, section C, aCOWtancy, no year: 3,000 for 52,800. ACCA F2 text,
    chapter 9, section 5.1, flipbuilder, no year: 1,000 for 18,000, 1,800 and 900. 'Process costing: losses part c',
    example 4, OpenTuition, no year: 3,000 for 9,000 and 11,970, and the loss sells at 1.50."""

    @pytest.mark.parametrize(
        ("started", "costs", "scrap", "a_good_one"),
        [
            (3000, ("52800",), "0", "19.56"),
            (1000, ("18000", "1800", "900"), "0", "23.00"),
            (3000, ("9000", "11970"), "1.50", "7.60"),
        ],
    )
    def test_raises_the_cost_of_a_good_unit_by_what_the_loss_does_not_bring(
        self, client: Client, started: int, costs: tuple[str, ...], scrap: str, a_good_one: str
    ) -> None:
        buy(client, "input", str(sum(map(Decimal, costs)) / started), reclaim_value=money(scrap))
        line = {"material": "input", "quantity_per_piece": "1", "process_loss_share": "0.10", "reclaim_share": "1"}
        make(client, "output", bill_of_materials=[line])

        sheet = cost_sheet(client, "output", started * 9 // 10)

        assert rounded(unit_cost(sheet)) == Decimal(a_good_one)


class TestKilogramsOfAProcess:
    """'Process costing', question with the lecturer's answer, OpenTuition, topic process-costing-39, no year: 2,000
    kg at 5, 200 hours at 12 with overhead of 3 an hour, a twentieth is lost and sells at 0.80 a kilogram.

    'Fundamentals of Management Accounting', CIMA Official Learning System, section 9.3, no year: 500 kg for 6,000,
    1,000, 2,000 and 1,000, a tenth is lost.
    """

    @pytest.mark.parametrize(
        ("started", "material", "hours", "scrap", "lost", "total", "a_kilogram"),
        [("2000", "5", "200", "0.80", "0.05", 12_920, "6.80"), ("500", "20", "0", "0", "0.10", 10_000, "22.22")],
    )
    def test_cost_what_goes_in_less_what_the_loss_brings(
        self,
        client: Client,
        *,
        started: str,
        material: str,
        hours: str,
        scrap: str,
        lost: str,
        total: int,
        a_kilogram: str,
    ) -> None:
        buy(client, "input", material, reclaim_value=money(scrap))
        employ(client, "worker", "12")
        absorb(client, "overhead", "labour_hour", "3", "1")
        # So many hours are worked on all that is started: the labour is as fast as the run.
        run_hours = Decimal(hours)
        working_on_it = {
            "name": "refining",
            "yield_share": str(1 - Decimal(lost)),
            **({"units_per_hour": str(Decimal(started) / run_hours), **ATTENDED} if run_hours else {}),
        }
        line = {"material": "input", "quantity_per_piece": "1", "reclaim_share": "1"}
        make(client, "output", None, working_on_it, bill_of_materials=[line], unit="kg")

        sheet = cost_sheet(client, "output", Decimal(started) * (1 - Decimal(lost)))

        assert batch_cost(sheet) == total
        assert rounded(unit_cost(sheet)) == Decimal(a_kilogram)


class TestLossAsAShareOfOutput:
    """ACCA F2/MA, discussion of an exam-kit answer by a tutor, OpenTuition, 'Process costing', 2012.

    13,200 units for 184,800; the loss is a tenth of the OUTPUT, 1,200 on 12,000, and sells at 4. The service's
    loss share is of the input, so a tenth of the output is one eleventh there.
    """

    @pytest.fixture
    def process(self, client: Client) -> Client:
        buy(client, "input", str(184_800 // 13_200), reclaim_value=money("4"))
        return client

    @pytest.mark.parametrize(
        "loss",
        [{"quantity_per_batch": "1200"}, {"process_loss_share": str(rounded(Decimal(1) / 11, "1E-27"))}],
        ids=["as a quantity", "as one eleventh of the input"],
    )
    def test_12_000_good_units_cost_15_each(self, process: Client, loss: dict[str, str]) -> None:
        line = {"material": "input", "quantity_per_piece": "1", "reclaim_share": "1", **loss}
        make(process, "output", bill_of_materials=[line])

        sheet = cost_sheet(process, "output", 12_000)

        assert batch_cost(sheet) == 180_000
        assert unit_cost(sheet) == 15

    def test_a_tenth_of_the_input_would_leave_11_880_units(self, process: Client) -> None:
        line = {"material": "input", "quantity_per_piece": "1", "process_loss_share": "0.10"}
        make(process, "output", bill_of_materials=[line])

        (issue,) = bill_of(process, "output", 11_880)["issues"]

        assert Decimal(issue["issued"]) == 13_200


class TestRolledYieldOfThreeSteps:
    """'Throughput yield', Sigmapedia, term 1104, no year.

    13, 7 and 5 defects in 100 units. The page misprints the first factor as 0.85; its result, 0.77, comes from
    0.87 × 0.93 × 0.95 = 0.768645.
    """

    def test_a_million_are_started_for_768_645_good_ones(self, client: Client) -> None:
        make(client, "unit", None, *steps("0.87", "0.93", "0.95"))

        first, second, third = bill_of(client, "unit", 768_645)["steps"]

        assert Decimal(first["pieces_started"]) == 1_000_000
        assert Decimal(second["pieces_started"]) == Decimal(first["pieces_good"]) == 870_000
        assert Decimal(third["pieces_started"]) == Decimal(second["pieces_good"]) == 870_000 * Decimal("0.93")
        assert rounded(768_645 / Decimal(first["pieces_started"])) == Decimal("0.77")


class TestRolledYieldFromDefectsPerUnit:
    """'How can I determine if my rolled throughput yield (RTY) is acceptable?', M. Harry, iSixSigma, 2004.

    A step of d defects a unit yields e^−d. The source misprints e^−0.10 as 0.904834 (it is 0.904837) and 0.100 as
    0.010 in its sum; its rolled yield of 0.853850 is right.
    """

    def test_0_10_and_0_05_and_0_008_defects_a_unit_roll_to_0_853850(self, client: Client) -> None:
        yields = [rounded((-Decimal(defects)).exp(), "1E-27") for defects in ("0.10", "0.05", "0.008")]
        make(client, "unit", None, *steps(*map(str, yields)))

        first, *_ = bill_of(client, "unit", 1_000_000)["steps"]

        assert [rounded(each, "1E-6") for each in yields] == [
            Decimal("0.904837"),
            Decimal("0.951229"),
            Decimal("0.992032"),
        ]
        assert rounded(1_000_000 / Decimal(first["pieces_started"]), "1E-6") == Decimal("0.853850")
