"""Showing exact figures: digits by annotation, nested parts, sums that add up, and refusals."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.values.errors import FigureTooLargeError
from service.domain.values.exact import exactly
from service.domain.values.money import Money
from service.domain.values.shown import (
    AT_MINOR_UNIT,
    WITH_MORE_DIGITS,
    Figure,
    Quantity,
    ShownShare,
    SumOf,
    UnitAmount,
    UnitRate,
    shown,
)
from tests.domain.examples import euros
from tests.domain.strategies import figures

LONG = Decimal("1.23456789012345")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of a sheet."""

    name: str
    price: Money
    quantity: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A figure of every kind."""

    name: str
    exact: Decimal = LONG
    paid: Money | None = None
    per_piece: UnitAmount | None = None
    rate: UnitRate | None = None
    share: ShownShare | None = None
    figure: Figure | None = None
    each: tuple[Quantity, ...] = ()
    by_name: Mapping[str, Money] | None = None
    days: Mapping[str, int] | None = None
    part: Part | None = None
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Amounts and their sum."""

    profit: Annotated[Money, SumOf(("proceeds",), ("cost",))]
    proceeds: UnitAmount
    cost: UnitAmount


@dataclass(frozen=True, slots=True, kw_only=True)
class Exact:
    """Unrounded."""

    name: str = "it"
    price: Decimal = LONG
    quantity: Decimal = LONG


class TestDigits:
    @pytest.mark.parametrize(
        ("field", "text"),
        [("paid", "1.23 EUR"), ("per_piece", "1.234568 EUR"), ("rate", "1.234568"), ("share", "1.234568")],
    )
    def test_are_those_of_the_annotation(self, field: str, text: str) -> None:
        assert str(getattr(shown(Sheet, "EUR", name="", **{field: LONG}), field)) == text

    def test_of_amounts_follow_the_currency(self) -> None:
        assert str(shown(Sheet, "JPY", name="", paid=LONG).paid) == "1 JPY"
        assert str(shown(Sheet, "JPY", name="", per_piece=LONG).per_piece) == "1.2346 JPY"
        assert (AT_MINOR_UNIT.decimals_in("KWD"), WITH_MORE_DIGITS.decimals_in("KWD")) == (3, 7)

    def test_of_quantities_and_figures_end_where_nothing_follows(self) -> None:
        found = shown(Sheet, "", name="", each=[LONG, Decimal("1E+2")], figure=Decimal("1.500"), share=Decimal("0.5"))

        assert list(map(str, found.each)) == ["1.23456789", "100"]
        assert (str(found.figure), str(found.share)) == ("1.5", "0.500000")

    def test_are_all_kept_without_an_annotation(self) -> None:
        assert shown(Sheet, "", name="", exact=LONG / 3).exact == LONG / 3

    def test_beyond_those_the_service_computes_are_refused(self) -> None:
        with pytest.raises(FigureTooLargeError):
            shown(Sheet, "EUR", name="", paid=Decimal("1E+27"))


class TestWhatIsShown:
    def test_is_the_given_value_or_that_of_the_first_source_or_the_default(self) -> None:
        found = shown(Part, "EUR", Exact(name="first"), Exact(name="second"), quantity=2)

        assert found == Part(name="first", price=euros("1.23"), quantity=Decimal(2))
        assert shown(Sheet, "EUR", Exact()) == Sheet(name="it")

    def test_includes_nested_parts_in_lists_and_mappings(self) -> None:
        part = Part(name="it", price=euros("1.23"), quantity=Decimal("1.23456789"))

        found = shown(Sheet, "EUR", name="", part=Exact(), parts=[Exact(), Exact()], by_name={"a": LONG}, days={"b": 1})

        assert (found.part, found.parts) == (part, (part, part))
        assert (found.by_name, found.days) == ({"a": euros("1.23")}, {"b": 1})

    def test_is_not_changed_by_being_shown_again(self) -> None:
        found = shown(Sheet, "EUR", Exact(), paid=LONG, per_piece=LONG, figure=LONG, parts=[Exact()])

        assert shown(Sheet, "EUR", found) == found

    def test_leaves_money_of_any_currency_as_it_is(self) -> None:
        yen = Money(amount=Decimal("1.5"), currency="JPY")

        assert shown(Sheet, "EUR", name="", paid=yen).paid is yen

    def test_is_computed_exactly_whatever_the_caller_does(self) -> None:
        class Thirds:
            name = "it"

            @property
            def exact(self) -> Decimal:
                return Decimal(1) / 3

        assert shown(Sheet, "", Thirds()).exact == exactly(lambda: Decimal(1) / 3)()

    def test_needs_every_field(self) -> None:
        with pytest.raises(TypeError, match="quantity"):
            shown(Part, "EUR", name="it", price=LONG)

    @pytest.mark.parametrize("told", [{"colour": "red"}, {"profit": LONG}])
    def test_accepts_no_other_fields_and_no_given_sums(self, told: dict[str, object]) -> None:
        with pytest.raises(TypeError, match=next(iter(told))):
            shown(Sums, "EUR", proceeds=LONG, cost=LONG, **told)


@given(figures("0", "99999", 9), figures("0", "99999", 9), st.sampled_from(["EUR", "JPY", "KWD"]))
def test_sums_add_up_from_what_is_shown(proceeds: Decimal, cost: Decimal, currency: str) -> None:
    found = shown(Sums, currency, proceeds=proceeds, cost=cost)

    assert found.profit.amount == found.proceeds.amount - found.cost.amount
    assert found.profit.currency == currency
    assert found.profit.amount.as_tuple().exponent == -WITH_MORE_DIGITS.decimals_in(currency)
