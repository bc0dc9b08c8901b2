"""The messages of errors, and the facts they carry."""

from datetime import date

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.making.errors import ProductLoopError
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError


def test_values_are_named_by_their_path_and_several_at_once() -> None:
    one = InvalidValueError(("lines", 0, "quantity"), "must be 1 or more")
    other = InvalidValueError(["note"], "must not be blank")

    both = InvalidValuesError([one, other])

    assert str(both) == "lines/0/quantity: must be 1 or more; note: must not be blank"
    assert both.problems == (one, other)
    assert (other.path, other.reason) == (("note",), "must not be blank")


def test_missing_rates_are_named_with_the_first_day_of_those_that_begin_later() -> None:
    missing = [
        MissingRate(resource="materials/hdpe", first_valid_from=date(2027, 1, 1)),
        MissingRate(resource="tariffs/grid"),
    ]

    error = MissingRatesError(date(2026, 11, 25), missing)

    assert str(error) == (
        "no rate in force on 2026-11-25 for materials/hdpe (first rate from 2027-01-01), tariffs/grid"
    )
    assert error.missing == tuple(missing)


def test_a_loop_and_a_limit_carry_the_member_that_goes_too_far_where_it_is_known() -> None:
    assert ProductLoopError(["a", "b", "a"]).path == ()
    assert ProductLoopError(["a", "a"], ["bill_of_materials", 0]).path == ("bill_of_materials", 0)
    assert TooComplexError("resources", 7, ("bill_of_materials",)).path == ("bill_of_materials",)
