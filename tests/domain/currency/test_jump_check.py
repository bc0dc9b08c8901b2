"""Which published days are used at once, and which wait for confirmation."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from service.domain.currency.exchange_rates import FEED, FEED_MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.currency.jump_check import Judgement, Jump, judged, jump_warnings

START = date(2026, 11, 2)


def day(number: int, **rates: str) -> DayRates:
    """A day with these rates, published this many days after the start."""
    return DayRates(
        source=FEED,
        base="EUR",
        published_on=START + timedelta(days=number),
        rates={code: Decimal(rate) for code, rate in rates.items()},
    )


def dollars(*rates: str) -> list[DayRates]:
    """Consecutive days with these rates of the dollar."""
    return [day(number, USD=rate) for number, rate in enumerate(rates)]


def accepted(judgement: Judgement) -> list[int]:
    return [(each.published_on - START).days for each in judgement.accepted]


def held(judgement: Judgement) -> list[int]:
    return [(each.day.published_on - START).days for each in judgement.held]


class TestANewDay:
    @pytest.mark.parametrize(
        ("rate", "is_held"), [("1.2", False), ("0.8", False), ("1.2001", True), ("0.7999", True), ("10", True)]
    )
    def test_is_held_back_where_a_rate_differs_by_more_than_a_fifth(self, rate: str, is_held: bool) -> None:
        found = judged([day(1, USD=rate)], dollars("1.0"), [])

        assert (held(found), accepted(found)) == (([1], []) if is_held else ([], [1]))

    def test_is_held_back_whole_and_every_jump_is_reported(self) -> None:
        (waiting,) = judged([day(1, USD="1.5", JPY="160", GBP="0.2")], [day(0, USD="1", JPY="160", GBP="0.8")], []).held

        assert waiting.day == day(1, USD="1.5", JPY="160", GBP="0.2")
        assert waiting.jumps == (
            Jump(currency="USD", from_rate=Decimal(1), to_rate=Decimal("1.5"), share=Decimal("0.5")),
            Jump(currency="GBP", from_rate=Decimal("0.8"), to_rate=Decimal("0.2"), share=Decimal("0.75")),
        )

    def test_is_not_confirmed_by_the_day_after_it_which_may_be_just_as_wrong(self) -> None:
        found = judged([day(1, USD="10"), day(2, USD="10"), day(3, USD="1.01")], dollars("1"), [])

        assert (held(found), accepted(found)) == ([1, 2], [3])

    def test_is_compared_with_the_last_one_accepted_not_with_one_that_waits(self) -> None:
        waiting = [day(1, USD="10")]

        assert held(judged([day(2, USD="10")], dollars("1"), waiting)) == [2]
        assert accepted(judged([day(2, USD="1.1")], dollars("1"), waiting)) == [2]

    def test_is_held_back_however_long_those_before_it_have_waited(self) -> None:
        waiting = [day(number, USD="10") for number in range(1, 30)]

        assert held(judged([day(30, USD="10")], dollars("1"), waiting)) == [30]

    def test_that_was_held_back_is_judged_anew_if_it_comes_again(self) -> None:
        found = judged([day(1, USD="1.1")], dollars("1"), [day(1, USD="10")])

        assert (held(found), accepted(found)) == ([], [1])

    def test_does_not_compare_a_currency_that_was_not_there_before(self) -> None:
        assert accepted(judged([day(1, USD="1", GBP="99")], dollars("1"), [])) == [1]

    @pytest.mark.parametrize(("pause", "is_held"), [(FEED_MAX_AGE_DAYS, True), (FEED_MAX_AGE_DAYS + 1, False)])
    def test_does_not_compare_a_currency_that_paused_for_longer_than_a_rate_is_valid(
        self, pause: int, is_held: bool
    ) -> None:
        found = judged([day(pause, USD="1", ISK="125")], [day(0, USD="1", ISK="290"), day(pause - 1, USD="1")], [])

        assert bool(found.held) is is_held

    def test_that_corrects_one_is_compared_with_the_day_before_it_and_what_it_corrects_stays_in_use(self) -> None:
        found = judged([day(1, USD="10"), day(2, USD="1.15")], dollars("1", "1.1"), [])

        assert (held(found), accepted(found)) == ([1], [2])

    def test_that_corrects_the_newest_in_use_is_not_borne_out_by_the_day_after_it_either(self) -> None:
        found = judged([day(1, USD="10"), day(2, USD="10")], dollars("1", "1.1"), [])

        assert (held(found), accepted(found)) == ([1, 2], [])


class TestAHistory:
    def test_accepts_its_first_day_without_comparison(self) -> None:
        assert accepted(judged(dollars("1", "1.1"), [], [])) == [0, 1]

    def test_accepts_a_jump_that_its_next_day_confirms(self) -> None:
        found = judged(dollars("1", "1.5", "1.6", "1.5"), [], [])

        assert (held(found), accepted(found)) == ([], [0, 1, 2, 3])

    def test_holds_back_a_jump_of_a_single_day(self) -> None:
        found = judged(dollars("1", "10", "1.1"), [], [])

        assert (held(found), accepted(found)) == ([1], [0, 2])

    def test_holds_back_its_last_day_if_that_jumps(self) -> None:
        assert held(judged(dollars("1", "1", "1.5"), [], [])) == [2]

    def test_is_also_checked_against_the_days_in_use_that_follow_it(self) -> None:
        found = judged(dollars("1", "1.5"), [day(2, USD="1.5")], [])

        assert (held(found), accepted(found)) == ([], [0, 1])

    def test_looks_for_the_next_rate_of_the_same_currency(self) -> None:
        days = [day(0, TRY="1", USD="1"), day(1, TRY="2", USD="1"), day(2, USD="1"), day(3, TRY="2", USD="1")]

        assert held(judged(days, [], [])) == []

    def test_treats_a_currency_redenominated_under_another_code_as_a_new_one(self) -> None:
        """Euro foreign exchange reference rates, European Central Bank, 2005: 10,000 old lei became one new leu."""
        days = [
            DayRates(source=FEED, base="EUR", published_on=on, rates={code: Decimal(rate)})
            for on, code, rate in ((date(2005, 6, 30), "ROL", "36030"), (date(2005, 7, 1), "RON", "3.603"))
        ]

        assert judged(days, [], []) == Judgement(accepted=tuple(days), held=())


def test_the_same_days_in_any_order_are_judged_alike() -> None:
    days = dollars("1", "10", "1.1", "1.5", "1.6")

    assert judged(days[::-1], [], []) == judged(days, [], [])


class TestADayEnteredByHand:
    def warned(self, entered: DayRates, *before: DayRates) -> list[str]:
        return [
            str(each.text) for each in jump_warnings(entered, ExchangeRates(as_of=entered.published_on, days=before))
        ]

    def test_is_told_a_rate_that_jumps(self) -> None:
        (told,) = self.warned(day(1, GBP="86.4", USD="1.1"), day(0, GBP="0.8640", USD="1.16"))

        assert told == (
            "1 EUR is 86.4 GBP on 2026-11-03, but 0.864 GBP by the rates before it. Check the figure, and that it is "
            "for 1 EUR."
        )

    def test_is_compared_through_the_base_of_another_source(self) -> None:
        upside_down = DayRates(
            source="manual", base="GBP", published_on=START, rates={"EUR": Decimal("0.8640"), "USD": Decimal("1.30")}
        )

        (told,) = self.warned(upside_down, day(-1, GBP="0.8640", USD="1.1232"))

        assert told.startswith("1 GBP is 0.8640 EUR on 2026-11-02, but 1.157407 EUR by the rates before it.")

    @pytest.mark.parametrize(("pause", "is_told"), [(FEED_MAX_AGE_DAYS, True), (FEED_MAX_AGE_DAYS + 1, False)])
    def test_is_not_compared_with_what_is_too_old_to_be_used(self, pause: int, is_told: bool) -> None:
        assert bool(self.warned(day(pause, GBP="86.4"), day(0, GBP="0.8640"))) is is_told

    def test_is_told_a_figure_of_many_digits(self) -> None:
        (told,) = self.warned(day(1, GBP="0.9"), day(0, GBP="1234567890123456789012345678"))

        assert "but 1234567890123456789012345678 GBP" in told
