"""Compares the service with an independent computation: every figure of random products, to the last digit.

Each seed makes a workshop with resources, rates and products; sub-assemblies go down to five levels and are shared.
The workshop is registered over HTTP. For each product the test requests the bill of resources, a cost sheet, a
what-if and two price sheets, sold directly or through a sales channel. A failure names the seed, the request and each
figure that differs.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise, product
from math import prod
from random import Random
from typing import Any
from urllib.parse import urlencode

import flask
import pytest

from tests.api import independent, independent_prices
from tests.api.independent import COST_CLASSES, VALUE_BASES, Facts, number, shown_quantity
from tests.api.independent_prices import MINOR_DECIMALS
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.profiles import seeds

PRODUCTS_BY_LEVEL = (6, 5, 5, 4, 4, 3)
CODES_BY_LEVEL = [[f"d{level}n{place}" for place in range(count)] for level, count in enumerate(PRODUCTS_BY_LEVEL)]
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
UNITS = ("piece", "piece", "piece", "kg", "l", "m", "m2", "m3", "hour")
QUANTITIES = (1, 2, 3, 7, 10, 12, 64, 100, 333, 999, 1000, 1024, 4096, 10_000, 65_536, 99_999, 100_000)
PARTS_OF_UNITS = ("0.5", "0.125", "2.5", "12.5", "33.333", "137.125", "1000.001", "4096.5")
"""Quantities that only products by weight, length, volume or time have."""
YIELDS = ("1", "1", "0.95", "0.95", "0.9", "0.97", "0.875", "0.985", "0.333", "0.7")
LOSSES = ("0", "0", "0.02", "0.05", "0.1", "0.3", "0.333")
BASES = ("machine_hour", "labour_hour", "piece", "order", "setup", *VALUE_BASES)
BASES_AT_MACHINES = ("machine_hour", "labour_hour", "setup")


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

    def body(self, unit: str) -> dict[str, Any]:
        """The mass and the sides of a product."""
        mass = {"mass_kg": self.figure(1, 30)} if unit != "kg" else self.some(mass_kg="1")
        return {**mass, **{f"{side}_mm": self.figure(20, 900) for side in ("length", "width", "height")}}

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
            self.register("materials", f"m{place}", unit=self.share("kg", "kg", "kg", "l", "m", "m2", "piece"), **use)
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
            self.register("overheads", f"o{place}", **self.pool())
        for place in range(2):
            self.register("taxes", f"x{place}")
        for place in range(2):
            self.register("shipping-services", f"s{place}")
        for place in range(4):
            shown = self.some(display=self.share("tax_inclusive", "tax_exclusive"))
            self.register("channels", f"c{place}", **shown, **self.some(payout_currency=self.share(*CURRENCIES)))

    def pool(self) -> dict[str, Any]:
        """A pool of overhead, on some bases perhaps of named machines or products."""
        base, named = self.share(*BASES, *BASES_AT_MACHINES), {}
        machines, products = [f"p{place}" for place in range(4)], [code for codes in CODES_BY_LEVEL for code in codes]
        if base in BASES_AT_MACHINES and self.is_so(0.5):
            named["machines"] = self.random.sample(machines, self.random.randint(1, 2))
        if base not in VALUE_BASES and self.is_so(0.5):
            named["products"] = self.random.sample(products, self.random.randint(1, 15))
        return {"base": base, **named, **self.some(variable=True)}

    def terms(self, resource: str) -> dict[str, Any]:
        """Random terms of a resource."""
        return dict(getattr(self, "terms_of_" + resource.partition("/")[0].replace("-", "_"))(resource))

    def terms_of_materials(self, _: str) -> dict[str, Any]:
        """Dear to buy, or taken for a gate fee; waste may be worth something, or cost something to get rid of."""
        price = self.money(0.1, 9)
        if self.is_so(0.15):
            price |= {"amount": f"-{self.figure(0.01, 0.4)}"}
        return {"price": price, **self.some(reclaim_value=self.money(0.05, 0.6), disposal_cost=self.money(0.05, 0.8))}

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
        for level, codes in enumerate(CODES_BY_LEVEL):
            for code in codes:
                children = [self.random.choice(CODES_BY_LEVEL[level - 1])] if level else []
                below = [each for lower in CODES_BY_LEVEL[:level] for each in lower]
                children += [child for child in self.random.sample(below, min(2, len(below))) if self.is_so(0.5)]
                self.workshop.facts[f"products/{code}"] = self.product(code, children)

    def product(self, code: str, children: list[str]) -> dict[str, Any]:
        unit, steps = self.share(*UNITS), self.random.choice((0, 1, 1, 2, 2, 3))
        operations = [self.operation(f"step {place}", unit != "piece") for place in range(steps)]
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
            **({"unit": unit} if unit != "piece" or self.is_so(0.5) else {}),
            **({} if unit == "hour" else self.body(unit)),
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
        return {**line, **(self.waste(item["material"]) if "material" in item else self.of_parts(item["product"]))}

    def of_parts(self, product: str) -> dict[str, Any]:
        """The material that lost parts become, half of the time."""
        facts = self.workshop.facts
        unit = facts[f"products/{product}"].get("unit", "piece")
        fitting = [
            resource.partition("/")[2]
            for resource, each in facts.items()
            if resource.startswith("materials/") and each["unit"] in ((unit,) if unit == "hour" else (unit, "kg"))
        ]
        if not fitting or self.is_so(0.5):
            return {}
        return {"reclaimed_as": self.share(*fitting), **self.some(reclaim_share=self.share("0.5", "1"))}

    def waste(self, material: str) -> dict[str, Any]:
        """What becomes of what is lost: at most all of it is reclaimed or disposed of."""
        of_loss = self.some(reclaim_share=self.share("0.5", "0.8", "1"))
        if self.is_so(0.3):
            rest = 1 - number(of_loss.get("reclaim_share", 0))
            of_loss["disposal_share"] = decimal_text(rest * number(self.share("0", "0.25", "0.5", "1")))
        facts = self.workshop.facts
        alike = [
            resource.partition("/")[2]
            for resource in facts
            if resource.startswith("materials/") and facts[resource]["unit"] == facts[f"materials/{material}"]["unit"]
        ]
        return of_loss | (
            {"reclaimed_as": self.share(*alike)} if "reclaim_share" in of_loss and self.is_so(0.5) else {}
        )

    def operation(self, name: str, is_divided: bool) -> dict[str, Any]:
        is_at_a_machine = self.is_so(0.75)
        machine = self.at_a_machine() if is_at_a_machine else {}
        tool = {"tool": self.code("tools"), **self.some(tooling=self.share("per_shot", "entire"))}
        times = self.some(setup_minutes=self.figure(1, 60), yield_share=self.share(*YIELDS))
        if self.is_so(0.3):
            times["units_per_hour"] = self.figure(0.5, 90)
        else:
            parts = ("0.5", "2.4", "0.333") if is_divided else ()
            times |= {"cycle_minutes": self.figure(0.05, 40)}
            times |= self.some(pieces_per_cycle=self.random.choice((1, 2, 6, 8, 24, *parts)))
        grades = [self.code("labour-grades") for _ in range(self.random.choice((0, 1, 1, 2)))]
        people = [
            {"labour_grade": grade, "attendance": self.share("0.25", "1", "0.333"), **self.some(setup_crew="2")}
            for grade in dict.fromkeys(grades)
        ]
        return {"name": name, "labour": people, **times, **machine, **(tool if self.is_so(0.4) else {})}

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

    def quantity(self, code: str) -> Fraction:
        """A batch of the product, in its unit."""
        parts = PARTS_OF_UNITS if independent.unit_of(self.workshop, code) != "piece" else ()
        return number(self.random.choice((*QUANTITIES, *parts)))

    def supposed(self, resources: list[str]) -> dict[str, Any]:
        """Other terms for some of the resources on a sheet."""
        chosen = self.random.sample(resources, self.random.randint(1, len(resources)))
        return {resource: self.terms(resource) for resource in chosen}

    def sale(self, product: str) -> dict[str, Any]:
        """Random conditions of sale: tax, channel, currency, shipping; hours are not shipped."""
        is_shipped = independent.unit_of(self.workshop, product) != "hour" and self.is_so(0.5)
        shipping = {"shipping_service": self.code("shipping-services"), "shipping_zone": "home"}
        through = {"channel": self.code("channels")}
        directly = self.some(display=self.share("tax_inclusive", "tax_exclusive"))
        return {
            **self.some(tax=self.code("taxes")),
            **(through if self.is_so(0.7) else directly),
            **(shipping if is_shipped else {}),
            **({"currency": self.share(*CURRENCIES)} if self.is_so(0.5) else {}),
            **({"discount_share": self.share("0.1", "0.05", "0.333", "0.5")} if self.is_so(0.5) else {}),
        }

    def sold_together(self, code: str, batch: Fraction) -> dict[str, Any]:
        """How much a price is for, and an order has: one, or more that the batch has, and of a unit a part as well."""
        base = self.random.choice([1, *(each for each in BASE_QUANTITIES if each <= batch)])
        orders = [base, *(base * prices for prices in (2, 3, 7) if base * prices <= batch)]
        if independent.unit_of(self.workshop, code) != "piece":
            orders += [each for each in PARTS_OF_UNITS if number(each) <= batch]
        return {"base_quantity": base, **self.some(pieces_per_order=str(self.random.choice(orders)))}

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
    last = ("machines/", "products/", "overheads/")  # each names things in those before
    for resource in sorted(workshop.facts, key=lambda resource: [resource.startswith(each) for each in last][::-1]):
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
        pieces, as_of = maker.quantity(code), maker.random.choice(ASKED_DAYS)
        is_priced = pieces >= 1  # no price is for less than one unit
        together = maker.sold_together(code, pieces) if is_priced else {}
        self.ask_bill(code, pieces)
        sold_in = independent_prices.orders_in(pieces, together)
        batch, subtotals = self.in_orders(code, pieces, as_of, sold_in)
        supposed = maker.supposed(sorted(batch.rates_valid_from))
        self.ask_cost_sheet(independent.costed(self.workshop, code, pieces, as_of, supposed), {}, supposed)
        for ask in (maker.policy, maker.inverse) if is_priced else ():
            sale = maker.sale(code)
            orders = independent_prices.orders_in(pieces, {**sale, **together})
            if orders != sold_in:  # through a channel one by one
                batch, subtotals = self.in_orders(code, pieces, as_of, orders)
                sold_in = orders
            currency = sale.get("currency", self.workshop.currency)
            exchange = independent.Exchange(self.workshop, as_of)
            full_cost = independent.unit_cost(self.workshop, batch)["full_cost"]
            cost = exchange.in_currency(full_cost, self.workshop.currency, currency)
            policy = ask(cost * together["base_quantity"], MINOR_DECIMALS[currency])
            self.ask_price_sheet(batch, subtotals, {**sale, **policy, **together})

    def in_orders(self, code: str, pieces: Fraction, as_of: str, orders: Fraction) -> tuple[independent.Costed, Any]:
        """A batch sold in so many orders, and its subtotals as answered."""
        batch = independent.costed(self.workshop, code, pieces, as_of, {}, orders)
        return batch, self.ask_cost_sheet(batch, {"pieces_per_order": shown_quantity(pieces / orders)}, {})

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

    def ask_bill(self, code: str, pieces: Fraction) -> None:
        found = self.get(f"products/{code}/bill-of-resources", quantity=shown_quantity(pieces))["bill"]
        found["lines"] = by_name(found["lines"], "resource")
        found["steps"] = by_name(found["steps"], "product", "operation")
        found["issues"] = independent.in_order_of_product(found["issues"])
        assert found.pop("tooling") is None  # each operation says so itself
        self.compare(independent.bill_of_resources(self.workshop, code, pieces), found, "bill", code, pieces)

    def ask_cost_sheet(self, batch: independent.Costed, orders: dict[str, Any], supposed: dict[str, Any]) -> Any:
        path = f"products/{batch.product}/cost-sheet"
        asked = {"quantity": shown_quantity(batch.pieces), "as_of": batch.as_of, **orders}
        if supposed:
            found = self.answer(path, self.client.post(path, {**asked, "rates": supposed}))
        else:
            found = self.get(path, **asked)
        found["exchange_rates"] = by_name(found["exchange_rates"], "published_on")
        headings = [COST_CLASSES.index(line["cost_class"]) for line in found["lines"]]
        assert headings == sorted(headings), (path, headings)
        found["lines"] = by_name(found["lines"], "resource")
        expected = independent.cost_sheet(self.workshop, batch, list(found["lines"]))
        self.compare(expected, found, "cost sheet", batch.product, asked, supposed)
        return expected["subtotals"]

    def ask_price_sheet(self, batch: independent.Costed, subtotals: Any, question: dict[str, Any]) -> None:
        batch_asked = {"quantity": shown_quantity(batch.pieces), "as_of": batch.as_of}
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
            sheet = found["shipping"]
            shown = {name: sheet[name] for name in ("price", "workshop_price")}
            parcels = [(each["count"], shown_quantity(number(each["billable_kg"]))) for each in sheet["parcels"]]
            found["shipping"] = {"parcels": parcels, **shown}
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

    batch = independent.costed(questioner.workshop, "thirds", Fraction(1), ASKED_DAYS[0], {})
    subtotals = questioner.ask_cost_sheet(batch, {}, {})

    assert subtotals["full_cost"]["per_batch"]["amount"] == "9.99", "3 × 0.9985 × 10 ÷ 3 = 9.985"


def test_of_two_lines_with_equal_remainders_the_earlier_one_is_rounded_up(client: Client) -> None:
    questioner = priced_with_a_third(client, "10", "0.1")

    batch = independent.costed(questioner.workshop, "thirds", Fraction(1), ASKED_DAYS[0], {})
    subtotals = questioner.ask_cost_sheet(batch, {}, {})

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

    assert {"product", "quantity_per_batch", "process_loss_share", "packaging", *BASES} <= uses
    assert {"reclaim_share", "reclaimed_as", "disposal_share"} <= uses
    assert {
        "minutes_on_one_warm_up",
        "warm_up_minutes",
        "setup_minutes",
        "load_factor",
        "pieces_per_cycle",
        "yield_share",
        "units_per_hour",
    } <= uses
    assert {"learning_curve", "entire", "per_shot", "1 bands", "2 bands", "3 bands"} <= uses
    assert sum(count > 1 for count in parents.values()) >= 100, "too few sub-assemblies are shared"


def test_the_random_workshops_count_in_every_unit_pay_and_are_paid_for_waste_and_restrict_pools_of_every_base() -> None:
    workshops = [made_workshop(seed, "EUR").workshop for seed in LOOKED_AT]
    pools = Counter(
        (facts["base"], "machines" in facts, "products" in facts)
        for workshop in workshops
        for facts in workshop.facts.values()
        if "base" in facts
    )
    materials = [
        terms
        for workshop in workshops
        for resource, dated in workshop.terms.items()
        if resource.startswith("materials/")
        for terms in dated.values()
    ]
    products = [facts for _, _, facts in all_products()]
    divided = [facts for facts in products if facts.get("unit", "piece") != "piece"]
    sub_assemblies = {
        (workshop.facts[f"products/{line['product']}"].get("unit", "piece") == "piece", facts in divided)
        for workshop, _, facts in all_products()
        for line in facts["bill_of_materials"]
        if "product" in line
    }

    assert {facts.get("unit", "piece") for facts in products} == set(UNITS)
    assert len(sub_assemblies) == 4, "pieces of pieces, kilograms of pieces and so on"
    assert any("." in str(step.get("pieces_per_cycle")) for facts in divided for step in facts.get("operations", ()))
    assert sum(terms["price"]["amount"].startswith("-") for terms in materials) >= 10, "too few gate fees"
    assert sum("disposal_cost" in terms and "reclaim_value" in terms for terms in materials) >= 10
    restricted = {(base, *pair) for base in BASES_AT_MACHINES for pair in product((False, True), repeat=2)}
    restricted |= {(base, False, named) for base in ("order", "piece") for named in (False, True)}
    assert set(pools) == restricted | {(base, False, False) for base in VALUE_BASES}


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
