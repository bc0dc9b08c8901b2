"""The states of a quotation, and its number."""

from datetime import date
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.quoting.errors import QuotationStateError
from service.domain.quoting.life import (
    LEADS_TO,
    Event,
    Status,
    check_may_follow,
    chosen_quantities,
    count_of,
    number_of,
    status_on,
)
from service.domain.values.errors import InvalidValuesError
from tests.domain.quoting.test_quotation import a_quotation_line, quoted

MAY = {
    "issued": "draft",
    "accepted": "issued expired",
    "declined": "issued expired accepted",
    "superseded": "issued expired declined",
    "completed": "accepted",
}


class TestStates:
    @pytest.mark.parametrize(("event", "status"), list(product(MAY, Status)))
    def test_have_the_transitions_of_the_trade(self, event: str, status: Status) -> None:
        if status.value in MAY[event].split():
            check_may_follow(Event(event), "quotation Q000001", status)
        else:
            with pytest.raises(
                QuotationStateError, match=rf"^quotation Q000001 is {status.value} and cannot be"
            ) as error:
                check_may_follow(Event(event), "quotation Q000001", status)
            assert error.value.state == status.value

    def test_are_all_reached_by_an_event_after_the_first(self) -> None:
        assert set(LEADS_TO) == set(Event) - {Event.DRAFTED}
        assert {status.value for status in LEADS_TO.values()} == set(MAY)

    @pytest.mark.parametrize(("day", "status"), [("2026-11-30", "issued"), ("2026-12-01", "expired")])
    def test_what_is_issued_expires_after_its_last_day(self, day: str, status: str) -> None:
        assert status_on("issued", date(2026, 11, 30), date.fromisoformat(day)).value == status

    @pytest.mark.parametrize("status", ["draft", "accepted", "declined", "superseded", "completed"])
    def test_nothing_else_expires(self, status: str) -> None:
        assert status_on(status, date(2020, 1, 1), date(2026, 1, 1)).value == status


class TestNumbers:
    @given(st.integers(1, 10**17))
    def test_convert_back_to_their_count(self, count: int) -> None:
        assert count_of(number_of(count)) == count

    def test_have_six_digits_and_more_where_that_is_not_enough(self) -> None:
        assert (number_of(42), number_of(1_234_567)) == ("Q000042", "Q1234567")

    @pytest.mark.parametrize(
        "text",
        ["", "Q", "Q42", "42", "000042", "q000042", "Q0000042", "Q00004٢", "Q-00042", " Q000042", "Q" + "1" * 19],
    )
    def test_have_no_other_form(self, text: str) -> None:
        assert count_of(text) is None


class TestChosenQuantities:
    FIGURES = quoted(
        a_quotation_line(quantity_breaks=[50, 100]), a_quotation_line(product="part-1", quantity=3, quantity_breaks=[9])
    )

    def test_are_those_of_the_totals_where_nothing_is_said(self) -> None:
        assert chosen_quantities(None, self.FIGURES) == (20, 3)

    def test_may_be_any_that_is_offered(self) -> None:
        assert chosen_quantities([100, 9], self.FIGURES) == (100, 9)

    def test_that_are_not_offered_are_each_refused_by_place(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            chosen_quantities([30, 10], self.FIGURES)

        assert [str(each) for each in error.value.problems] == [
            "quantities/0: was not quoted; the line offers 20, 50, 100",
            "quantities/1: was not quoted; the line offers 3, 9",
        ]

    def test_must_be_one_for_each_line(self) -> None:
        with pytest.raises(InvalidValuesError, match="must name one for each of 2 lines"):
            chosen_quantities([20], self.FIGURES)
