"""Rates of what is registered and of currencies: entered, corrected, withdrawn and read back, on every engine."""

from datetime import date

import pytest

from service.domain.errors import InvalidValuesError
from service.workflows import registering
from service.workflows.errors import NotRegisteredError
from service.workflows.registering import Outcome
from tests import builders
from tests.workflows.owner import Owner


class TestRates:
    def test_the_same_again_changes_nothing_and_a_correction_replaces(self, furnished: Owner) -> None:
        again = furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate())
        corrected = furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate("0.85"))
        later = furnished.put_rate("materials/hdpe", "2027-01-01", builders.material_rate("0.90"))

        assert [each.outcome for each in (again, corrected, later)] == [
            Outcome.UNCHANGED,
            Outcome.REPLACED,
            Outcome.CREATED,
        ]
        assert again.revision < corrected.revision < later.revision == furnished.revision

    def test_of_a_tariff_must_price_its_bands(self, furnished: Owner) -> None:
        flat = {"price_per_kwh": {"flat": builders.money("0.2")}}

        with pytest.raises(
            InvalidValuesError, match="price_per_kwh: must price exactly the tariff's bands: day, night"
        ):
            furnished.put_rate("tariffs/grid", "2027-01-01", flat)

    def test_of_what_is_not_registered_are_refused(self, owner: Owner) -> None:
        with pytest.raises(NotRegisteredError, match="there is no material 'hdpe'"):
            owner.put_rate("materials/hdpe", "2026-01-01", builders.material_rate())

    def test_are_listed_by_their_first_day(self, furnished: Owner) -> None:
        for day in ("2027-05-01", "2026-07-01"):
            furnished.put_rate("materials/hdpe", day, builders.material_rate("0.9"))

        def days(after: date | None) -> list[str]:
            found = registering.list_rates(
                furnished.database, furnished.workshop, "materials", "hdpe", after=after, limit=2
            )
            return [rate.valid_from.isoformat() for rate in found]

        assert days(None) == ["2026-01-01", "2026-07-01"]
        assert days(date(2026, 7, 1)) == ["2027-05-01"]

    def test_withdrawn_leave_the_one_before_in_force(self, furnished: Owner) -> None:
        before = furnished.cost()
        furnished.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("99"))
        revision = furnished.revision

        registering.withdraw_rate(furnished.database, furnished.workshop, "materials", "hdpe", date(2026, 11, 1))

        assert furnished.cost() == before
        assert furnished.revision == revision + 1
        for read in (registering.withdraw_rate, registering.find_dated_rate):
            with pytest.raises(NotRegisteredError, match="there is no rate of material 'hdpe' from 2026-11-01"):
                read(furnished.database, furnished.workshop, "materials", "hdpe", date(2026, 11, 1))

    def test_are_read_back_with_the_revision_of_their_last_change(self, furnished: Owner) -> None:
        done = furnished.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("0.91"))

        found = registering.find_dated_rate(
            furnished.database, furnished.workshop, "materials", "hdpe", date(2026, 11, 1)
        )

        assert found.revision == done.revision
        assert found.rate.terms == furnished.terms("materials/hdpe", builders.material_rate("0.91"))


class TestExchangeRates:
    def test_the_same_again_changes_nothing_and_other_rates_replace(self, owner: Owner) -> None:
        first = owner.put_exchange_rates("2026-11-02", USD="1.08")
        again = owner.put_exchange_rates("2026-11-02", USD="1.080")
        other = owner.put_exchange_rates("2026-11-02", USD="1.09", JPY="165")

        assert [each.outcome for each in (first, again, other)] == [
            Outcome.CREATED,
            Outcome.UNCHANGED,
            Outcome.REPLACED,
        ]
        found = registering.find_exchange_rates(owner.database, owner.workshop, date(2026, 11, 2))
        assert found.revision == other.revision == first.revision + 1
        assert found.day == other.state

    def test_of_a_day_without_any_are_not_there(self, owner: Owner, other_owner: Owner) -> None:
        other_owner.put_exchange_rates("2026-11-02", USD="1.08")

        with pytest.raises(NotRegisteredError, match="there is no entry of exchange rates for 2026-11-02"):
            registering.find_exchange_rates(owner.database, owner.workshop, date(2026, 11, 2))

    def test_are_listed_newest_first_and_by_source(self, owner: Owner) -> None:
        for day, source in (("2026-11-01", "b"), ("2026-11-02", "b"), ("2026-11-02", "a"), ("2026-11-02", "c")):
            owner.put_exchange_rates(day, source, USD="1.08")

        def page(before: tuple[date, str] | None) -> list[tuple[str, str]]:
            days = registering.list_exchange_rates(owner.database, owner.workshop, before=before, limit=3)
            return [(each.published_on.isoformat(), each.source) for each in days]

        assert page(None) == [("2026-11-02", "a"), ("2026-11-02", "b"), ("2026-11-02", "c")]
        assert page((date(2026, 11, 2), "b")) == [("2026-11-02", "c"), ("2026-11-01", "b")]
