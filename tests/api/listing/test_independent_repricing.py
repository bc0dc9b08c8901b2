"""Compares repricing with the independent computation: costs, prices and the effect of each resource, in fractions.

The random workshops are those of test_independent_computation, with listings for some of their products. The first
prices use the rates of one day, the repricing those of another; terms and exchange rates change in between.
"""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import flask
import pytest

from tests.api import independent, independent_prices
from tests.api.costing.test_independent_computation import HOMES, Maker, made_workshop, register_all
from tests.api.independent import Costed, Exchange, Facts, description, digits, in_units, number, shown_quantity
from tests.api.independent_prices import MINOR_DECIMALS, orders_in
from tests.api.repriced import applied, changes, previewed
from tests.conftest import make_client
from tests.support.contract import Contract
from tests.support.profiles import seeds

BEFORE, AFTER = "2026-11-20", "2026-12-01"
LISTINGS = 9
SALE = (
    "product",
    "channel",
    "tax",
    "currency",
    "shipping_service",
    "shipping_zone",
    "base_quantity",
    "pieces_per_order",
)


def listings_of(maker: Maker) -> dict[str, tuple[dict[str, Any], dict[str, Any]]]:
    """Listings by code: the facts, and the query for the same price sheet."""
    workshop, found = maker.workshop, {}
    products = [name for name in workshop.facts if name.startswith("products/")]
    for place, name in enumerate(maker.random.sample(products, LISTINGS)):
        product = name.partition("/")[2]
        sale: dict[str, Any] = {"currency": workshop.currency}
        while "channel" not in sale:
            sale = {"currency": workshop.currency, **maker.sale(product)}
        batch = max(Fraction(1), maker.quantity(product))  # no price is for less than one unit
        exchange = Exchange(workshop, BEFORE)
        together = maker.sold_together(product, batch)
        made = independent.costed(workshop, product, batch, BEFORE, {}, orders_in(batch, together))
        cost = independent.unit_cost(workshop, made)["full_cost"]
        currency = sale["currency"]
        cost *= together["base_quantity"]
        policy = maker.policy(exchange.in_currency(cost, workshop.currency, currency), MINOR_DECIMALS[currency])
        question = {"product": product, **together, **sale}
        facts = {name: question[name] for name in SALE if name in question}
        found[f"l{place}"] = (
            {**facts, "policy": policy, "standard_batch": shown_quantity(batch), "locale": "en_IE"},
            {**question, **policy},
        )
    return found


def price_asked(workshop: Facts, batch: Costed, question: Mapping[str, Any]) -> str | None:
    exchange = Exchange(workshop, batch.as_of)
    found = independent_prices.question_of(workshop, batch, question, exchange).found()
    decimals = MINOR_DECIMALS[question["currency"]]
    return None if found is None else digits(in_units(found[1], decimals), decimals)


def contributions(workshop: Facts, before: Costed, after: Costed) -> dict[str, Fraction]:
    """quantity × (new − old rate) × (1 + old shares on it) for a part; value now × (new − old share) for a pool."""
    pools = independent.value_pools(workshop)
    factors = independent.one_percent_factors(workshop, before)
    found = {}
    for resource in {**before.rates, **after.rates}:
        quantity = after.quantities.get(resource, before.quantities.get(resource, Fraction(0)))
        move = after.rates.get(resource, Fraction(0)) - before.rates.get(resource, Fraction(0))
        factor = (
            Fraction(1) if resource in pools else factors[description(workshop, resource, after.product)["cost_class"]]
        )
        found[resource] = quantity * move * factor / after.pieces
    return found


@pytest.mark.seeded
@pytest.mark.parametrize("seed", [1 + each for each in seeds(9)])
def test_costs_prices_and_effects_equal_those_of_the_independent_computation(
    app: flask.Flask, contract: Contract, seed: int
) -> None:
    home = HOMES[seed % len(HOMES)]
    maker = made_workshop(seed, home)
    workshop, client = maker.workshop, make_client(app, contract, currency=home)
    register_all(client, workshop)
    listings = listings_of(maker)
    for code, (facts, _) in listings.items():
        client.register(f"listings/{code}", facts)

    first = changes(applied(client, BEFORE, include_unchanged=True))
    found = changes(previewed(client, AFTER, include_unchanged=True))

    decimals = MINOR_DECIMALS[home] + independent.MORE_DECIMALS
    unit, explained = Fraction(1, 10**decimals), 0
    for code, (facts, question) in listings.items():
        pieces = number(facts["standard_batch"])
        orders = orders_in(pieces, facts)
        batches = [independent.costed(workshop, facts["product"], pieces, day, {}, orders) for day in (BEFORE, AFTER)]
        for change, batch in zip((first[code], found[code]), batches, strict=True):
            asked = price_asked(workshop, batch, question)
            assert asked == (change["new"] and change["new"]["price"]["amount"]), code
            if asked is not None:
                cost = independent.unit_cost(workshop, batch)["full_cost"]
                assert change["new"]["base_quantity"] == facts["base_quantity"], code
                assert change["new"]["unit_cost"]["amount"] == independent.shown(cost, decimals), code
        if found[code]["new"] is None or found[code]["old"] is None:
            continue
        told: dict[str, Fraction] = {}
        for effect in found[code]["effects"]:
            told[effect["resource"]] = told.get(effect["resource"], Fraction(0)) + number(effect["amount"]["amount"])
        expected = contributions(workshop, *batches)
        assert all(abs(told.get(name, Fraction(0)) - amount) <= 4 * unit for name, amount in expected.items()), code
        assert set(told) <= {name for name, amount in expected.items() if amount}
        explained += len(told)
    assert explained > 10
