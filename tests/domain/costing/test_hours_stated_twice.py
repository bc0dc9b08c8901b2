"""Hours that a workshop states with a rate and again with a machine or a labour grade."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.hours_stated_twice import hours_stated_twice
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import LabourRate, MachineRate, MaterialRate
from service.domain.making.resources import LabourGrade
from service.domain.values.message import RateWarning
from service.domain.values.references import Registered
from tests.domain.examples import TODAY, a_machine, a_material, terms_of
from tests.support import builders


def found(resource: str, terms: Any, facts: Registered) -> tuple[RateWarning, ...]:
    return hours_stated_twice([(DatedRate(resource=resource, valid_from=TODAY, terms=terms), facts)])


def of_a_machine(planned: str, weekly: str | None, **terms: str) -> tuple[RateWarning, ...]:
    rate = terms_of(MachineRate, builders.machine_rate(planned_hours_per_year=planned, **terms))
    return found("machines/press", rate, a_machine(hours_per_week=weekly))


def of_a_grade(weekly: str | None, **terms: str) -> tuple[RateWarning, ...]:
    facts = LabourGrade(name="Operator", hours_per_week=None if weekly is None else Decimal(weekly))
    return found("labour-grades/operator", terms_of(LabourRate, builders.labour_rate(**terms)), facts)


class TestAMachine:
    def test_that_runs_other_hours_than_its_cost_is_spread_over_is_warned_of(self) -> None:
        (warning,) = of_a_machine("2000", "20", utilisation_share="0.8")

        assert (warning.code, warning.resources) == ("hours-stated-twice", ("machines/press",))
        assert "than the hours a week come to: Sheet press (1600 against 1040). Check both" in warning.text

    @pytest.mark.parametrize(
        ("planned", "is_warned_of"), [("1872", False), ("2288", False), ("1871.9", True), ("2288.1", True)]
    )
    def test_is_warned_of_by_more_than_a_tenth(self, planned: str, is_warned_of: bool) -> None:
        """40 hours a week are 2,080 a year."""
        assert bool(of_a_machine(planned, "40")) is is_warned_of

    def test_that_never_runs_though_its_cost_is_spread_is_warned_of(self) -> None:
        assert len(of_a_machine("1600", "0")) == 1

    def test_without_hours_a_week_is_stated_once(self) -> None:
        assert of_a_machine("10", None) == ()


class TestALabourGrade:
    def test_that_is_paid_for_other_hours_than_it_has_is_warned_of(self) -> None:
        (warning,) = of_a_grade("40", paid_hours_per_month="173.3", people="2")

        assert (warning.code, warning.resources) == ("hours-stated-twice", ("labour-grades/operator",))
        assert "than the hours a week come to: Operator (346.6 against 173.3). Check both" in warning.text

    def test_that_is_paid_for_its_hours_is_not(self) -> None:
        assert of_a_grade("80", paid_hours_per_month="173.3", people="2", productive_share="0.7") == ()

    @pytest.mark.parametrize(("weekly", "terms"), [("40", {}), (None, {"paid_hours_per_month": "1"})])
    def test_that_is_paid_by_the_hour_or_has_no_hours_a_week_states_them_once(
        self, weekly: str | None, terms: dict[str, str]
    ) -> None:
        assert of_a_grade(weekly, **terms) == ()


def test_several_share_one_warning() -> None:
    rate = terms_of(MachineRate, builders.machine_rate())
    rates = [
        (DatedRate(resource=f"machines/{code}", valid_from=TODAY, terms=rate), a_machine(name=code, hours_per_week="9"))
        for code in ("press", "saw")
    ]

    (warning,) = hours_stated_twice(rates)

    assert warning.resources == ("machines/press", "machines/saw")
    assert "press (1600 against 468), saw (1600 against 468)" in warning.text


def test_a_material_has_no_hours() -> None:
    assert found("materials/hdpe", terms_of(MaterialRate, builders.material_rate()), a_material()) == ()
