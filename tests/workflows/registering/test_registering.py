"""Registering, replacing, retiring and bringing back, on every database engine."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from typing import Any

import pytest

from service.domain.audit import Action
from service.domain.making.errors import ProductLoopError
from service.domain.making.nesting import MAX_DEPTH
from service.domain.values.errors import InvalidValuesError, PugmillError, TooComplexError
from service.domain.values.references import Thing
from service.workflows.entity_tags import revision_tag
from service.workflows.errors import InUseError, NotRegisteredError, PreconditionFailedError
from service.workflows.registering import registering
from tests.support import builders
from tests.workflows.owner import Owner


def made_of(*parts: str) -> dict[str, Any]:
    lines = [{"product": part, "quantity_per_piece": "1"} for part in parts]
    return {"name": "Assembly", "bill_of_materials": lines} if parts else builders.product()


def never(_tag: str | None) -> bool:
    return False


class TestRegistering:
    def test_the_same_again_changes_nothing_and_does_not_raise_the_revision(self, owner: Owner) -> None:
        first = owner.put("materials/hdpe", builders.material())
        again = owner.put("materials/hdpe", builders.material())

        assert (first.action, again.action) == (Action.REGISTERED, None)
        assert again.revision == first.revision == owner.revision

    def test_something_else_replaces_it_and_raises_the_revision(self, owner: Owner) -> None:
        first = owner.put("materials/hdpe", builders.material())
        second = owner.put("materials/hdpe", builders.material(name="HDPE, white"))

        assert second.action is Action.REPLACED
        assert second.revision == first.revision + 1 == owner.revision
        found = registering.find_one(owner.workspace, Thing("materials", "hdpe"))
        assert (found.facts.name, found.revision) == ("HDPE, white", second.revision)

    def test_the_same_figure_in_other_digits_is_the_same(self, owner: Owner) -> None:
        owner.register("tariffs/grid", builders.tariff())
        owner.put("machines/press", builders.machine(rated_power_kw="12"))

        again = owner.put("machines/press", builders.machine(rated_power_kw="12.00"))

        assert again.action is None
        assert str(again.state.rated_power_kw) == "12"

    def test_all_unknown_references_are_reported_at_once_and_nothing_is_stored(self, owner: Owner) -> None:
        with pytest.raises(InvalidValuesError) as error:
            owner.put("products/sheet", builders.product())

        assert [str(problem) for problem in error.value.problems] == [
            "bill_of_materials/0/material: there is no material 'hdpe'; register it first",
            "operations/0/machine: there is no machine 'press'; register it first",
            "operations/0/labour/0/labour_grade: there is no labour grade 'operator'; register it first",
        ]
        assert owner.revision == 0
        with pytest.raises(NotRegisteredError, match="there is no product 'sheet'"):
            registering.find_one(owner.workspace, Thing("products", "sheet"))

    def test_the_first_unknown_references_are_told_the_nearest_that_there_is(self, owner: Owner) -> None:
        owner.register("materials/hdpe-flakes", builders.material())
        lines = [{"material": f"hdpe-flake-{each}", "quantity_per_piece": "1"} for each in (1, 1, 2, 3, 4, 5, 6)]

        with pytest.raises(InvalidValuesError) as error:
            owner.put("products/sheet", builders.product(bill_of_materials=lines, operations=[]))

        ends = [problem.reason.partition("; ")[2] for problem in error.value.problems]
        assert ends == [*["did you mean 'hdpe-flakes'?"] * 6, "register it first"]

    def test_what_belongs_to_another_workshop_is_not_found(self, furnished: Owner, other_owner: Owner) -> None:
        with pytest.raises(InvalidValuesError, match="there is no material 'hdpe'"):
            other_owner.put("products/sheet", builders.product())
        with pytest.raises(NotRegisteredError):
            registering.find_one(other_owner.workspace, Thing("materials", "hdpe"))
        with pytest.raises(NotRegisteredError):
            other_owner.retire("products/sheet")

    def test_shares_of_bands_that_the_machines_tariff_lacks_are_refused(self, furnished: Owner) -> None:
        operation = builders.operation(band_shares={"noon": "1"})

        with pytest.raises(InvalidValuesError, match="operations/0/band_shares: the tariff has no band noon"):
            furnished.put("products/sheet", builders.product(operations=[operation]))

    def test_shares_of_bands_that_miss_a_sum_of_1_by_the_last_digit_are_refused(self, furnished: Owner) -> None:
        operation = builders.operation(band_shares={"day": "0.5", "night": "0.5000000000000000000000000001"})

        with pytest.raises(InvalidValuesError, match="operations/0/band_shares: must add up to 1"):
            furnished.put("products/sheet", builders.product(operations=[operation]))

    def test_a_page_lists_things_by_code_from_after_a_given_one(self, owner: Owner) -> None:
        for code in ("b", "a", "c", "a-1"):
            owner.put(f"materials/{code}", builders.material())
        owner.retire("materials/c")

        def page(after: str, limit: int = 10) -> list[str]:
            found = registering.list_registered(owner.workspace, "materials", after=after, limit=limit)
            return [each.code for each in found]

        assert page("") == ["a", "a-1", "b"]
        assert page("a", limit=1) == ["a-1"]
        assert page("b") == []


class TestLoops:
    def test_a_product_in_itself_is_refused_naming_the_line_that_closes_the_loop(self, furnished: Owner) -> None:
        body = made_of()
        body["bill_of_materials"] = [*body["bill_of_materials"], {"product": "a", "quantity_per_piece": "1"}]

        with pytest.raises(ProductLoopError, match="a → a") as error:
            furnished.put("products/a", body)

        assert error.value.path == ("bill_of_materials", 1, "product")

    def test_a_loop_over_three_products_is_refused_by_the_call_that_closes_it(self, furnished: Owner) -> None:
        furnished.put("products/c", made_of())
        furnished.put("products/b", made_of("c"))
        furnished.put("products/a", made_of("b"))
        before = furnished.revision

        with pytest.raises(ProductLoopError, match="a product cannot contain itself: c → a → b → c") as error:
            furnished.put("products/c", made_of("sheet", "a"))

        assert (error.value.loop, error.value.path) == (("c", "a", "b", "c"), ("bill_of_materials", 1, "product"))
        assert furnished.revision == before
        found = registering.find_one(furnished.workspace, Thing("products", "c"))
        assert found.facts.sub_assemblies() == ()

    def test_of_two_calls_at_once_that_would_close_a_loop_one_is_refused(self, furnished: Owner) -> None:
        for code in ("a", "b"):
            furnished.put(f"products/{code}", made_of())

        def close(pair: tuple[str, str]) -> str:
            try:
                return str(furnished.put(f"products/{pair[0]}", made_of(pair[1])).action)
            except ProductLoopError:
                return "refused"

        with ThreadPoolExecutor(2) as threads:
            outcomes = sorted(threads.map(close, [("a", "b"), ("b", "a")]))

        assert outcomes == ["refused", "replaced"]


class TestDepth:
    def levels_down_to(self, owner: Owner, count: int) -> None:
        """Register products: level-1 is made of materials alone, each next level of the one before."""
        for level in range(1, count + 1):
            owner.put(f"products/level-{level}", made_of(f"level-{level - 1}") if level > 1 else made_of())

    def test_is_allowed_to_the_limit_and_refused_beyond_it(self, furnished: Owner) -> None:
        self.levels_down_to(furnished, MAX_DEPTH)

        with pytest.raises(TooComplexError, match=f"more than {MAX_DEPTH} levels of sub-assemblies") as error:
            furnished.put("products/one-more", made_of(f"level-{MAX_DEPTH}"))

        assert error.value.path == ("bill_of_materials", 0, "product")
        assert furnished.cost(f"level-{MAX_DEPTH}", quantity=1).lines

    @pytest.mark.parametrize("is_short_way_first", [False, True])
    def test_is_refused_in_whatever_order_the_lines_stand(self, furnished: Owner, is_short_way_first: bool) -> None:
        self.levels_down_to(furnished, MAX_DEPTH)
        parts = [f"level-{MAX_DEPTH}", f"level-{MAX_DEPTH // 2}"]

        with pytest.raises(TooComplexError):
            furnished.put("products/one-more", made_of(*(parts[::-1] if is_short_way_first else parts)))

    def test_is_refused_where_a_deeper_sub_assembly_is_put_below_existing_products(self, furnished: Owner) -> None:
        self.levels_down_to(furnished, MAX_DEPTH)
        furnished.put("products/below", made_of())

        with pytest.raises(TooComplexError) as error:
            furnished.put("products/level-1", made_of("below"))

        assert error.value.path == ("bill_of_materials", 0, "product")
        assert furnished.cost(f"level-{MAX_DEPTH}", quantity=1).lines


class TestRetiring:
    def test_what_is_in_use_is_refused_with_all_that_uses_it(self, furnished: Owner) -> None:
        furnished.put("products/crate", made_of("sheet"))
        users = {
            "materials/hdpe": ("products/sheet",),
            "machines/press": ("products/sheet",),
            "labour-grades/operator": ("products/sheet",),
            "tariffs/grid": ("machines/press",),
            "products/sheet": ("products/crate",),
        }

        for path, expected in users.items():
            with pytest.raises(InUseError, match=r"is used by .*; change or retire these first") as error:
                furnished.retire(path)
            assert error.value.users == expected

    def test_what_was_in_use_can_be_retired_once_nothing_uses_it_any_more(self, furnished: Owner) -> None:
        furnished.retire("products/sheet")
        furnished.retire("materials/hdpe")

        with pytest.raises(NotRegisteredError, match=r"material 'hdpe' was retired on \d{4}-\d\d-\d\d; PUT it again"):
            registering.find_one(furnished.workspace, Thing("materials", "hdpe"))
        with pytest.raises(NotRegisteredError):
            furnished.retire("materials/hdpe")
        with pytest.raises(InvalidValuesError, match="there is no material 'hdpe'; register it first"):
            furnished.put("products/sheet", builders.product())

    def test_a_pool_that_nothing_names_leaves_every_sheet(self, furnished: Owner) -> None:
        assert "overheads/rent" in {line.resource for line in furnished.cost().lines}

        furnished.retire("overheads/rent")

        assert "overheads/rent" not in {line.resource for line in furnished.cost().lines}

    def test_what_comes_back_is_created_and_has_its_rates_again(self, furnished: Owner) -> None:
        before = furnished.cost()
        furnished.retire("overheads/rent")
        revision = furnished.revision

        again = furnished.put("overheads/rent", {"name": "Rent", "base": "machine_hour"})

        assert (again.action, again.revision) == (Action.REGISTERED, revision + 1)
        assert furnished.cost() == before

    def test_a_rate_of_what_is_retired_can_be_neither_read_nor_changed(self, furnished: Owner) -> None:
        furnished.retire("overheads/rent")

        with pytest.raises(NotRegisteredError, match="overhead pool 'rent' was retired"):
            furnished.put_rate("overheads/rent", "2026-01-01", builders.overhead_rate())
        with pytest.raises(NotRegisteredError, match="overhead pool 'rent' was retired"):
            registering.list_rates(furnished.workspace, Thing("overheads", "rent"), after=None, limit=9)


class TestFactsThatRatesDependOn:
    @pytest.mark.parametrize(
        ("path", "body", "member"),
        [
            ("materials/hdpe", builders.material(unit="piece"), "unit"),
            ("tariffs/grid", builders.tariff(bands=["flat"]), "bands"),
            ("overheads/rent", {"name": "Rent", "base": "piece"}, "base"),
            ("taxes/vat", {"name": "VAT 21 %", "category": "Z"}, "category"),
        ],
    )
    def test_are_fixed_once_there_are_rates_even_for_what_was_retired(
        self, furnished: Owner, path: str, body: dict[str, Any], member: str
    ) -> None:
        reason = f"^{member}: its rates rest on this; register another one under a new code instead$"
        used = " and products/sheet" if path == "materials/hdpe" else ""
        with pytest.raises(InvalidValuesError, match=reason.replace(" rest", f"{used} rest")):
            furnished.put(path, body)

        for each in ("products/sheet", "machines/press", path):
            furnished.retire(each)
        with pytest.raises(InvalidValuesError, match=reason):
            furnished.put(path, body)

    def test_may_change_while_there_are_none(self, owner: Owner) -> None:
        owner.put("materials/hdpe", builders.material())

        assert owner.put("materials/hdpe", builders.material(unit="piece")).action is Action.REPLACED

    def test_do_not_include_the_name_or_the_note(self, furnished: Owner) -> None:
        assert furnished.put("materials/hdpe", builders.material(note="washed")).action is Action.REPLACED


class TestPreconditions:
    def test_that_do_not_hold_stop_every_change(self, furnished: Owner) -> None:
        revision = furnished.revision
        workspace, furnished_day = furnished.workspace, date(2026, 1, 1)
        changes = {
            "material 'hdpe'": lambda: furnished.put("materials/hdpe", builders.material(note="new"), never),
            "overhead pool 'rent'": lambda: furnished.retire("overheads/rent", never),
            "rate of material 'hdpe' from 2026-01-01": lambda: furnished.put_rate(
                "materials/hdpe", "2026-01-01", builders.material_rate("9"), never
            ),
            "rate of overhead pool 'rent' from 2026-01-01": lambda: registering.withdraw_rate(
                workspace, Thing("overheads", "rent"), furnished_day, never
            ),
            "entry of exchange rates for 2026-01-01 from 'manual'": lambda: furnished.put_exchange_rates(
                "2026-01-01", precondition=never, USD="1.1"
            ),
        }

        for what, change in changes.items():
            with pytest.raises(PreconditionFailedError, match="read it again and decide anew") as error:
                change()
            assert error.value.what == what
        assert furnished.revision == revision

    def test_compare_the_tag_of_what_exists_and_none_where_nothing_does(self, owner: Owner) -> None:
        seen: list[str | None] = []

        def remember(tag: str | None) -> bool:
            seen.append(tag)
            return True

        created = owner.put("materials/hdpe", builders.material(), remember)
        owner.put("materials/hdpe", builders.material(), remember)
        rated = owner.put_rate("materials/hdpe", "2026-01-01", builders.material_rate(), remember)
        owner.put_rate("materials/hdpe", "2026-01-01", builders.material_rate(), remember)
        entered = owner.put_exchange_rates("2026-01-01", precondition=remember, USD="1.1")
        owner.put_exchange_rates("2026-01-01", precondition=remember, USD="1.1")
        owner.retire("materials/hdpe", remember)
        owner.put("materials/hdpe", builders.material(), remember)

        known = [revision_tag(owner.workshop, done.revision) for done in (created, rated, entered)]
        assert seen == [None, known[0], None, known[1], None, known[2], known[0], None]


def test_every_refusal_is_one_that_the_caller_can_fix() -> None:
    for error in (NotRegisteredError, InUseError, PreconditionFailedError):
        assert issubclass(error, PugmillError)
