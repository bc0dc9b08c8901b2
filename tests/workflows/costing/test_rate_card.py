"""The rate card of a day with the components of each unit rate, on every database engine."""

from datetime import date
from decimal import Decimal

import pytest

from service.domain.currency.errors import MissingExchangeRateError
from service.workflows.costing.rate_card import StatedRateCard, rate_card_on
from tests.domain.examples import TODAY
from tests.support import builders
from tests.workflows.owner import Owner


def card(owner: Owner, as_of: date = TODAY) -> StatedRateCard:
    return rate_card_on(owner.workspace, as_of)


class TestTheCard:
    def test_shows_what_is_in_force_in_order_with_unit_and_components(self, furnished: Owner) -> None:
        furnished.register(
            "tools/mould", {"name": "Mould"}, **{"2026-01-01": {"cost": builders.money("300"), "life_shots": "600"}}
        )
        furnished.register(
            "overheads/insurance",
            {"name": "Insurance", "base": "direct_material_value"},
            **{"2026-01-01": builders.overhead_rate("50", "1000")},
        )

        found = card(furnished)

        units = {each.resource: (each.unit, str(each.amount)) for entry in found.rates for each in entry.unit_rates}
        assert units == {
            "labour-grades/operator": ("h", "15.000000"),
            "machines/press": ("h", "1.500000"),
            "materials/hdpe": ("kg", "0.800000"),
            "overheads/insurance": ("direct_material_value", "0.050000"),
            "overheads/rent": ("h", "3.000000"),
            "tariffs/grid#day": ("kWh", "0.300000"),
            "tariffs/grid#night": ("kWh", "0.180000"),
            "tools/mould": ("shot", "0.500000"),
            "tools/mould#entire": ("piece", "300.000000"),
        }
        assert [entry.resource for entry in found.rates] == sorted(entry.resource for entry in found.rates)
        machine = next(entry for entry in found.rates if entry.resource == "machines/press")
        assert machine.name == "Sheet press"
        assert machine.terms["life_years"] == "10"
        assert machine.unit_rates[0].components["depreciation"] == Decimal("1.500000")
        insurance = next(entry for entry in found.rates if entry.resource == "overheads/insurance")
        assert insurance.unit_rates[0].components == {"share": Decimal("0.050000")}
        tax = next(entry for entry in found.rates if entry.resource == "taxes/vat")
        assert tax.unit_rates == ()

    def test_is_that_of_the_day_with_the_last_rate_before_it(self, furnished: Owner) -> None:
        for day, price in (("2026-11-25", "2"), ("2026-11-26", "3"), ("2026-03-01", "1")):
            furnished.put_rate("materials/hdpe", day, builders.material_rate(price))

        def price(as_of: date) -> tuple[date, Decimal]:
            entry = next(each for each in card(furnished, as_of).rates if each.resource == "materials/hdpe")
            return entry.valid_from, entry.unit_rates[0].amount

        assert price(TODAY) == (TODAY, 2)
        assert price(date(2026, 11, 24)) == (date(2026, 3, 1), 1)
        assert card(furnished, date(2025, 12, 31)).rates == ()

    def test_leaves_out_retired_resources_and_those_of_another_workshop(
        self, furnished: Owner, other_owner: Owner
    ) -> None:
        furnished.retire("overheads/rent")

        assert "overheads/rent" not in [entry.resource for entry in card(furnished).rates]
        assert card(other_owner).rates == ()

    def test_shows_the_unit_of_a_pool_that_follows_from_its_base(self, owner: Owner) -> None:
        for base in ("labour_hour", "piece", "direct_labour_value"):
            owner.register(
                f"overheads/{base}", {"name": base, "base": base}, **{"2026-01-01": builders.overhead_rate()}
            )

        units = {entry.resource: entry.unit_rates[0].unit for entry in card(owner).rates}

        assert units == {
            "overheads/direct_labour_value": "direct_labour_value",
            "overheads/labour_hour": "h",
            "overheads/piece": "piece",
        }


class TestForeignRates:
    def test_are_converted_and_say_with_what(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})
        furnished.put_exchange_rates("2026-11-20", USD="1.25")

        found = card(furnished)

        material = next(each for each in found.rates if each.resource == "materials/hdpe")
        assert material.unit_rates[0].amount == 1
        assert material.terms["price"] == {"amount": "1.25", "currency": "USD"}
        assert [day.published_on for day in found.exchange_rates] == [date(2026, 11, 20)]

    def test_that_cannot_be_converted_are_refused(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", "2026-11-01", {"price": builders.money("1.25", "USD")})

        with pytest.raises(MissingExchangeRateError):
            card(furnished)
