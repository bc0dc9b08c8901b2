"""Published cost variances: how much of a change in cost comes from prices, and how much from quantities.

A textbook compares actual with standard cost; a repricing compares today's cost with the cost at which the price in
force was computed. Variances that textbooks call favourable are negative here: they lower the cost.
"""

from decimal import Decimal
from typing import Any

import pytest

from tests.conftest import Client
from tests.published.examples import DAY, amount, buy, employ, make, working
from tests.support.builders import channel, listing, policy

LATER = "2026-02-01"


def sell(client: Client, code: str) -> None:
    """List the product at a batch of one, and put its first price in force."""
    client.register("channels/direct", channel(display="tax_exclusive"), **{DAY: {"currency": "EUR"}})
    facts = {"product": code, "channel": "direct", "tax": None, "standard_batch": 1}
    client.register(f"listings/{code}", listing(**facts, policy=policy(value="0")))
    applied = client.post("repricings", {"as_of": DAY, "apply": True})
    assert applied.status_code == 201, applied.json


def variances(client: Client, code: str) -> dict[str, Decimal]:
    """The part of each change, and the total change in cost."""
    answer: Any = client.post("repricings", {"as_of": LATER, "include_unchanged": True}).json
    (change,) = answer["changes"]["items"]
    found = {f"{each['resource']} {each['cause']}": amount(each["amount"]) for each in change["effects"]}
    return {**found, "in all": amount(change["new"]["unit_cost"]) - amount(change["old"]["unit_cost"])}


class TestVariancesOfMaterial:
    """Exercise 23-5, Direct materials variances, as answered at
    https://accountingqa.blogspot.com/2018/11/ex-23-5-direct-materials-variances.html (2018).

    Standard: 430 units at 6.90. Actual: 450 units at 2,925 ÷ 450 = 6.50.
    """

    @pytest.fixture
    def made(self, client: Client) -> Client:
        buy(client, "material", "6.90")
        make(client, "job", {"material": "430"})
        sell(client, "job")
        make(client, "job", {"material": "450"})
        price = {"price": {"amount": "6.50", "currency": "EUR"}}
        client.register("materials/material", {"name": "material", "unit": "piece"}, **{LATER: price})
        return client

    def test_are_180_less_for_the_price_and_138_more_for_the_quantity(self, made: Client) -> None:
        assert variances(made, "job") == {"materials/material rate": -180, "products/job product": 138, "in all": -42}


class TestVariancesOfMaterialByTheThousandPounds:
    """Direct materials price and quantity variance, as answered at https://qammunity.org/8059627.

    Standard: 185,000 lbs. at 6.00. Actual: 183,200 lbs. at 5.80.
    """

    def test_are_36_640_less_for_the_price_and_10_800_less_for_the_quantity(self, client: Client) -> None:
        buy(client, "material", "6.00")
        make(client, "job", {"material": "185000"})
        sell(client, "job")
        make(client, "job", {"material": "183200"})
        price = {"price": {"amount": "5.80", "currency": "EUR"}}
        client.register("materials/material", {"name": "material", "unit": "piece"}, **{LATER: price})

        assert variances(client, "job") == {
            "materials/material rate": -36_640,
            "products/job product": -10_800,
            "in all": -47_440,
        }


class TestVariancesOfMaterialAndLabour:
    """Price and quantity variances of material and labour, as answered at https://qammunity.org/7172416.

    Standard for 190 units: 1,140 lbs. at 3.10 and 760 hours at 10.00. Actual: 2,200 lbs. at 3.30 and 770 hours at 9.90.
    The source shows the excess of 1,060 lbs. at 3.10 as 3,286.
    """

    def test_are_440_and_77_for_the_prices_and_3_386_for_the_quantities(self, client: Client) -> None:
        buy(client, "material", "3.10")
        employ(client, "worker", "10.00")
        make(client, "units", {"material": "1140"}, working("760", "worker"))
        sell(client, "units")
        make(client, "units", {"material": "2200"}, working("770", "worker"))
        price, wage = ({"amount": figure, "currency": "EUR"} for figure in ("3.30", "9.90"))
        client.put(f"materials/material/rates/{LATER}", {"price": price})
        client.put(f"labour-grades/worker/rates/{LATER}", {"wage_per_hour": wage})

        found = variances(client, "units")

        assert found == {
            "materials/material rate": 440,
            "labour-grades/worker rate": -77,
            "products/units product": 3_286 + 100,
            "in all": 3_726 + 23,
        }
