"""Records check themselves: what is counted must be able to be."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.records.batch_record import ElectricityCount
from service.domain.values.errors import InvalidValuesError
from tests.domain.records.recorded import a_record

EUR = {"amount": "12", "currency": "EUR"}


def refused(**changes: Any) -> dict[str, str]:
    """The reasons of a refusal, by the members they name."""
    with pytest.raises(InvalidValuesError) as caught:
        a_record(**changes)
    return {"/".join(map(str, each.path)): each.reason for each in caught.value.problems}


class TestUnits:
    def test_more_good_units_than_were_started_are_refused(self) -> None:
        assert refused(good_units="21", units_started="20") == {
            "good_units": "must be 20 or less, which is all that was started"
        }

    @pytest.mark.parametrize("lost", [{}, {"units_started": "0"}])
    def test_a_batch_of_no_good_unit_says_what_was_begun(self, lost: dict[str, Any]) -> None:
        reasons = refused(good_units="0", **lost)

        assert reasons == {"units_started": "is required where no unit is good: what was begun is what was lost"}

    @pytest.mark.parametrize(
        "begun", [{"units_started": "4"}, {"operations": [{"operation": "pressing", "scrap": "4"}]}]
    )
    def test_a_batch_of_no_good_unit_is_a_batch(self, begun: dict[str, Any]) -> None:
        assert a_record(good_units="0", **begun).good_units == 0

    def test_scrap_of_a_part_does_not_say_what_was_begun(self) -> None:
        assert "units_started" in refused(
            good_units="0", operations=[{"operation": "cutting", "product": "lid", "scrap": "4"}]
        )

    def test_are_counted_to_three_decimals(self) -> None:
        assert a_record(good_units="12.125", units_started="12.5000").units_started == Decimal("12.5")
        assert refused(good_units="0.0001") == {"good_units": "must have at most 3 decimals"}


class TestWhatIsCounted:
    @pytest.mark.parametrize(
        ("count", "problems"),
        [
            (
                {"materials": [{"material": "hdpe"}]},
                {"issued": "is required, or returned or paid: leave out what nobody counted"},
            ),
            (
                {"materials": [{"material": "hdpe", "issued": "1", "paid_for": "2"}]},
                {"paid": "is required with paid_for, which is the quantity that was paid for"},
            ),
            (
                {"materials": [{"material": "hdpe", "issued": "0", "paid": EUR}]},
                {"paid_for": "is required, for nothing was issued that this could have paid for"},
            ),
            (
                {"materials": [{"material": "hdpe", "issued": "1.5", "returned": "2"}]},
                {"returned": "must be 1.5 or less, which is all that was issued"},
            ),
            (
                {"operations": [{"operation": "pressing"}]},
                {"minutes": "is required, or scrap: leave out the operation if neither was counted"},
            ),
            (
                {"operations": [{"operation": "pressing", "minutes": "5", "setup_minutes": "6"}]},
                {"setup_minutes": "must be 5 or less, which is all that it took"},
            ),
            (
                {"labour": [{"labour_grade": "operator"}]},
                {"hours": "is required, or paid: leave out what nobody counted"},
            ),
            (
                {"labour": [{"labour_grade": "operator", "hours": "0", "paid": EUR}]},
                {"hours": "must be more than 0 where hours are paid or idle"},
            ),
            (
                {"labour": [{"labour_grade": "operator", "hours": "0", "idle_hours": "1"}]},
                {"hours": "must be more than 0 where hours are paid or idle"},
            ),
            (
                {"electricity": [{"tariff": "grid"}]},
                {"kwh": "is required, or a meter or paid: leave out what nobody counted"},
            ),
            (
                {"electricity": [{"tariff": "grid", "kwh": "1", "meter_end": "2"}]},
                {"kwh": "give either kwh or the meter, not both"},
            ),
            ({"electricity": [{"tariff": "grid", "meter_end": "2"}]}, {"meter_begin": "is required with meter_end"}),
            ({"electricity": [{"tariff": "grid", "meter_begin": "2"}]}, {"meter_end": "is required with meter_begin"}),
            (
                {"electricity": [{"tariff": "grid", "meter_begin": "20", "meter_end": "19.5"}]},
                {"meter_end": ("must be 20 or more, which is meter_begin; give kwh if the meter began again at 0")},
            ),
            (
                {"electricity": [{"tariff": "grid", "kwh": "0", "paid": EUR}]},
                {"paid": "must be left out where nothing was used"},
            ),
        ],
    )
    def test_is_refused_by_the_member_that_cannot_be(self, count: dict[str, Any], problems: dict[str, str]) -> None:
        assert refused(**count) == problems

    def test_a_negative_meter_is_refused(self) -> None:
        meter = {"tariff": "grid", "meter_begin": "-1", "meter_end": "2"}

        assert refused(electricity=[meter]) == {"meter_begin": "must be 0 or more"}

    def test_a_meter_says_what_was_used(self) -> None:
        meter = ElectricityCount(tariff="grid", meter_begin=Decimal("100.5"), meter_end=Decimal(130))

        assert meter.counted_kwh == Decimal("29.5")

    @pytest.mark.parametrize(
        ("counts", "place"),
        [
            ({"materials": [{"material": "hdpe", "issued": "1"}] * 2}, "materials/1/material"),
            ({"labour": [{"labour_grade": "operator", "hours": "1"}] * 2}, "labour/1/labour_grade"),
            ({"overheads": [{"overhead": "rent", "paid": EUR}] * 2}, "overheads/1/overhead"),
            (
                {
                    "operations": [
                        {"operation": "pressing", "minutes": "1"},
                        {"operation": "pressing", "product": "sheet", "scrap": "1"},
                    ]
                },
                "operations/1/operation",
            ),
            ({"electricity": [{"tariff": "grid", "kwh": "1"}] * 2}, "electricity/1/tariff"),
            (
                {"electricity": [{"tariff": "grid", "kwh": "1"}, {"tariff": "grid", "band": "day", "kwh": "1"}]},
                "electricity/1/tariff",
            ),
        ],
    )
    def test_is_counted_once(self, counts: dict[str, Any], place: str) -> None:
        (path,) = refused(**counts)

        assert path == place

    def test_each_band_is_counted_by_itself(self) -> None:
        bands = [{"tariff": "grid", "band": band, "kwh": "1"} for band in ("day", "night")]

        assert len(a_record(electricity=[*bands, {"tariff": "solar", "kwh": "2"}]).electricity) == 3
