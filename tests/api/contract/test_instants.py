"""Parameters that are moments: instants, or days in the workshop's time zone."""

from datetime import UTC, datetime

import pytest

from service.api.contract.instants import instant_of, instant_problem


class TestMoments:
    @pytest.mark.parametrize(
        ("text", "instant"),
        [
            ("2026-11-25T09:30:00Z", datetime(2026, 11, 25, 9, 30, tzinfo=UTC)),
            ("2026-11-25t09:30:00.25z", datetime(2026, 11, 25, 9, 30, 0, 250_000, tzinfo=UTC)),
            ("2026-11-25T09:30:00+05:45", datetime(2026, 11, 25, 3, 45, tzinfo=UTC)),
            ("2026-11-25T23:30:00-01:00", datetime(2026, 11, 26, 0, 30, tzinfo=UTC)),
            ("2026-11-25T09:30:00.123456789Z", datetime(2026, 11, 25, 9, 30, 0, 123_456, tzinfo=UTC)),
        ],
    )
    def test_an_instant_does_not_depend_on_the_time_zone(self, text: str, instant: datetime) -> None:
        assert instant_problem(text) is None
        assert instant_of(text, "Europe/Dublin") == instant_of(text, "UTC", is_end=True) == instant

    def test_a_day_begins_and_ends_in_the_workshop_s_time_zone(self) -> None:
        """On 29 March 2026 clocks go forward in Dublin, so the day has 23 hours."""
        day = "2026-03-29"

        assert instant_of(day, "Europe/Dublin") == datetime(2026, 3, 29, tzinfo=UTC)
        assert instant_of(day, "Europe/Dublin", is_end=True) == datetime(2026, 3, 29, 23, tzinfo=UTC)

    @pytest.mark.parametrize("text", ["1900-01-01", "2999-12-31"])
    def test_the_first_and_the_last_day_are_valid(self, text: str) -> None:
        assert instant_problem(text) is None
        assert instant_of(text, "Pacific/Kiritimati") < instant_of(text, "Pacific/Pago_Pago", is_end=True)

    @pytest.mark.parametrize("text", ["1899-12-31", "3000-01-01"])
    def test_days_beyond_them_are_refused(self, text: str) -> None:
        assert instant_problem(text) == "must be from 1900 to 2999"

    @pytest.mark.parametrize(
        "text",
        [
            "",
            "2026",
            "2026-02-30",
            "2026-1-1",
            "2026-11-25 09:30:00Z",
            "2026-11-25T09:30Z",
            "2026-11-25T09:30:00",
            "2026-11-25T24:00:00Z",
            "2026-11-25T09:30:60Z",
            "2026-11-25T09:30:00+24:00",
            "2026-11-25\n",
            "٢٠٢٦-11-25",
            "2026-W48-3",
        ],
    )
    def test_anything_else_is_refused(self, text: str) -> None:
        assert "such as 2026-11-25" in (instant_problem(text) or "")
