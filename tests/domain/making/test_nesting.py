"""Which products contain themselves, and which are in too many levels."""

import itertools

from service.domain.making.nesting import MAX_DEPTH, misnested

CODES = [str(level) for level in range(3 * MAX_DEPTH)]


def told(made_of: list[tuple[str, str]], *codes: str) -> dict[str, str]:
    return {code: f"{error.path[0]}: {error}" for code, error in misnested(made_of, codes)}


class TestLoops:
    def test_are_told_of_each_product_on_them_by_the_part_that_closes_them(self) -> None:
        made_of = [("top", "a"), ("a", "b"), ("b", "c"), ("c", "a"), ("b", "plain"), ("itself", "itself")]

        assert told(made_of, "top", "a", "b", "plain", "itself", "alone") == {
            "a": "b: a product cannot contain itself: a → b → c → a",
            "b": "c: a product cannot contain itself: b → c → a → b",
            "itself": "itself: a product cannot contain itself: itself → itself",
        }

    def test_between_two_loops_nothing_is_told(self) -> None:
        made_of = [("a", "a"), ("a", "between"), ("between", "b"), ("b", "b")]

        assert [*told(made_of, "a", "between", "b")] == ["a", "b"]

    def test_are_told_of_so_many_products_at_most(self) -> None:
        ring = [*zip(CODES, [*CODES[1:], CODES[0]], strict=True)]

        assert len(told(ring, *CODES)) == 50


class TestLevels:
    def test_as_many_as_allowed_are_nested_and_one_more_is_told_by_the_part_that_leads_deepest(self) -> None:
        chain = [*itertools.pairwise(CODES[:MAX_DEPTH])]

        assert told(chain, *CODES) == {}
        deeper = told([*chain, ("top", "shallow"), ("top", CODES[0])], "top", "shallow", CODES[7], CODES[MAX_DEPTH - 1])
        problem = f"more than {MAX_DEPTH} levels of sub-assemblies; split the product"
        assert deeper == {"top": f"0: {problem}", "7": f"8: {problem}", CODES[MAX_DEPTH - 1]: f": {problem}"}

    def test_reached_on_many_paths_are_counted_quickly(self) -> None:
        pairs = [(one, other + side) for one, other in itertools.pairwise(CODES) for side in "ab"]
        joined = [(each + side, each) for each in CODES for side in "ab"]

        assert "0" in told([*pairs, *joined], "0")

    def test_are_counted_whatever_the_number_of_products(self) -> None:
        codes = [str(level) for level in range(5_000)]

        assert len(told([*itertools.pairwise(codes)], *codes)) == 5_000
