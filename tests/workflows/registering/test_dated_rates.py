"""Rates of resources and of currencies: entered, corrected, withdrawn and read, on every database engine."""

from datetime import date
from decimal import Decimal

import pytest

from service.domain.audit import Action
from service.domain.currency.exchange_rates import MANUAL, DayRates
from service.domain.values.errors import InvalidValuesError
from service.domain.values.money import Money
from service.domain.values.references import Thing
from service.workflows.currency import exchange
from service.workflows.errors import NotRegisteredError, PreconditionFailedError
from service.workflows.registering import registering
from tests.support import builders
from tests.workflows.owner import Owner


class TestRates:
    def test_the_same_again_changes_nothing_and_a_correction_replaces(self, furnished: Owner) -> None:
        again = furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate())
        corrected = furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate("0.85"))
        later = furnished.put_rate("materials/hdpe", "2027-01-01", builders.material_rate("0.90"))

        assert [each.action for each in (again, corrected, later)] == [None, Action.REPLACED, Action.REGISTERED]
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
            found = registering.list_rates(furnished.workspace, Thing("materials", "hdpe"), after=after, limit=2)
            return [rate.valid_from.isoformat() for rate in found]

        assert days(None) == ["2026-01-01", "2026-07-01"]
        assert days(date(2026, 7, 1)) == ["2027-05-01"]

    def test_withdrawn_leave_the_one_before_in_force(self, furnished: Owner) -> None:
        before = furnished.cost()
        furnished.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("99"))
        revision = furnished.revision

        registering.withdraw_rate(furnished.workspace, Thing.of("materials/hdpe"), date(2026, 11, 1))

        assert furnished.cost() == before
        assert furnished.revision == revision + 1
        on, day = furnished.workspace, date(2026, 11, 1)
        for reach in (
            lambda: registering.withdraw_rate(on, Thing.of("materials/hdpe"), day),
            lambda: registering.find_dated_rate(on, Thing("materials", "hdpe"), day),
        ):
            with pytest.raises(NotRegisteredError, match="there is no rate of material 'hdpe' from 2026-11-01"):
                reach()

    def test_are_read_back_with_the_revision_of_their_last_change(self, furnished: Owner) -> None:
        done = furnished.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("0.91"))

        found = registering.find_dated_rate(furnished.workspace, Thing("materials", "hdpe"), date(2026, 11, 1))

        assert found.revision == done.revision
        assert found.rate.terms == furnished.terms("materials/hdpe", builders.material_rate("0.91"))


class TestExchangeRates:
    def test_the_same_again_changes_nothing_and_other_rates_replace(self, owner: Owner) -> None:
        first = owner.put_exchange_rates("2026-11-02", USD="1.08")
        again = owner.put_exchange_rates("2026-11-02", USD="1.080")
        other = owner.put_exchange_rates("2026-11-02", USD="1.09", JPY="165")

        assert [each.action for each in (first, again, other)] == [Action.REGISTERED, None, Action.REPLACED]
        found = exchange.find_exchange_rates(owner.workspace, date(2026, 11, 2))
        assert found.revision == other.revision == first.revision + 1
        assert exchange.told(found.day) == other.state

    def test_of_a_day_without_any_are_not_there(self, owner: Owner, other_owner: Owner) -> None:
        other_owner.put_exchange_rates("2026-11-02", USD="1.08")

        with pytest.raises(NotRegisteredError, match="there is no entry of exchange rates for 2026-11-02"):
            exchange.find_exchange_rates(owner.workspace, date(2026, 11, 2))

    def test_are_listed_newest_first_and_by_source(self, owner: Owner) -> None:
        for day, source in (("2026-11-01", "b"), ("2026-11-02", "b"), ("2026-11-02", "a"), ("2026-11-02", "c")):
            owner.put_exchange_rates(day, source, USD="1.08")

        def page(before: tuple[date, str] | None) -> list[tuple[str, str]]:
            days = exchange.list_exchange_rates(owner.workspace, before=before, limit=3)
            return [(each.published_on.isoformat(), each.source) for each in days]

        assert page(None) == [("2026-11-02", "a"), ("2026-11-02", "b"), ("2026-11-02", "c")]
        assert page((date(2026, 11, 2), "b")) == [("2026-11-02", "c"), ("2026-11-01", "b")]

    def test_withdrawn_leave_the_day_before_in_use(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        furnished.put_exchange_rates("2026-11-20", USD="1.25")
        before = furnished.cost()
        furnished.put_exchange_rates("2026-11-24", USD="9")
        revision = furnished.revision

        exchange.withdraw_exchange_rates(furnished.workspace, date(2026, 11, 24), MANUAL)

        assert furnished.cost() == before
        assert furnished.revision == revision + 1

    def test_are_withdrawn_only_if_they_exist_and_have_not_changed(self, owner: Owner, other_owner: Owner) -> None:
        owner.put_exchange_rates("2026-11-02", USD="1.08")
        day = date(2026, 11, 2)

        for whose, source in ((other_owner, MANUAL), (owner, "customs")):
            with pytest.raises(NotRegisteredError, match=f"no entry of exchange rates for 2026-11-02 from '{source}'"):
                exchange.withdraw_exchange_rates(whose.workspace, day, source)
        with pytest.raises(PreconditionFailedError):
            exchange.withdraw_exchange_rates(owner.workspace, day, MANUAL, lambda _: False)

        assert exchange.find_exchange_rates(owner.workspace, day).day.rates == {"USD": Decimal("1.08")}


class TestImporting:
    def days(self, **dollars: str) -> list[DayRates]:
        """Days with this many dollars for a euro; d24 is the 24th of November."""
        return [
            DayRates(
                source="customs",
                base="EUR",
                published_on=date(2026, 11, int(name[1:])),
                rates={"USD": Decimal(rate), "HUF": Decimal(400)},
            )
            for name, rate in dollars.items()
        ]

    def test_stores_every_day_in_one_step(self, owner: Owner) -> None:
        found = exchange.import_exchange_rates(owner.workspace, self.days(d24="1.08", d2="1.07"))

        assert (found.source, found.first_day, found.last_day) == ("customs", date(2026, 11, 2), date(2026, 11, 24))
        assert (found.added, found.replaced, found.unchanged) == (2, 0, 0)
        assert owner.revision == 1

    def test_replaces_a_whole_day_and_changes_nothing_where_the_rates_are_the_same(self, owner: Owner) -> None:
        exchange.import_exchange_rates(owner.workspace, self.days(d2="1.07", d3="1.08"))

        changed = exchange.import_exchange_rates(owner.workspace, self.days(d2="1.070", d3="1.1", d4="1"))
        again = exchange.import_exchange_rates(owner.workspace, self.days(d2="1.07"))

        assert (changed.added, changed.replaced, changed.unchanged) == (1, 1, 1)
        assert (again.added, again.replaced, again.unchanged) == (0, 0, 1)
        assert owner.revision == 2

    def test_leaves_other_sources_and_other_workshops_alone(self, owner: Owner, other_owner: Owner) -> None:
        owner.put_exchange_rates("2026-11-02", USD="1.25")

        exchange.import_exchange_rates(owner.workspace, self.days(d2="1.07"))

        entered = exchange.find_exchange_rates(owner.workspace, date(2026, 11, 2))
        assert entered.day.rates == {"USD": Decimal("1.25")}
        assert exchange.list_exchange_rates(other_owner.workspace, before=None, limit=9) == []

    def test_gives_rates_that_count_as_long_as_those_entered_by_hand(self, owner: Owner) -> None:
        exchange.import_exchange_rates(owner.workspace, self.days(d2="1.07"))
        dollars = Money(amount=Decimal("1.07"), currency="USD")

        found = exchange.convert(owner.workspace, dollars, "EUR", date(2026, 12, 3))

        assert found.converted == Money(amount=Decimal("1.00"), currency="EUR")
        (shown,) = found.exchange_rates
        assert (shown.source, shown.age_days, shown.max_age_days) == ("customs", 31, 31)
