"""Tables of kinds: one entry holds all the traits of a kind."""

import pytest

from service.domain.making.overheads import OverheadBase, OverheadBaseTraits
from service.domain.pricing.policy import Target, TargetTraits
from service.domain.records.observation import Fact, FactTraits
from service.domain.reviewing.variance_kinds import VarianceKind, VarianceTraits
from service.domain.selling.fees import FeeBase, FeeBaseTraits
from service.domain.values.kinds import Kind

TABLES: list[tuple[type[Kind], type]] = [
    (Target, TargetTraits),
    (FeeBase, FeeBaseTraits),
    (OverheadBase, OverheadBaseTraits),
    (Fact, FactTraits),
    (VarianceKind, VarianceTraits),
]


@pytest.mark.parametrize(("table", "traits"), TABLES, ids=[table.__name__ for table, _ in TABLES])
class TestATable:
    def test_has_the_traits_of_every_kind(self, table: type[Kind], traits: type) -> None:
        assert {type(getattr(kind, "traits", None)) for kind in table} == {traits}

    def test_cannot_be_declared_with_a_kind_without_traits(self, table: type[Kind], traits: type) -> None:
        entries = {kind.name: (kind.value, kind.traits) for kind in table}  # type: ignore[attr-defined]

        with pytest.raises(ValueError, match="not enough values"):
            Kind("Grown", {**entries, "NEW": ("new",)})

    def test_gives_no_two_kinds_the_same_traits(self, table: type[Kind], traits: type) -> None:
        assert len({kind.traits for kind in table}) == len(table)  # type: ignore[attr-defined]

    def test_finds_a_kind_by_its_value_alone(self, table: type[Kind], traits: type) -> None:
        assert [table(kind.value) for kind in table] == list(table)


class TestAnOverheadBase:
    @pytest.mark.parametrize("base", OverheadBase)
    def test_is_either_a_quantity_with_a_unit_or_the_value_of_a_heading(self, base: OverheadBase) -> None:
        traits = base.traits

        assert (traits.quantity is None) == (not traits.unit) == (traits.charged is not None)


class TestATarget:
    @pytest.mark.parametrize("target", [each for each in Target if not each.traits.is_price])
    def test_that_asks_for_a_profit_has_a_description(self, target: Target) -> None:
        assert target.traits.aim
