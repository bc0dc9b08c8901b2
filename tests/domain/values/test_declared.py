"""Values that check themselves against the rules declared beside their fields."""

from collections.abc import Mapping
from dataclasses import FrozenInstanceError
from decimal import Decimal
from typing import Annotated

import pytest

from service.domain.values.declared import (
    Bounds,
    Code,
    Distinct,
    Length,
    Line,
    Name,
    NotNegative,
    Paragraph,
    Pieces,
    Positive,
    Share,
    Text,
    Then,
    declared,
    default_of,
    field_types,
    is_required,
    meanings,
    optional_of,
    rules_and_type,
)
from service.domain.values.errors import InvalidValueError, InvalidValuesError


@declared
class Crate:
    """Something to put bricks in.

    It has a docstring with more than one paragraph.

    Attributes:
        code: what it is called.
        pieces: how many go in,
            counted by hand.
        marks: on its sides.
        shares: of each colour.
        note: anything worth knowing.
            And more.

    Source: nowhere.
    """

    code: Code
    pieces: Pieces = 1
    marks: Annotated[tuple[Name, ...], Length(at_most=2)] = ()
    shares: Mapping[Code, Share] | None = None
    note: Line = ""

    def problems(self) -> list[InvalidValueError]:
        return [InvalidValueError(("note",), "must not be 'bad'")] if self.note == "bad" else []


class TestBounds:
    @pytest.mark.parametrize(
        ("bounds", "value", "problem"),
        [
            (Bounds(at_least=0), -1, "must be 0 or more"),
            (Bounds(above=0), 0, "must be more than 0"),
            (Bounds(at_most=1), 2, "must be 1 or less"),
            (Bounds(below=1), 1, "must be less than 1"),
            (Bounds(at_least=0, below=1), Decimal("0.99"), None),
            (Bounds(above=0, at_most=1), 1, None),
            (Bounds(), 10**30, None),
        ],
    )
    def test_say_what_is_wrong_and_what_would_be_right(
        self, bounds: Bounds, value: Decimal | int, problem: str | None
    ) -> None:
        assert bounds(value) == problem


class TestText:
    @pytest.mark.parametrize(
        ("hint", "value", "problem"),
        [
            (Name, "", "must have 1 to 200 characters"),
            (Name, "x" * 201, "must have 1 to 200 characters"),
            (Name, "   ", "must not be blank"),
            (Name, "two\nlines", "must not contain control characters or line breaks"),
            (Name, "line\u2028separator", "must not contain control characters or line breaks"),
            (Name, "\ud800", "must not contain control characters or line breaks"),
            (Name, "Bücher → 漢", None),
            (Line, "", None),
            (Paragraph, "two\nlines", None),
            (Paragraph, "a\ttab", "must not contain control characters"),
            (Code, "a b", "must be letters, digits, '.', '_' and '-', beginning with a letter or digit"),
            (Code, "-a", "must be letters, digits, '.', '_' and '-', beginning with a letter or digit"),
            (Code, "a\n", "must be letters, digits, '.', '_' and '-', beginning with a letter or digit"),
            (Code, "A-1_b.c", None),
        ],
    )
    def test_says_what_is_wrong_and_what_would_be_right(self, hint: object, value: str, problem: str | None) -> None:
        (rule,) = (each for each in rules_and_type(hint)[0] if isinstance(each, Text))

        assert rule(value) == problem


@declared
class Pile:
    """Crates on each other.

    Attributes:
        crates: from below.
        marks: of the pile.
        lowest: the one below all.
        note: anything worth knowing.
    """

    crates: Annotated[tuple[Crate, ...], Distinct(by="code", reason="stands in it twice", at_entry=True)] = ()
    marks: Annotated[tuple[Name, ...], Length(at_most=3), Distinct()] = ()
    lowest: Annotated[Crate, Then(rule=Bounds(at_most=9), member="pieces")] | None = None
    note: Annotated[Line, Then(rule=Text(max_length=3, min_length=0))] = ""

    def problems(self) -> list[InvalidValueError]:
        return [InvalidValueError(("note",), "must not be 'bad'")] if self.note == "bad" else []


class TestLaterRules:
    """`Distinct` and `Then` name the place within a field, and run once every field is valid by itself."""

    def test_a_pile_that_obeys_them_is_created(self) -> None:
        a, b = Crate(code="a"), Crate(code="b")

        assert Pile(crates=(a, b), marks=("x", "y"), lowest=a, note="abc").crates == (a, b)
        assert Pile().lowest is None

    def test_everything_that_breaks_them_is_named_with_its_place(self) -> None:
        a, b = Crate(code="a", pieces=10), Crate(code="b")

        with pytest.raises(InvalidValuesError) as caught:
            Pile(crates=(a, b, a, a), marks=("x", "x"), lowest=a, note="abcd")

        assert [(each.path, each.reason) for each in caught.value.problems] == [
            (("crates", 2, "code"), "stands in it twice"),
            (("crates", 3, "code"), "stands in it twice"),
            (("marks",), "must be different from each other"),
            (("lowest", "pieces"), "must be 9 or less"),
            (("note",), "must have 0 to 3 characters"),
        ]

    def test_they_run_before_the_rules_of_the_whole_and_after_those_of_fields(self) -> None:
        with pytest.raises(InvalidValuesError) as caught:
            Pile(marks=("x", "x"), note="bad")

        assert [each.path for each in caught.value.problems] == [("marks",), ("note",)]
        with pytest.raises(InvalidValuesError) as caught:
            Pile(marks=("x", "x", "x", "x"), note="bad")

        assert [each.reason for each in caught.value.problems] == ["must have 0 to 3 entries"]

    def test_they_are_not_among_the_rules_of_a_single_value(self) -> None:
        assert rules_and_type(Annotated[Line, Distinct(), Then(rule=Length(at_most=1))]) == rules_and_type(Line)

    def test_on_the_entries_of_a_field_they_are_refused(self) -> None:
        @declared
        class Row:
            names: tuple[Annotated[str, Then(rule=Length(at_most=1))], ...]

        with pytest.raises(AssertionError):
            Row(names=())


class TestDeclared:
    def test_a_value_within_its_rules_is_created_and_immutable(self) -> None:
        crate = Crate(code="c", shares={"red": Decimal(1)}, marks=("fragile",))

        with pytest.raises(FrozenInstanceError):
            crate.pieces = 2

    def test_every_field_that_breaks_a_rule_is_named_at_once(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            Crate(code="", pieces=0, marks=("a", "b", "c"), note="bad")

        assert [problem.path for problem in error.value.problems] == [("code",), ("pieces",), ("marks",)]
        assert "pieces: must be 1 or more; marks: must have 0 to 2 entries" in str(error.value)

    @pytest.mark.parametrize(
        ("fields", "message"),
        [
            ({"marks": ("fine", "")}, "marks: must have 1 to 200 characters"),
            ({"shares": {"not a code": Decimal(1)}}, "shares: must be letters, digits"),
            ({"shares": {"red": Decimal(2)}}, "shares: must be 1 or less"),
            ({"note": "bad"}, "note: must not be 'bad'"),
        ],
    )
    def test_entries_of_lists_and_mappings_and_rules_between_fields_are_checked_too(
        self, fields: dict[str, object], message: str
    ) -> None:
        with pytest.raises(InvalidValuesError) as error:
            Crate(code="c", **fields)

        assert message in str(error.value)


class TestWhatIsDeclared:
    def test_can_be_read_from_the_class(self) -> None:
        assert list(field_types(Crate)) == ["code", "pieces", "marks", "shares", "note"]
        assert [is_required(Crate, name) for name in ("code", "pieces")] == [True, False]
        assert [default_of(Crate, name) for name in ("code", "pieces", "marks")] == [None, 1, ()]

    def test_includes_meanings_of_several_lines_from_the_docstring(self) -> None:
        assert meanings(Crate) == {
            "code": "what it is called.",
            "pieces": "how many go in, counted by hand.",
            "marks": "on its sides.",
            "shares": "of each colour.",
            "note": "anything worth knowing. And more.",
        }

    def test_a_type_says_whether_it_is_optional_and_what_its_rules_are(self) -> None:
        assert optional_of(Positive | None) == Positive
        assert optional_of(Positive) is None
        assert optional_of(int | str) is None
        assert rules_and_type(NotNegative) == ((Bounds(at_least=0),), Decimal)
        assert rules_and_type(int) == ((), int)

    def test_a_class_without_a_docstring_has_no_meanings(self) -> None:
        class Bare:
            pass

        assert meanings(Bare) == {}
