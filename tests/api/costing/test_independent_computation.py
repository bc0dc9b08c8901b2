"""Compares the service with an independent computation: every figure of random products, to the last digit.

Each seed makes a workshop with resources, rates and products; sub-assemblies go down to five levels and are shared.
The workshop is registered over HTTP. For each product the test requests the bill of resources, a cost sheet, a
what-if and two price sheets, sold directly or through a sales channel. A failure names the seed, the request and each
figure that differs.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise
from math import prod
from random import Random
from typing import Any
from urllib.parse import urlencode

import flask
import pytest

from tests.api import independent, independent_prices
from tests.api.independent import COST_CLASSES, Facts, number
from tests.api.independent_prices import MINOR_DECIMALS
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.profiles import seeds

PRODUCTS_BY_LEVEL = (6, 5, 5, 4, 4, 3)
HOMES = ("EUR", "JPY", "KWD")
"""Currencies of workshops, with minor units of two, no and three decimals."""
SEEDS = seeds(18)
LOOKED_AT = seeds(36)
"""Workshops checked for using every feature; that is cheap."""
HELD_AGAINST_THE_CONTRACT = SEEDS[:3]
CURRENCIES = {"EUR": "1", "USD": "1.0873", "GBP": "0.85555", "JPY": "163.42", "KWD": "0.3341", "CZK": "24.917"}
# The first is 31 days before the last day in ASKED_DAYS; the last is later than all of them.
PUBLISHED_DAYS = ("2026-10-31", "2026-11-14", "2026-11-22", "2026-12-02")
ASKED_DAYS = ("2026-11-13", "2026-11-14", "2026-11-20", "2026-11-25", "2026-12-01")
FIRST_DAYS = ("2026-01-01", "2026-11-14", "2026-11-23", "2026-12-24")
BASE_QUANTITIES = (1, 12, 100, 1000)
QUANTITIES = (1, 2, 3, 7, 10, 12, 64, 100, 333, 999, 1000, 1024, 4096, 10_000, 65_536, 99_999, 100_000)
YIELDS = ("1", "1", "0.95", "0.95", "0.9", "0.97", "0.875", "0.985", "0.333", "0.7")
LOSSES = ("0", "0", "0.02", "0.05", "0.1", "0.3", "0.333")
BASES = ("machine_hour", "labour_hour", "piece", "direct_material_value", "direct_labour_value")


def decimal_text(figure: Fraction) -> str:
    """A fraction with a finite decimal expansion, as a decimal."""
    decimals = next(places for places in range(200) if 10**places % figure.denominator == 0)
    return independent.digits(int(figure * 10**decimals), decimals)


class Maker:
    """Random facts and terms for one workshop, the same for the same seed."""

    def __init__(self, seed: int, currency: str) -> None:
        self.random = Random(seed)
        self.workshop = Facts(currency, MINOR_DECIMALS[currency])

    # Small parts

    def figure(self, low: float, high: float) -> str:
        """A decimal above 0, mostly short and sometimes long."""
        decimals = self.random.choice((0, 1, 2, 2, 3, 4, 4, 6, 11))
        return f"{max(self.random.uniform(low, high), 10**-decimals):.{decimals}f}"

    def share(self, *choices: str) -> str:
        return self.random.choice(choices or ("0.05", "0.25", "0.5", "0.333", "0.815", "1"))

    def is_so(self, chance: float) -> bool:
        return self.random.random() < chance

    def code(self, collection: str) -> str:
        """A random code registered in the collection."""
        resources = [resource for resource in self.workshop.facts if resource.startswith(f"{collection}/")]
        return self.random.choice(resources).partition("/")[2]

    def money(self, low: float, high: float, currency: str = "") -> dict[str, str]:
        """An amount, mostly in the workshop's currency."""
        foreign = self.random.choice(list(CURRENCIES))
        own = self.workshop.currency
        return {"amount": self.figure(low, high), "currency": currency or (foreign if self.is_so(0.4) else own)}

    def some(self, **members: Any) -> dict[str, Any]:
        """A random selection of the members; the others take their defaults."""
        return {name: value for name, value in members.items() if self.is_so(0.6)}

    # What the workshop buys, runs and pays

    def exchange_rates(self) -> None:
        """Every currency on the first day; on the others some are missing, and the base may differ."""
        for day in PUBLISHED_DAYS:
            base = self.random.choice(("EUR", "USD", "GBP"))
            others = [code for code in CURRENCIES if code != base and (day == PUBLISHED_DAYS[0] or self.is_so(0.5))]
            rates = {code: self.cross_rate(base, code) for code in others or ["CZK"]}
            self.workshop.exchange[day] = {"base": base, "rates": rates}

    def cross_rate(self, base: str, code: str) -> str:
        rate = number(CURRENCIES[code]) / number(CURRENCIES[base]) * self.random.randint(9000, 11000) / 10000
        return independent.shown(rate, 5)

    def register(self, collection: str, code: str, **facts: Any) -> None:
        """Add facts, with terms from one or more days on."""
        resource = f"{collection}/{code}"
        self.workshop.facts[resource] = {"name": f"Invented {code}", **facts}
        days = FIRST_DAYS[:1] + tuple(day for day in FIRST_DAYS[1:] if self.is_so(0.3))
        self.workshop.terms[resource] = {day: self.terms(resource) for day in days}

    def everything_bought(self) -> None:
        for place in range(7):
            use = self.some(use="packaging") if place > 4 else {}
            self.register("materials", f"m{place}", unit=self.random.choice(("kg", "l", "m", "m2", "piece")), **use)
        for place in range(3):
            self.register("labour-grades", f"g{place}")
            self.register("tools", f"t{place}")
            self.register("tariffs", f"e{place}", bands=["day", "night", "peak"][: place + 1])
        for place in range(4):
            powers = self.some(idle_power_kw=self.figure(0, 3), warm_up_power_kw=self.figure(1, 20))
            load = self.some(load_factor=self.share("0.6", "0.35", "1"))
            power = {"rated_power_kw": self.figure(1, 30), "tariff": f"e{place % 3}", **powers, **load} if place else {}
            shift = self.some(minutes_on_one_warm_up=self.figure(30, 480))
            self.register("machines", f"p{place}", **power, **shift)
        for place in range(self.random.randint(3, 7)):
            self.register("overheads", f"o{place}", base=self.random.choice(BASES), **self.some(variable=True))
        for place in range(2):
            self.register("taxes", f"x{place}")
        for place in range(2):
            self.register("shipping-services", f"s{place}")
        for place in range(4):
            shown = self.some(display=self.share("tax_inclusive", "tax_exclusive"))
            self.register("channels", f"c{place}", **shown, **self.some(payout_currency=self.share(*CURRENCIES)))

    def terms(self, resource: str) -> dict[str, Any]:
        """Random terms of a resource."""
        return dict(getattr(self, "terms_of_" + resource.partition("/")[0].replace("-", "_"))(resource))

    def terms_of_materials(self, _: str) -> dict[str, Any]:
        return {"price": self.money(0.1, 9), **self.some(reclaim_value=self.money(0.05, 0.6))}

    def terms_of_labour_grades(self, _: str) -> dict[str, Any]:
        shares = self.some(on_cost_share=self.share("0.21", "0.3", "1.1"), productive_share=self.share("0.85", "0.333"))
        by_the_month = {"paid_hours_per_month": self.figure(60, 180), **self.some(people=self.share("2", "1.5"))}
        return {"wage_per_hour": self.money(8, 40), **shares, **(by_the_month if self.is_so(0.6) else {})}

    def terms_of_machines(self, _: str) -> dict[str, Any]:
        value = self.money(2000, 90000)
        residual = self.some(residual_value=self.money(10, 1900, value["currency"]))
        floor = {"floor_m2": self.figure(2, 40), "space_cost_per_m2_month": self.money(3, 20)}
        shares = self.some(interest_share=self.share("0.04", "0.065"), maintenance_share=self.share("0.03", "0.1"))
        other = self.some(other_per_year=self.money(50, 900), utilisation_share=self.share("0.75", "0.6", "0.333"))
        years = {"life_years": self.share("7", "10", "12.5"), "planned_hours_per_year": self.share("1600", "1733")}
        return {
            "replacement_value": value,
            **years,
            **residual,
            **shares,
            **other,
            **(floor if self.is_so(0.5) else {}),
        }

    def terms_of_tariffs(self, resource: str) -> dict[str, Any]:
        prices = {band: self.money(0.05, 0.5) for band in self.workshop.facts[resource]["bands"]}
        standing = self.some(standing_charge_per_month=self.money(5, 90), demand_charge_per_month=self.money(5, 300))
        expected = {"expected_kwh_per_month": self.figure(300, 9000)} if standing else {}
        return {"price_per_kwh": prices, **standing, **expected}

    def terms_of_tools(self, _: str) -> dict[str, Any]:
        return {"cost": self.money(100, 9000), "life_shots": self.share("3000", "50000", "777")}

    def terms_of_overheads(self, _: str) -> dict[str, Any]:
        return {"amount_per_month": self.money(50, 2000), "base_per_month": self.figure(100, 7000)}

    def terms_of_taxes(self, _: str) -> dict[str, Any]:
        return {"rate_share": self.share("0.21", "0.055", "0", "0.1", "0.077")}

    def terms_of_shipping_services(self, _: str) -> dict[str, Any]:
        """One zone, three weight classes; pieces are shipped without a container."""
        currency = self.share(*CURRENCIES)
        ends, price = ["0", "2", self.figure(5, 9), "100000"], Fraction(0)
        classes = []
        for above, up_to in pairwise(ends):
            price += Fraction(self.figure(1, 9))
            money = {"amount": decimal_text(price), "currency": currency}
            classes.append({"above_kg": above, "up_to_kg": up_to, "price": money})
        return {
            "zones": {"home": classes},
            **self.some(divisor_cm3_per_kg=self.share("5000", "6000", "3333")),
            **self.some(weight_step_kg=self.share("0.5", "1", "0.3")),
            **self.some(fuel_surcharge_share=self.share("0.05", "0.117")),
        }

    def terms_of_channels(self, _: str) -> dict[str, Any]:
        """One to four fees; together they take less than a high price."""
        fees = [self.fee(f"fee {place}") for place in range(self.random.randint(1, 4))]
        paid_by_buyer = {"shipping_paid_by": "buyer", **self.some(shipping_charge=self.figure(1, 9))}
        return {
            "currency": self.share(*CURRENCIES),
            "fees": fees,
            **self.some(conversion_spread_share=self.share("0.02", "0.035")),
            **(paid_by_buyer if self.is_so(0.4) else {}),
        }

    def fee(self, name: str) -> dict[str, Any]:
        base = self.some(base=self.share("gross_price", "net_price", "gross_with_shipping"))
        limits = self.some(minimum=self.figure(0.1, 1), maximum=self.figure(5, 90), tax_share=self.share("0.21", "0.1"))
        if self.is_so(0.5):
            return {"name": name, **base, **limits, "share": self.fee_share(), **self.some(fixed=self.figure(0.05, 2))}
        banding = self.some(banding=self.share("whole", "portion"))
        ends = [self.figure(1, 10), self.figure(10, 60), self.figure(60, 900)][: self.random.randint(0, 3)]
        bands = [
            {
                **({"above": above} if above else {}),
                **({"up_to": up_to} if up_to else {}),
                "share": self.fee_share(),
                **(self.some(fixed=self.figure(0.05, 2)) if banding.get("banding") != "portion" else {}),
            }
            for above, up_to in zip(["", *ends], [*ends, ""], strict=True)
        ]
        return {"name": name, **base, **limits, **banding, "bands": bands}

    def fee_share(self) -> str:
        return self.share("0.05", "0.065", "0.1", "0.019", "0.155", "0.02", "0", "0.25")

    # Products

    def products(self) -> None:
        """Each level is made of the next one down and of any lower ones, so sub-assemblies are shared."""
        made: list[list[str]] = []
        for level, count in enumerate(PRODUCTS_BY_LEVEL):
            made.append([f"d{level}n{place}" for place in range(count)])
            for code in made[level]:
                children = [self.random.choice(made[level - 1])] if level else []
                below = [each for codes in made[:level] for each in codes]
                children += [child for child in self.random.sample(below, min(2, len(below))) if self.is_so(0.5)]
                self.workshop.facts[f"products/{code}"] = self.product(code, children)

    def product(self, code: str, children: list[str]) -> dict[str, Any]:
        operations = [self.operation(f"step {place}") for place in range(self.random.choice((0, 1, 1, 2, 2, 3)))]
        items = [{"product": child} for child in dict.fromkeys(children)]
        items += [{"material": self.code("materials")} for _ in range(self.random.choice((1, 1, 2, 3)))]
        self.random.shuffle(items)
        learning = {
            "rate_share": self.share("0.9", "0.8", "0.75", "0.95", "0.83", "1"),
            **self.some(pieces_before=self.share("0", "1", "0.5", "4", "37", "1024", "12.5")),
        }
        if code.startswith(f"d{len(PRODUCTS_BY_LEVEL) - 1}"):  # too many pieces of each sub-assembly
            learning |= self.some(model=self.random.choice(("unit", "cumulative_average")))
        return {
            "name": f"Invented {code}",
            "mass_kg": self.figure(1, 30),
            **{f"{side}_mm": self.figure(20, 900) for side in ("length", "width", "height")},
            "bill_of_materials": [self.bill_line(item, operations) for item in items],
            **({"operations": operations} if operations else {}),
            **({"learning_curve": learning} if self.is_so(0.3) else {}),
        }

    def bill_line(self, item: dict[str, str], operations: list[dict[str, Any]]) -> dict[str, Any]:
        """What a piece contains; sometimes so much that the quantity issued is whole after all losses."""
        line: dict[str, Any] = {**item, **self.some(process_loss_share=self.share(*LOSSES))}
        place = self.random.randrange(len(operations)) if operations else 0
        if place or (operations and self.is_so(0.3)):
            line["operation"] = operations[place]["name"]
        line["quantity_per_piece"] = self.share("1", "2", "4", "0.5", "0.333", "0.95", "1.25", "3", self.figure(0, 3))
        if self.is_so(0.35):
            kept = prod((number(step.get("yield_share", 1)) for step in operations[place:]), start=Fraction(1))
            whole = kept * (1 - number(line.get("process_loss_share", 0))) * self.random.choice((1, 2, 6))
            line["quantity_per_piece"] = decimal_text(whole)
        if self.is_so(0.25):
            line["quantity_per_batch"] = self.share("1", "0.25", "2.7", "40")
        if "material" in item and self.is_so(0.5):
            line["reclaim_share"] = self.share("0.5", "0.8", "1")
        return line

    def operation(self, name: str) -> dict[str, Any]:
        is_at_a_machine = self.is_so(0.75)
        machine = self.at_a_machine() if is_at_a_machine else {}
        tool = {"tool": self.code("tools"), **self.some(tooling=self.share("per_shot", "entire"))}
        times = self.some(
            setup_minutes=self.figure(1, 60), pieces_per_cycle=self.random.choice((1, 2, 6, 8, 24)), yield_share=""
        )
        if "yield_share" in times:
            times["yield_share"] = self.share(*YIELDS)
        grades = [self.code("labour-grades") for _ in range(self.random.choice((0, 1, 1, 2)))]
        people = [
            {"labour_grade": grade, "attendance": self.share("0.25", "1", "0.333"), **self.some(setup_crew="2")}
            for grade in dict.fromkeys(grades)
        ]
        cycle = {"name": name, "cycle_minutes": self.figure(0.05, 40), "labour": people}
        return {**cycle, **times, **machine, **(tool if self.is_so(0.4) else {})}

    def at_a_machine(self) -> dict[str, Any]:
        code = self.code("machines")
        facts = self.workshop.facts[f"machines/{code}"]
        given = self.some(warm_up_minutes=self.figure(1, 60))
        if "tariff" not in facts:
            return {"machine": code, **given}
        bands = self.workshop.facts[f"tariffs/{facts['tariff']}"]["bands"]
        used = sorted(self.random.sample(bands, self.random.randint(1, len(bands))))
        cuts = [0, *sorted(self.random.sample(range(1, 1000), len(used) - 1)), 1000]
        shares = {
            band: independent.digits(end - start, 3) for band, start, end in zip(used, cuts, cuts[1:], strict=False)
        }
        is_told = len(bands) > 1 or self.is_so(0.5)
        load = self.some(load_factor=self.share("0.45", "0.8"))
        return {"machine": code, **given, **load, **({"band_shares": shares} if is_told else {})}

    # Questions

    def supposed(self, resources: list[str]) -> dict[str, Any]:
        """Other terms for some of the resources on a sheet."""
        chosen = self.random.sample(resources, self.random.randint(1, len(resources)))
        return {resource: self.terms(resource) for resource in chosen}

    def sale(self) -> dict[str, Any]:
        """Random conditions of sale: tax, channel, currency, shipping."""
        through = {"channel": self.code("channels")}
        directly = self.some(display=self.share("tax_inclusive", "tax_exclusive"))
        return {
            **self.some(tax=self.code("taxes")),
            **(through if self.is_so(0.7) else directly),
            **(
                {"shipping_service": self.code("shipping-services"), "shipping_zone": "home"} if self.is_so(0.5) else {}
            ),
            **({"currency": self.share(*CURRENCIES)} if self.is_so(0.5) else {}),
            **({"discount_share": self.share("0.1", "0.05", "0.333", "0.5")} if self.is_so(0.5) else {}),
        }

    def sold_together(self, batch: int) -> dict[str, int]:
        """How many pieces a price is for, and an order has: one, or more that the batch has."""
        base = self.random.choice([1, *(each for each in BASE_QUANTITIES if each <= batch)])
        prices = self.random.choice([each for each in (1, 2, 3, 7) if each * base <= batch])
        return {"base_quantity": base, **({"pieces_per_order": base * prices} if self.is_so(0.5) else {})}

    def policy(self, unit_cost: Fraction, decimals: int) -> dict[str, Any]:
        """A policy with amounts of the order of the cost, in a currency with so many decimals."""
        cost = max(float(unit_cost), 0.01)
        values = {
            "margin": self.share("0.35", "0", "0.2", "0.5", "0.95", "-0.1"),
            "markup": self.figure(0, 0.9),
            "profit_per_piece": self.figure(cost / 4, cost * 2),
            "fixed_price": self.around(unit_cost, decimals),
        }
        target = self.share(*values)
        costs = ("full_cost", "variable_cost")
        return {
            "target": target,
            "value": values[target],
            **self.some(cost_basis=self.share(*costs), rounding=self.share("up", "nearest")),
            **self.some(never_below_cost=self.share(*costs)),
            **({"never_below_amount": self.figure(cost / 2, cost * 2)} if self.is_so(0.3) else {}),
            **self.grid(decimals),
        }

    def grid(self, decimals: int) -> dict[str, Any]:
        """A price step, price endings below it, both or neither; all multiples of the minor unit."""
        step = self.share(*(("0.05", "0.1", "1", "10", "0.37") if decimals else ("5", "7", "10", "100")))
        endings = self.random.sample(("0", "0.01", "0.02", "0.04") if decimals else ("0", "2", "3", "4"), 2)
        return self.random.choice(
            (
                {},
                {"price_step": step},
                {"price_step": step, "price_endings": endings},
                {"price_endings": ["0.9", "0.49"] if decimals else ["0"]},
            )
        )

    def inverse(self, unit_cost: Fraction, decimals: int) -> dict[str, Any]:
        floors = self.some(never_below_cost=self.share("full_cost", "variable_cost"))
        return {"kept_at": self.around(unit_cost, decimals), **floors}

    def around(self, unit_cost: Fraction, decimals: int) -> str:
        """An amount in whole minor units, from half to three times the cost."""
        return independent.shown(abs(unit_cost) * self.random.randint(50, 300) / 100, decimals)


def made_workshop(seed: int, currency: str) -> Maker:
    maker = Maker(seed, currency)
    maker.exchange_rates()
    maker.everything_bought()
    maker.products()
    return maker


def register_all(client: Client, workshop: Facts) -> None:
    for day, rates in workshop.exchange.items():
        assert client.put(f"exchange-rates/{day}", rates).status_code == 201
    last = ("machines/", "products/")
    for resource in sorted(workshop.facts, key=lambda resource: resource.startswith(last)):
        client.register(resource, workshop.facts[resource], **workshop.terms.get(resource, {}))


UNCOMPARED = {"name", "formula", "policy", "warnings", "cautions"}
"""Words rather than figures."""


def differences(expected: Any, found: Any, where: str = "") -> Iterator[str]:
    """Every figure that differs from the one computed, with its place; missing and extra members count."""
    if isinstance(expected, Mapping) and isinstance(found, Mapping):
        for name in [*expected, *(name for name in found if name not in expected and name not in UNCOMPARED)]:
            yield from differences(expected.get(name, "nothing"), found.get(name, "nothing"), f"{where}/{name}")
    elif isinstance(expected, list) and isinstance(found, list) and len(expected) == len(found):
        for place, (one, other) in enumerate(zip(expected, found, strict=True)):
            yield from differences(one, other, f"{where}/{place}")
    elif expected != found or type(expected) is not type(found):
        yield f"{where}: computed {expected!r}, answered {found!r}"


def by_name(items: list[dict[str, Any]], *names: str) -> dict[str, dict[str, Any]]:
    """The entries of a list, by the members that identify each."""
    found = {" ".join(item[name] for name in names): item for item in items}
    assert len(found) == len(items), [item[names[0]] for item in items]
    return found


class Questioner:
    """Sends requests to the service and compares the answers with the independent computation."""

    def __init__(self, client: Client, workshop: Facts) -> None:
        self.client, self.workshop = client, workshop

    def ask(self, maker: Maker, code: str) -> None:
        pieces, as_of = maker.random.choice(QUANTITIES), maker.random.choice(ASKED_DAYS)
        self.ask_bill(code, pieces)
        subtotals = self.ask_cost_sheet(code, pieces, as_of, {})
        batch = independent.costed(self.workshop, code, pieces, as_of, {})
        self.ask_cost_sheet(code, pieces, as_of, maker.supposed(sorted(batch.rates_valid_from)))
        for ask in (maker.policy, maker.inverse):
            sale = maker.sale()
            currency = sale.get("currency", self.workshop.currency)
            exchange = independent.Exchange(self.workshop, as_of)
            full_cost = independent.unit_cost(self.workshop, batch)["full_cost"]
            cost = exchange.in_currency(full_cost, self.workshop.currency, currency)
            together = maker.sold_together(pieces)
            policy = ask(cost * together["base_quantity"], MINOR_DECIMALS[currency])
            self.ask_price_sheet(batch, subtotals, {**sale, **policy, **together})

    def get(self, path: str, **query: Any) -> Any:
        return self.answer(path, self.client.get(f"{path}?{urlencode(query, doseq=True)}"))

    def expect_refusal(self, path: str, **query: Any) -> None:
        """Expect the refusal that no price meets the target."""
        response = self.client.get(f"{path}?{urlencode(query, doseq=True)}")
        assert response.status_code == 422, (path, query, response.json)
        assert response.json["type"].endswith("unreachable-target"), (path, query, response.json)

    def answer(self, path: str, response: Any) -> Any:
        assert response.status_code == 200, (path, response.json)
        return response.json

    def compare(self, expected: Any, found: Any, *question: Any) -> None:
        told = list(differences(expected, found))
        assert not told, "\n".join([str(question), *told[:12]])

    def ask_bill(self, code: str, pieces: int) -> None:
        found = self.get(f"products/{code}/bill-of-resources", quantity=pieces)["bill"]
        found["lines"] = by_name(found["lines"], "resource")
        found["steps"] = by_name(found["steps"], "product", "operation")
        found["issues"] = independent.in_order_of_product(found["issues"])
        assert found.pop("tooling") is None  # each operation says so itself
        self.compare(independent.bill_of_resources(self.workshop, code, pieces), found, "bill", code, pieces)

    def ask_cost_sheet(self, code: str, pieces: int, as_of: str, supposed: dict[str, Any]) -> Any:
        path = f"products/{code}/cost-sheet"
        if supposed:
            body = {"quantity": pieces, "as_of": as_of, "rates": supposed}
            found = self.answer(path, self.client.post(path, body))
        else:
            found = self.get(path, quantity=pieces, as_of=as_of)
        found["exchange_rates"] = by_name(found["exchange_rates"], "published_on")
        headings = [COST_CLASSES.index(line["cost_class"]) for line in found["lines"]]
        assert headings == sorted(headings), (path, headings)
        found["lines"] = by_name(found["lines"], "resource")
        batch = independent.costed(self.workshop, code, pieces, as_of, supposed)
        expected = independent.cost_sheet(self.workshop, batch, list(found["lines"]))
        self.compare(expected, found, "cost sheet", code, pieces, as_of, supposed)
        return expected["subtotals"]

    def ask_price_sheet(self, batch: independent.Costed, subtotals: Any, question: dict[str, Any]) -> None:
        batch_asked = {"quantity": batch.pieces, "as_of": batch.as_of}
        path = f"products/{batch.product}/price-sheet"
        expected = independent_prices.price_sheet(self.workshop, batch, subtotals, question)
        if expected is None:
            self.expect_refusal(path, **batch_asked, **question)
            return
        found = self.get(path, **batch_asked, **question)
        terms = by_name(found["price_per_piece"]["terms"], "name")
        found["price_per_piece"]["terms"] = {name: term["amount"] for name, term in terms.items()}
        found["exchange_rates"] = by_name(found["exchange_rates"], "published_on")
        if found["shipping"] is not None:
            ((parcel,), sheet) = found["shipping"]["parcels"], found["shipping"]
            shown = {name: sheet[name] for name in ("price", "workshop_price")}
            found["shipping"] = {"billable_kg": Fraction(parcel["billable_kg"]), **shown}
        self.compare(expected, found, "price sheet", batch.product, batch_asked, question)


@pytest.mark.seeded
@pytest.mark.parametrize("seed", SEEDS)
def test_every_figure_of_random_products_equals_the_independent_computation(
    app: flask.Flask, contract: Contract, seed: int
) -> None:
    currency = HOMES[seed % len(HOMES)]
    maker = made_workshop(seed, currency)
    client = make_client(app, contract, currency=currency)
    client.is_checked = seed in HELD_AGAINST_THE_CONTRACT
    register_all(client, maker.workshop)
    questioner = Questioner(client, maker.workshop)

    for resource in maker.workshop.facts:
        if resource.startswith("products/"):
            questioner.ask(maker, resource.partition("/")[2])


def priced_with_a_third(client: Client, *prices: str) -> Questioner:
    """A product with one material for each price; a loss of seven tenths makes its quantity 10 ÷ 3."""
    workshop = Facts("EUR", MINOR_DECIMALS["EUR"])
    lines = []
    for place, price in enumerate(prices):
        workshop.facts[f"materials/m{place}"] = {"name": f"Invented m{place}", "unit": "kg"}
        workshop.terms[f"materials/m{place}"] = {FIRST_DAYS[0]: {"price": {"amount": price, "currency": "EUR"}}}
        lines.append({"material": f"m{place}", "quantity_per_piece": "1", "process_loss_share": "0.7"})
    workshop.facts["products/thirds"] = {"name": "Invented thirds", "bill_of_materials": lines}
    register_all(client, workshop)
    return Questioner(client, workshop)


def test_thirds_that_add_up_to_a_half_of_the_minor_unit_are_rounded_up_in_the_total(client: Client) -> None:
    questioner = priced_with_a_third(client, "0.9985", "0.9985", "0.9985")

    subtotals = questioner.ask_cost_sheet("thirds", 1, ASKED_DAYS[0], {})

    assert subtotals["full_cost"]["per_batch"]["amount"] == "9.99", "3 × 0.9985 × 10 ÷ 3 = 9.985"


def test_of_two_lines_with_equal_remainders_the_earlier_one_is_rounded_up(client: Client) -> None:
    questioner = priced_with_a_third(client, "10", "0.1")

    subtotals = questioner.ask_cost_sheet("thirds", 1, ASKED_DAYS[0], {})

    assert subtotals["full_cost"]["per_batch"]["amount"] == "33.67", "33.333… + 0.333…, shown as 33.34 + 0.33"


def all_products() -> list[tuple[Facts, str, dict[str, Any]]]:
    """Every random product: its workshop, code and facts."""
    workshops = [made_workshop(seed, "EUR").workshop for seed in LOOKED_AT]
    return [
        (workshop, resource.partition("/")[2], facts)
        for workshop in workshops
        for resource, facts in workshop.facts.items()
        if resource.startswith("products/")
    ]


def depth(workshop: Facts, code: str) -> int:
    lines = workshop.facts[f"products/{code}"]["bill_of_materials"]
    return max((1 + depth(workshop, line["product"]) for line in lines if "product" in line), default=0)


def test_there_are_at_least_300_random_products_with_up_to_five_levels_of_sub_assemblies() -> None:
    depths = [depth(workshop, code) for workshop, code, _ in all_products()]

    assert len(depths) >= 300
    assert {level: depths.count(level) >= 30 for level in range(6)} == dict.fromkeys(range(6), True)


def test_the_random_products_use_every_member_that_the_formulas_use() -> None:
    products = all_products()
    lines = [line for _, _, facts in products for line in facts["bill_of_materials"]]
    operations = [operation for _, _, facts in products for operation in facts.get("operations", ())]

    uses = {
        *(name for line in lines for name in line),
        *(name for operation in operations for name in operation),
        *(operation.get("tooling", "per_shot") for operation in operations if "tool" in operation),
        *(f"{len(operation.get('band_shares', ()))} bands" for operation in operations),
        *(name for _, _, facts in products for name in facts),
        *(facts["base"] for workshop, _, _ in products for facts in workshop.facts.values() if "base" in facts),
        *(facts.get("use") for workshop, _, _ in products for facts in workshop.facts.values()),
        *(name for workshop, _, _ in products for facts in workshop.facts.values() for name in facts),
    }
    parents = Counter(
        (id(workshop), line["product"])
        for workshop, _, facts in products
        for line in facts["bill_of_materials"]
        if "product" in line
    )

    assert {"product", "quantity_per_batch", "process_loss_share", "reclaim_share", "packaging", *BASES} <= uses
    assert {
        "minutes_on_one_warm_up",
        "warm_up_minutes",
        "setup_minutes",
        "load_factor",
        "pieces_per_cycle",
        "yield_share",
    } <= uses
    assert {"learning_curve", "entire", "per_shot", "1 bands", "2 bands", "3 bands"} <= uses
    assert sum(count > 1 for count in parents.values()) >= 100, "too few sub-assemblies are shared"


def test_the_random_channels_use_every_kind_of_fee() -> None:
    workshops = [made_workshop(seed, "EUR").workshop for seed in LOOKED_AT]
    channels = [
        facts for workshop in workshops for name, facts in workshop.facts.items() if name.startswith("channels")
    ]
    terms = [
        each
        for workshop in workshops
        for name, dated in workshop.terms.items()
        if name.startswith("channels/")
        for each in dated.values()
    ]
    fees = [fee for each in terms for fee in each["fees"]]

    bases = Counter(fee.get("base", "gross_price") for fee in fees)
    bandings = Counter((fee.get("banding", "whole"), len(fee["bands"])) for fee in fees if "bands" in fee)
    members = Counter(name for fee in fees for name in fee)
    jumps = Counter(
        number(one["share"]) < number(other["share"])
        for fee in fees
        for one, other in pairwise(fee.get("bands", ()))
        if one["share"] != other["share"]
    )
    assert all(bases[base] >= 10 for base in ("gross_price", "net_price", "gross_with_shipping")), bases
    assert all(bandings[banding, count] for banding in ("whole", "portion") for count in (1, 2, 3, 4)), bandings
    assert all(members[name] >= 10 for name in ("fixed", "minimum", "maximum", "tax_share")), members
    assert min(jumps[True], jumps[False]) >= 10, jumps
    assert {each.get("shipping_paid_by") for each in terms} == {None, "buyer"}
    assert {facts.get("display") for facts in channels} == {None, "tax_inclusive", "tax_exclusive"}
    assert any("conversion_spread_share" in each for each in terms)
    assert any("payout_currency" in facts for facts in channels)
