"""What is told about something when it is registered, and about its rates on the sheets that use them."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.rate_card import DatedRate
from service.domain.currency.exchange_rates import DayRates
from service.domain.register import COLLECTIONS
from service.domain.values.references import Thing
from service.encoding import decoded
from service.workflows import plausibility
from tests.support import builders
from tests.support.builders import money
from tests.workflows.owner import Owner

LATER = "2026-02-01"
CHARGES = {"standing_charge_per_month": money("18"), "expected_kwh_per_month": "900"}


def registered(owner: Owner, path: str, body: Any) -> list[str]:
    """The codes of the warnings."""
    facts = decoded(body, COLLECTIONS[path.partition("/")[0]].facts)
    return [each.code for each in plausibility.register(owner.workspace, Thing.of(path), facts).warnings]


def rated(owner: Owner, path: str, terms: Any, day: str = LATER) -> list[str]:
    rate = DatedRate(resource=path, valid_from=date.fromisoformat(day), terms=owner.terms(path, terms))
    return [each.code for each in plausibility.put_rate(owner.workspace, rate).warnings]


class TestFacts:
    def test_of_a_product_are_judged_without_those_of_its_parts(self, furnished: Owner) -> None:
        whole = {"name": "Two", "bill_of_materials": [{"product": "part", "quantity_per_piece": "2"}]}

        assert registered(furnished, "products/part", builders.product(mass_kg="99")) == ["mass-above-materials"]
        assert registered(furnished, "products/two", whole) == []

    def test_of_what_cannot_be_made_any_more_are_not_judged(self, furnished: Owner) -> None:
        """The press of its part has left the tariff whose bands the part names."""
        bare = {name: each for name, each in builders.machine().items() if name in ("name", "kind")}
        furnished.put("machines/press", bare)
        whole = {"name": "Two", "bill_of_materials": [{"product": "sheet", "quantity_per_piece": "2"}], "mass_kg": "99"}

        assert registered(furnished, "products/two", whole) == []

    def test_of_a_tax_are_judged_by_its_rate_of_today(self, furnished: Owner) -> None:
        assert registered(furnished, "taxes/vat", {"name": "VAT 19 %"}) == ["tax-name"]
        assert registered(furnished, "taxes/new", {"name": "VAT 19 %"}) == []

    def test_of_anything_else_are_not_judged(self, furnished: Owner) -> None:
        assert registered(furnished, "materials/resin", builders.material()) == []


class TestRates:
    @pytest.mark.parametrize(
        ("path", "terms", "codes"),
        [
            ("materials/hdpe", builders.material_rate("0.90"), []),
            ("materials/hdpe", builders.material_rate("8"), ["rate-jump"]),
            ("materials/hdpe", builders.material_rate("0"), ["zero-line"]),
            ("materials/hdpe", {"price": money("1", "JPY")}, ["no-exchange-rate"]),
            ("taxes/vat", {"rate_share": "0.021"}, ["tax-name", "rate-jump"]),
            ("channels/quay-market", builders.channel_rate(), []),
            ("channels/quay-market", builders.channel_rate(fees=[]), ["terms-left-out"]),
            ("channels/quay-market", builders.channel_rate(currency="JPY"), ["no-exchange-rate"]),
        ],
    )
    def test_are_judged_by_the_one_before(self, furnished: Owner, path: str, terms: Any, codes: list[str]) -> None:
        assert rated(furnished, path, terms) == codes

    def test_that_are_the_first_have_nothing_before_them(self, furnished: Owner) -> None:
        assert rated(furnished, "materials/hdpe", builders.material_rate("99"), "2025-01-01") == []

    def test_of_a_later_day_are_compared_at_the_exchange_rate_of_today(self, furnished: Owner) -> None:
        today = furnished.workshop.today()
        furnished.put_exchange_rates(today.isoformat(), JPY="160")

        assert rated(
            furnished, "materials/hdpe", {"price": money("1", "JPY")}, (today + timedelta(days=90)).isoformat()
        ) == ["rate-jump"]

    def test_of_a_past_day_may_be_converted_today_and_an_ended_currency_is_refused_where_it_is_used(
        self, furnished: Owner
    ) -> None:
        furnished.put_exchange_rates(furnished.workshop.today().isoformat(), JPY="160")

        assert rated(furnished, "materials/hdpe", {"price": money("1", "JPY")}) == []
        assert rated(furnished, "materials/hdpe", {"price": money("1", "HRK")}, "2022-06-01") == []

    def test_lack_what_the_one_before_had_on_the_sheets_too(self, furnished: Owner) -> None:
        furnished.put_rate("tariffs/grid", "2026-01-15", builders.tariff_rate(**CHARGES))
        furnished.put_rate("tariffs/grid", LATER, builders.tariff_rate())
        furnished.put_rate("channels/quay-market", LATER, builders.channel_rate(fees=[]))
        route = {"tax": "vat", "channel": "quay-market", "as_of": date(2026, 2, 1)}

        assert [each.code for each in furnished.cost(as_of=date(2026, 2, 1)).warnings] == ["terms-left-out"]
        assert [each.code for each in furnished.price(**route).warnings].count("terms-left-out") == 2

    def test_stay_on_the_sheets_until_the_next(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", LATER, {"price": money("1", "JPY")})
        furnished.put_rate("materials/hdpe", "2026-03-01", builders.material_rate("0.80"))
        furnished.put_rate("materials/hdpe", "2026-04-01", builders.material_rate("80"))
        furnished.put_rate("materials/hdpe", "2026-05-01", builders.material_rate("81"))

        def jumps(month: int) -> list[str]:
            found = furnished.cost(as_of=date(2026, month, 1)).warnings
            return [str(each.product) for each in found if each.code == "rate-jump"]

        # The yen before cannot be converted in March.
        assert {month: jumps(month) for month in (1, 3, 4, 5)} == {1: [], 3: [], 4: ["sheet"], 5: []}


def test_exchange_rates_entered_by_hand_are_compared_with_those_before_them(furnished: Owner) -> None:
    def entered(day: int, rate: str) -> list[str]:
        rates = DayRates(source="manual", base="EUR", published_on=date(2026, 2, day), rates={"GBP": Decimal(rate)})
        return [each.code for each in plausibility.put_exchange_rates(furnished.workspace, rates).warnings]

    assert [entered(2, "0.8640"), entered(3, "86.4"), entered(3, "86.4"), entered(3, "0.87")] == [
        [],
        ["exchange-rate-jump"],
        ["exchange-rate-jump"],
        [],
    ]


class TestAPriceThroughAChannel:
    def warned(self, owner: Owner, **question: Any) -> list[str]:
        return [each.code for each in owner.price(**question).warnings]

    def test_without_a_tax_is_told_if_one_above_0_is_in_force(self, furnished: Owner) -> None:
        furnished.register("channels/counter", builders.channel(), **{"2026-01-01": {"shipping_paid_by": "buyer"}})

        assert self.warned(furnished, channel="counter") == ["no-tax"]
        assert self.warned(furnished) == []
        furnished.put_rate("taxes/vat", LATER, {"rate_share": "0"})
        assert self.warned(furnished, channel="counter", as_of=date(2026, 2, 1)) == []

    def test_without_a_service_is_told_if_the_seller_pays_for_shipping_a_thing(self, furnished: Owner) -> None:
        furnished.register("channels/counter", builders.channel(), **{"2026-01-01": {"shipping_paid_by": "buyer"}})
        furnished.put("products/hour", {"name": "Repair", "unit": "hour", "operations": [builders.operation()]})

        def told(channel: str, product: str = "sheet") -> bool:
            return "no-shipping" in self.warned(furnished, product=product, channel=channel, tax="vat")

        assert [told("quay-market"), told("counter"), told("quay-market", "hour")] == [True, False, False]
