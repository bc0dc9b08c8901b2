"""What batches teach: pooled figures, how sure they are, and what stands out."""

from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.learning.learning import LearntFact, ObservedBatch, learnt
from service.domain.learning.student import t_of_95_per_cent
from service.domain.records.observation import Fact, Observation
from tests.domain.examples import a_product
from tests.domain.strategies import figures, tried

D = Decimal
PRODUCTS = {"sheet": a_product()}
BY_THE_KILOGRAM = {"sheet": a_product(unit="kg")}


def batch(code: str, weight: str, amount: str, fact: Fact = Fact.CYCLE_MINUTES) -> ObservedBatch:
    said = Observation(fact=fact, product="sheet", item="pressing", weight=D(weight), amount=D(amount))
    return ObservedBatch(code=code, observations=(said,))


def taught(*pairs: str, fact: Fact = Fact.CYCLE_MINUTES) -> LearntFact:
    """What batches teach, each an amount of a weight: "80/2" for 80 minutes in two cycles."""
    split = [pair.split("/") for pair in pairs]
    batches = [batch(f"b{place}", weight, amount, fact) for place, (amount, weight) in enumerate(split)]
    (found,) = learnt(batches, PRODUCTS)
    return found


class TestAPooledFigure:
    def test_is_the_sum_of_amounts_by_the_sum_of_weights(self) -> None:
        found = taught("80/2", "400/8")

        assert (found.value, found.batches, found.lowest, found.highest) == (48, 2, 40, 50)

    def test_of_one_batch_has_no_interval_and_asks_for_four_more(self) -> None:
        found = taught("80/2")

        assert (found.value, found.low, found.high, found.deviation, found.more_batches) == (40, None, None, None, 4)
        assert not found.is_enough

    def test_has_an_interval_by_what_leaving_out_a_batch_moves(self) -> None:
        found = taught("40/1", "44/1", "48/1")

        # Without the first it is 46, without the last 42: 2² + 0² + 2² = 8, and t of 2 degrees of freedom is 4.303.
        half = D("4.303") * D(8).sqrt()
        assert (round(found.low or 0, 20), round(found.high or 0, 20)) == (round(44 - half, 20), round(44 + half, 20))
        assert found.deviation == 4

    def test_of_batches_of_several_sizes_has_fewer_degrees_of_freedom(self) -> None:
        found = taught("80/2", "88/2", "44/1")

        # 5² ÷ 9 = 2.8 batches of one size: one degree of freedom
        half = D("12.706") * ((D("4.8") / 3) ** 2 + (D("3.2") / 3) ** 2 + D("0.4") ** 2).sqrt()
        assert round(found.low or 0, 20) == round(D("42.4") - half, 20)

    def test_that_is_alike_in_all_batches_has_no_width(self) -> None:
        found = taught(*["40/1"] * 5)

        assert (found.low, found.high, found.deviation, found.more_batches) == (40, 40, 0, 0)
        assert found.is_enough

    def test_that_is_nothing_asks_for_no_more_than_the_least_number(self) -> None:
        assert taught("0/1", "0/1").more_batches == 3

    def test_asks_for_as_many_batches_as_its_precision_takes(self) -> None:
        found = taught("40/1", "44/1", "48/1", "36/1", "52/1")

        # half a width of 2.776 × √(160 ÷ 4²) = 8.78 against 5 % of 44 = 2.2:  5 × 15.92 = 79.6
        assert found.more_batches == 80 - 5

    def test_comes_for_each_fact_and_item_by_itself(self) -> None:
        one = batch("a", "1", "40").observations[0]
        others = [replace(one, item="milling"), replace(one, fact=Fact.SETUP_MINUTES), replace(one, grade="operator")]

        found = learnt([ObservedBatch(code="a", observations=(one, *others))], PRODUCTS)

        assert [(each.about.item, each.about.fact.value, each.about.grade) for each in found] == [
            ("milling", "cycle_minutes", ""),
            ("pressing", "cycle_minutes", ""),
            ("pressing", "cycle_minutes", "operator"),
            ("pressing", "setup_minutes", ""),
        ]


class TestAYield:
    def test_of_one_is_not_taken_for_certain(self) -> None:
        found = taught("20/20", "20/20", fact=Fact.YIELD_SHARE)

        assert (found.value, found.high) == (1, 1)
        # Wilson's lower end of 40 of 40, with t = 12.706 in place of z:  40 ÷ (40 + t²)
        assert round(found.low or 0, 20) == round(40 / (40 + D("12.706") ** 2), 20)

    def test_of_batches_that_differ_by_chance_has_wilsons_interval(self) -> None:
        found = taught("18/20", "19/20", "19/20", "18/20", fact=Fact.YIELD_SHARE)

        p, n, t = D("0.925"), D(80), D("3.182")
        middle = (p + t * t / (2 * n)) / (1 + t * t / n)
        half = t * (p * (1 - p) / n + t * t / (4 * n * n)).sqrt() / (1 + t * t / n)
        assert (round(found.low or 0, 20), round(found.high or 0, 20)) == (
            round(middle - half, 20),
            round(middle + half, 20),
        )

    def test_of_batches_that_differ_more_is_less_sure(self) -> None:
        alike, apart = (
            taught(*pairs, fact=Fact.YIELD_SHARE)
            for pairs in (["90/100"] * 4, ["100/100", "80/100", "99/100", "81/100"])
        )

        assert (alike.value, apart.value) == (D("0.9"), D("0.9"))
        assert (apart.high or 0) - (apart.low or 0) > 2 * ((alike.high or 0) - (alike.low or 0))

    def test_of_what_is_made_by_the_kilogram_has_the_interval_of_any_other_figure(self) -> None:
        batches = [batch(f"b{place}", "100", good, Fact.YIELD_SHARE) for place, good in enumerate(["90", "94", "98"])]

        (found,) = learnt(batches, BY_THE_KILOGRAM)

        half = D("4.303") * D("0.0008").sqrt()
        assert (round(found.low or 0, 20), found.high) == (round(D("0.94") - half, 20), 1)

    def test_is_never_above_one_nor_is_any_share(self) -> None:
        assert taught("9/10", "11/10", fact=Fact.LOAD_FACTOR).high == 1
        assert (taught("9/10", "11/10", fact=Fact.CYCLE_MINUTES).high or 0) > 1


class TestAnOutlier:
    USUAL = ("40/1", "41/1", "39/1", "42/1", "38/1")

    def test_is_named_and_stays_in_the_figure(self) -> None:
        found = taught(*self.USUAL, "75/1")

        assert [(each.code, each.value) for each in found.outliers] == [("b5", 75)]
        assert round(found.value, 9) == round(D(275) / 6, 9)
        assert found.without_outliers == 40

    def test_is_beyond_a_modified_z_score_of_3_5(self) -> None:
        # The median is 40.5 and the MAD 1.5; 3.5 × 1.5 ÷ 0.6745 = 7.78
        assert taught(*self.USUAL, "48/1").outliers == ()
        assert [each.value for each in taught(*self.USUAL, "49/1").outliers] == [49]

    def test_is_not_told_among_few(self) -> None:
        found = taught("40/1", "40/1", "41/1", "99/1")

        assert (found.outliers, found.without_outliers) == ((), None)

    def test_is_told_where_all_others_are_alike(self) -> None:
        found = taught(*["40/1"] * 8, "55/1")

        assert [each.value for each in found.outliers] == [55]

    def test_is_not_told_where_all_are_alike(self) -> None:
        assert taught(*["40/1"] * 8).outliers == ()

    @pytest.mark.parametrize(("good", "is_out"), [("19", False), ("10", True)])
    def test_among_yields_differs_by_more_than_chance(self, good: str, is_out: bool) -> None:
        found = taught(*["20/20"] * 9, f"{good}/20", fact=Fact.YIELD_SHARE)

        assert bool(found.outliers) is is_out

    def test_among_yields_is_judged_by_its_pieces(self) -> None:
        pairs = ["95/100", "94/100", "96/100", "95/100", "97/100", "93/100"]

        found = taught(*pairs, "4/5", "800/1000", fact=Fact.YIELD_SHARE)

        assert [each.code for each in found.outliers] == ["b7"]


class TestStudentsT:
    """NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2."""

    @pytest.mark.parametrize(
        ("free", "t"), [(1, "12.706"), (10, "2.228"), (30, "2.042"), (39, "2.042"), (40, "2.021"), (9999, "1.984")]
    )
    def test_is_the_tabulated_one_or_the_wider_of_its_neighbours(self, free: int, t: str) -> None:
        assert t_of_95_per_cent(free) == D(t)


class TestLaws:
    @tried
    @given(
        st.lists(st.tuples(figures("0.5", "90"), figures("0", "90")), min_size=1, max_size=12),
        st.sampled_from(Fact),
        st.randoms(use_true_random=False),
    )
    def test_the_order_of_batches_is_irrelevant(
        self, pairs: list[tuple[Decimal, Decimal]], fact: Fact, random: Random
    ) -> None:
        batches = [
            batch(f"b{place}", f"{weight:f}", f"{min(weight, amount):f}", fact)
            for place, (weight, amount) in enumerate(pairs)
        ]
        shuffled = random.sample(batches, len(batches))

        assert learnt(batches, PRODUCTS) == learnt(shuffled, PRODUCTS)

    @tried
    @given(st.lists(st.tuples(figures("0.5", "90"), figures("0", "90")), min_size=2, max_size=12))
    def test_a_figure_is_within_its_interval_and_its_batches(self, pairs: list[tuple[Decimal, Decimal]]) -> None:
        for fact in (Fact.CYCLE_MINUTES, Fact.YIELD_SHARE):
            found = taught(*(f"{min(weight, amount):f}/{weight:f}" for weight, amount in pairs), fact=fact)

            assert found.low is not None
            assert found.high is not None
            assert found.low <= found.value <= found.high
            assert found.lowest <= found.value <= found.highest
