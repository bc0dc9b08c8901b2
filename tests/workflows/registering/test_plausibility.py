"""What is told about something when it is registered, and about its rates on the sheets that use them."""

from datetime import date, timedelta
from typing import Any

import pytest

from service.domain.costing.rate_card import DatedRate
from service.domain.register import COLLECTIONS
from service.domain.values.references import Thing
from service.encoding import decoded
from service.workflows import plausibility
from tests.support import builders
from tests.support.builders import money
from tests.workflows.owner import Owner

LATER = "2026-02-01"


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
            ("materials/hdpe", {"price": money("1", "JPY")}, []),  # no exchange rate
            ("taxes/vat", {"rate_share": "0.021"}, ["tax-name", "rate-jump"]),
            ("channels/quay-market", builders.channel_rate(), []),
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
