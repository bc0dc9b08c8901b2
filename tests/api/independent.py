"""Bill of resources and cost sheet in fractions, written from the formulas alone; prices: independent_prices.py.

It reads what a workshop sends to the service (facts, dated terms and exchange rates as JSON) and returns the figures
that the service must answer, digit for digit. It imports nothing of the service and was written without
reading its arithmetic, so the two agree only if both follow the same formulas. Rational figures are exact. A
learning curve is a power with an irrational exponent: it is exact for powers of two, otherwise to about sixty
digits.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import cache
from math import ceil, floor, isqrt
from typing import Any

COST_CLASSES = ("direct_material", "packaging", "direct_labour", "machine", "electricity", "tooling", "overhead")
VALUE_BASES = {"direct_material_value": "direct_material", "direct_labour_value": "direct_labour"}
UNITS_OF_BASES = {"machine_hour": "h", "labour_hour": "h"}
"""Units that differ from the name of the base."""
ONE_ORDER = Fraction(1)
SIGNIFICANT_DIGITS = 28
QUANTITY_DECIMALS = 9
SHARE_DECIMALS = 6
MORE_DECIMALS = 4
MAX_AGE_DAYS = 31
WITHOUT_OPERATIONS = ""


@dataclass
class Facts:
    """All that a workshop has registered, as it was sent.

    Attributes:
        currency: the workshop's currency.
        minor_decimals: digits of its minor unit: 2 for EUR, 0 for JPY, 3 for KWD.
        facts: registered facts, by "collection/code".
        terms: terms of rates, by "collection/code" and first day.
        exchange: by day, {"base": …, "rates": …}.
    """

    currency: str
    minor_decimals: int
    facts: dict[str, dict[str, Any]] = field(default_factory=dict)
    terms: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    exchange: dict[str, dict[str, Any]] = field(default_factory=dict)

    def terms_on(self, resource: str, as_of: str) -> tuple[str, dict[str, Any]]:
        """The first day and the terms in force on a day; ISO days sort chronologically."""
        day = max(day for day in self.terms[resource] if day <= as_of)
        return day, self.terms[resource][day]


# Showing figures


def snapped(figure: Fraction) -> Fraction:
    """The figure rounded to 28 significant digits, so that the last digit of a division does not affect rounding."""
    if figure == 0:
        return figure
    exponent = len(str(abs(figure.numerator))) - len(str(figure.denominator)) - SIGNIFICANT_DIGITS
    while abs(figure) >= Fraction(10) ** (exponent + SIGNIFICANT_DIGITS):
        exponent += 1
    unit = Fraction(10) ** exponent
    return half_up(figure / unit) * unit


def half_up(figure: Fraction) -> int:
    """The nearest whole number; a half is rounded away from zero."""
    whole = floor(abs(figure) + Fraction(1, 2))
    return whole if figure >= 0 else -whole


def in_units(figure: Fraction, decimals: int) -> int:
    """The figure in units of its last decimal, rounded."""
    return half_up(snapped(figure) * 10**decimals)


def digits(units: int, decimals: int) -> str:
    """A number of units of the last decimal, as text."""
    sign = "-" if units < 0 else ""
    text = str(abs(units)).rjust(decimals + 1, "0")
    return f"{sign}{text[: len(text) - decimals]}.{text[len(text) - decimals :]}" if decimals else sign + text


def shown(figure: Fraction, decimals: int) -> str:
    return digits(in_units(figure, decimals), decimals)


def shown_quantity(figure: Fraction) -> str:
    return shown(figure, QUANTITY_DECIMALS).rstrip("0").rstrip(".")


def apportioned(amounts: Sequence[Fraction], decimals: int) -> list[int]:
    """Amounts in whole units that add up to their rounded total: those with the largest remainders are rounded up."""
    exact = [amount * 10**decimals for amount in amounts]
    units = [floor(snapped(amount)) for amount in exact]
    missing = in_units(sum(amounts, Fraction(0)), decimals) - sum(units)
    by_remainder = sorted(range(len(units)), key=lambda place: (units[place] - exact[place], place))
    for place in by_remainder[:missing]:
        units[place] += 1
    return units


# The bill of resources


@cache
def number(text: Any) -> Fraction:
    return Fraction(str(text))


def to_the_logarithm(rate: Fraction, quantity: Fraction) -> Fraction:
    """quantity ^ log2(rate) = rate ^ log2(quantity), from the binary digits of the logarithm."""
    power = 0
    while quantity >= 2:
        quantity, power = quantity / 2, power + 1
    while quantity < 1:
        quantity, power = quantity * 2, power - 1
    result = rate**power
    if quantity == 1:
        return result
    one = 1 << 400
    rest = one * quantity.numerator // quantity.denominator
    root = one * rate.numerator // rate.denominator
    factor = one
    for _ in range(220):
        rest, root = rest * rest // one, isqrt(root * one)
        if rest >= 2 * one:
            rest, factor = rest // 2, factor * root // one
    return result * Fraction(factor, one)


def learning_factor(curve: Mapping[str, Any] | None, pieces: Fraction) -> Fraction:
    """The average time of these pieces ÷ the time of the first:  ((x+n)^(1+b) - x^(1+b)) ÷ n."""
    if curve is None:
        return Fraction(1)
    rate, before = number(curve["rate_share"]), number(curve.get("pieces_before", 0))
    after = before + pieces
    if after <= 1:
        return Fraction(1)
    if curve.get("model") == "unit":
        return (of_single_pieces(rate, after) - of_single_pieces(rate, before)) / pieces
    total_before = before * to_the_logarithm(rate, before) if before else Fraction(0)
    return (after * to_the_logarithm(rate, after) - total_before) / pieces


def of_single_pieces(rate: Fraction, pieces: Fraction) -> Fraction:
    """The total time of the first pieces by the unit model; a fraction of a piece takes that fraction of its time."""
    whole = pieces.numerator // pieces.denominator
    total = sum((of_piece(rate, place) for place in range(1, whole + 1)), Fraction(0))
    return total + (pieces - whole) * of_piece(rate, whole + 1)


@cache
def of_piece(rate: Fraction, place: int) -> Fraction:
    """rate ^ log2(place), to 300 binary digits; for a composite the product over factors, which saves logarithms."""
    factor = next((each for each in range(2, isqrt(place) + 1) if place % each == 0), place)
    if factor == place:
        found = to_the_logarithm(rate, Fraction(place))
    else:
        found = of_piece(rate, factor) * of_piece(rate, place // factor)
    return Fraction(int(found * 2**300), 2**300)


def learning_model(facts: Mapping[str, Any]) -> str:
    curve = facts.get("learning_curve")
    return "" if curve is None else str(curve.get("model", "cumulative_average"))


@dataclass
class Work:
    """What an operation adds to the bases of overhead: machine_hour, labour_hour and setup."""

    product: str
    machine: str
    of_base: dict[str, Fraction]


@dataclass
class Consumed:
    """Running totals of what a batch consumes."""

    quantities: dict[str, Fraction] = field(default_factory=lambda: defaultdict(Fraction))
    made: dict[str, Fraction] = field(default_factory=lambda: defaultdict(Fraction))
    steps: list[dict[str, Any]] = field(default_factory=list)
    issues: list[dict[str, Any]] = field(default_factory=list)
    work: list[Work] = field(default_factory=list)

    def of_base(self, pool: Mapping[str, Any], product: str, orders: Fraction) -> Fraction:
        """The quantity of a pool's base in a batch of the product, sold in so many orders."""
        of_products = pool.get("products") or [*self.made]
        if pool["base"] == "piece":
            return sum((made for code, made in self.made.items() if code in of_products), Fraction(0))
        if pool["base"] == "order":
            return orders if product in of_products else Fraction(0)
        machines = pool.get("machines")
        return sum(
            (
                each.of_base[pool["base"]]
                for each in self.work
                if each.product in of_products and (not machines or each.machine in machines)
            ),
            Fraction(0),
        )


def parents_first(workshop: Facts, product: str) -> list[str]:
    """The product and its sub-assemblies, each after all products that contain it."""
    finished: list[str] = []

    def visit(code: str) -> None:
        if code not in finished:
            for line in workshop.facts[f"products/{code}"].get("bill_of_materials", ()):
                if "product" in line:
                    visit(line["product"])
            finished.append(code)

    visit(product)
    return finished[::-1]


def consumed(workshop: Facts, product: str, pieces: Fraction, orders: Fraction = ONE_ORDER) -> Consumed:
    """Everything that a batch consumes; each sub-assembly is made in one lot."""
    batch = Consumed()
    batch.made[product] = pieces
    for code in parents_first(workshop, product):
        facts = workshop.facts[f"products/{code}"]
        started = add_operations(workshop, code, facts, batch)
        for line in facts.get("bill_of_materials", ()):
            add_issue(workshop, code, line, started, batch)
    for bought in [resource for resource in batch.quantities if resource.endswith("#entire")]:
        if bought.startswith("tools/"):
            batch.quantities.pop(bought.removesuffix("#entire"), None)  # paid for as a whole, so not by its wear too
    for resource, facts in workshop.facts.items():
        if resource.startswith("overheads/") and facts["base"] not in VALUE_BASES:
            batch.quantities[resource] += batch.of_base(facts, product, orders)
    return batch


def add_operations(workshop: Facts, code: str, facts: Mapping[str, Any], batch: Consumed) -> dict[str, Fraction]:
    """Add the operations, from the last to the first; returns the pieces started at each."""
    good = batch.made[code]
    factor = learning_factor(facts.get("learning_curve"), good)
    started = {WITHOUT_OPERATIONS: good}
    for operation in reversed(facts.get("operations", ())):
        share = number(operation.get("yield_share", 1))
        cycles, run = cycles_and_run(operation, good, share)
        setup, warm_up = number(operation.get("setup_minutes", 0)), number(operation.get("warm_up_minutes", 0))
        machine = workshop.facts[f"machines/{operation['machine']}"] if "machine" in operation else None
        if machine and "minutes_on_one_warm_up" in machine:
            warm_up *= max(ceil(snapped((setup + run) / number(machine["minutes_on_one_warm_up"]))), 1)
        kwh = electricity_kwh(operation, machine, setup, warm_up, run)
        machine_minutes = setup + warm_up + run if machine else Fraction(0)
        started[operation["name"]] = good / share
        setups = Fraction(1 if setup else 0)
        batch.steps.append(
            {
                "product": code,
                "operation": operation["name"],
                "pieces_good": shown_quantity(good),
                "pieces_started": shown_quantity(good / share),
                "cycles": shown_quantity(cycles),
                "run_minutes": shown_quantity(run),
                "machine_minutes": shown_quantity(machine_minutes),
                "electricity_kwh": shown_quantity(kwh),
                "learning_factor": shown_quantity(factor),
                "machine": operation.get("machine", ""),
                "learning_model": learning_model(facts),
                "runs_with_previous": operation.get("runs_with_previous", False),
                "labour_minutes": {
                    each["labour_grade"]: shown_quantity(minutes_of_work(each, setup, run, factor))
                    for each in operation.get("labour", ())
                },
                "setups": shown_quantity(setups),
            }
        )
        work = {"machine_hour": machine_minutes / 60, "labour_hour": Fraction(0), "setup": setups}
        batch.work.append(Work(code, operation.get("machine", ""), work))
        if machine:
            batch.quantities[f"machines/{operation['machine']}"] += machine_minutes / 60
            add_electricity(workshop, operation, machine, kwh, batch)
        for people in operation.get("labour", ()):
            minutes = minutes_of_work(people, setup, run, factor)
            batch.quantities[f"labour-grades/{people['labour_grade']}"] += minutes / 60
            work["labour_hour"] += minutes / 60
        if "tool" in operation:
            if operation.get("tooling") == "entire":
                batch.quantities[f"tools/{operation['tool']}#entire"] = Fraction(1)  # one mould, charged once
            else:
                batch.quantities[f"tools/{operation['tool']}"] += cycles
        good /= share
    return started


def cycles_and_run(operation: Mapping[str, Any], good: Fraction, share: Fraction) -> tuple[Fraction, Fraction]:
    """Cycles and minutes of the run: whole cycles, repeated by the yield, or what is started at its throughput.

    By throughput there are cycles only for the wear of a tool.
    """
    cycles = ceil(snapped(good / number(operation.get("pieces_per_cycle", 1)))) / share
    if "units_per_hour" in operation:
        minutes = good / share / number(operation["units_per_hour"]) * 60
        return cycles if operation.get("tool") else Fraction(0), minutes
    return cycles, cycles * number(operation.get("cycle_minutes", 0))


def minutes_of_work(people: Mapping[str, Any], setup: Fraction, run: Fraction, factor: Fraction) -> Fraction:
    return setup * number(people.get("setup_crew", 0)) + run * factor * number(people.get("attendance", 0))


def electricity_kwh(
    operation: Mapping[str, Any], machine: Mapping[str, Any] | None, setup: Fraction, warm_up: Fraction, run: Fraction
) -> Fraction:
    if machine is None:
        return Fraction(0)
    load_factor = number(operation.get("load_factor", machine.get("load_factor", 1)))
    return (
        warm_up * number(machine.get("warm_up_power_kw", 0))
        + setup * number(machine.get("idle_power_kw", 0))
        + run * number(machine.get("rated_power_kw", 0)) * load_factor
    ) / 60


def add_electricity(
    workshop: Facts, operation: Mapping[str, Any], machine: Mapping[str, Any], kwh: Fraction, batch: Consumed
) -> None:
    if "tariff" not in machine:
        return
    tariff = f"tariffs/{machine['tariff']}"
    for band, share in (operation.get("band_shares") or {workshop.facts[tariff]["bands"][0]: 1}).items():
        batch.quantities[f"{tariff}#{band}"] += kwh * number(share)
    batch.quantities[f"{tariff}#standing"] += kwh


def mass_kg(facts: Mapping[str, Any]) -> Fraction:
    """What a unit of a product weighs."""
    return Fraction(1) if facts.get("unit") == "kg" else number(facts["mass_kg"])


def add_issue(
    workshop: Facts, code: str, line: Mapping[str, Any], started: Mapping[str, Fraction], batch: Consumed
) -> None:
    """Add a line of the bill of materials: what is issued, and what of the loss is reclaimed and disposed of."""
    facts = workshop.facts[f"products/{code}"]
    per_piece = number(line.get("quantity_per_piece", 0))
    operations = [operation["name"] for operation in facts.get("operations", ())] or [WITHOUT_OPERATIONS]
    operation = line.get("operation", operations[0])
    loss = number(line.get("process_loss_share", 0))
    issued = per_piece * started[operation] / (1 - loss) + number(line.get("quantity_per_batch", 0))
    in_good_pieces = per_piece * batch.made[code]
    item = f"products/{line['product']}" if "product" in line else f"materials/{line['material']}"
    reclaimed = disposed = Fraction(0)
    lost, share = issued - in_good_pieces, number(line.get("reclaim_share", 0))
    if "product" in line:
        batch.made[line["product"]] += issued
        waste = line.get("reclaimed_as")
        if waste is not None:
            part = workshop.facts[f"products/{line['product']}"]
            is_alike = part.get("unit", "piece") == workshop.facts[f"materials/{waste}"]["unit"]
            lost *= 1 if is_alike else mass_kg(part)
    else:
        waste = line["material"]
        batch.quantities[item] += issued
    if waste is not None:
        reclaimed, disposed = lost * share, lost * number(line.get("disposal_share", 1 - share))
        batch.quantities[f"materials/{line.get('reclaimed_as', waste)}#reclaimed"] += reclaimed
        batch.quantities[f"materials/{waste}#disposed"] += disposed
    batch.issues.append(
        {
            "product": code,
            "item": item,
            "operation": operation,
            "issued": shown_quantity(issued),
            "in_good_pieces": shown_quantity(in_good_pieces),
            "reclaimed": shown_quantity(reclaimed),
            "reclaimed_as": line.get("reclaimed_as", ""),
            "disposed": shown_quantity(disposed),
        }
    )


def unit_of_pieces(workshop: Facts, pool: Mapping[str, Any], product: str) -> str:
    """What a pool on pieces counts in a batch of a product: its unit, where all that it bears on has one."""
    made = [code for code in parents_first(workshop, product) if code in pool.get("products", [code])]
    units = {unit_of(workshop, code) for code in made}
    return units.pop() if len(units) == 1 else "piece"


def description(workshop: Facts, resource: str, product: str) -> dict[str, Any]:
    """The cost class and unit of a resource in a batch of a product, and whether it varies with the volume."""
    registered, _, part = resource.partition("#")
    collection, facts = registered.partition("/")[0], workshop.facts[registered]
    if collection == "materials":
        told = (facts.get("use", "direct_material"), facts["unit"], True)
    elif collection == "labour-grades":
        told = ("direct_labour", "h", True)
    elif collection == "machines":
        told = ("machine", "h", False)
    elif collection == "tariffs":
        told = ("electricity", "kWh", part != "standing")
    elif collection == "tools":
        told = ("tooling", "piece" if part else "shot", True)  # bought for the order, it is not spent without it
    else:
        unit = workshop.currency if facts["base"] in VALUE_BASES else UNITS_OF_BASES.get(facts["base"], facts["base"])
        unit = unit_of_pieces(workshop, facts, product) if unit == "piece" else unit
        told = ("overhead", unit, facts.get("variable", False))
    return {"resource": resource, "cost_class": told[0], "unit": told[1], "variable": told[2]}


def unit_of(workshop: Facts, product: str) -> str:
    return str(workshop.facts[f"products/{product}"].get("unit", "piece"))


def value_pools(workshop: Facts) -> list[str]:
    """The overheads that are a share of a subtotal."""
    return sorted(
        resource
        for resource, facts in workshop.facts.items()
        if resource.startswith("overheads/") and facts["base"] in VALUE_BASES
    )


def bill_of_resources(workshop: Facts, product: str, pieces: Fraction) -> dict[str, Any]:
    """The figures of the answer; lists without a defined order are brought into a comparable form."""
    batch = consumed(workshop, product, pieces)
    return {
        "product": product,
        "quantity": shown_quantity(pieces),
        "unit": unit_of(workshop, product),
        "orders": shown_quantity(ONE_ORDER),
        "lines": {
            resource: {**description(workshop, resource, product), "quantity": shown_quantity(quantity)}
            for resource, quantity in batch.quantities.items()
            if quantity
        },
        "value_pools": [
            {
                "resource": resource,
                "base": workshop.facts[resource]["base"],
                "variable": workshop.facts[resource].get("variable", False),
            }
            for resource in value_pools(workshop)
        ],
        "pieces_made": {code: shown_quantity(made) for code, made in batch.made.items()},
        "steps": {f"{step['product']} {step['operation']}": step for step in batch.steps},
        "issues": in_order_of_product(batch.issues),
    }


def in_order_of_product(issues: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Issues by product; sorting is stable, so a product's lines stay in the order of its bill of materials."""
    return sorted(issues, key=lambda issue: str(issue["product"]))


# Rates


@dataclass
class Exchange:
    """Conversion on a day; records the published days and currencies used."""

    workshop: Facts
    as_of: str
    days: dict[str, set[str]] = field(default_factory=dict)

    def converted(self, money: Mapping[str, Any] | None) -> Fraction:
        """An amount in the workshop's currency."""
        return Fraction(0) if money is None else self.in_currency(number(money["amount"]), money["currency"], self.home)

    @property
    def home(self) -> str:
        return self.workshop.currency

    def in_currency(self, amount: Fraction, source: str, target: str) -> Fraction:
        """amount × units of the target for one base ÷ units of the source for one base."""
        if source == target:
            return amount
        for day in sorted(self.workshop.exchange, reverse=True):
            published = self.workshop.exchange[day]
            units = {**published["rates"], published["base"]: "1"}
            if self.is_recent(day) and source in units and target in units:
                self.days.setdefault(day, set()).update({source, target} - {published["base"]})
                return amount * number(units[target]) / number(units[source])
        raise LookupError(f"no rate between {source} and {target} on {self.as_of}")

    def is_recent(self, day: str) -> bool:
        return 0 <= days_between(day, self.as_of) <= MAX_AGE_DAYS


def days_between(one: str, other: str) -> int:
    return (date.fromisoformat(other) - date.fromisoformat(one)).days


def material_rates(resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    rates = {resource: exchange.converted(terms["price"])}
    if "reclaim_value" in terms:
        rates[f"{resource}#reclaimed"] = -exchange.converted(terms["reclaim_value"])
    if "disposal_cost" in terms:
        rates[f"{resource}#disposed"] = exchange.converted(terms["disposal_cost"])
    return rates


def labour_rates(resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    wage = exchange.converted(terms["wage_per_hour"]) * (1 + number(terms.get("on_cost_share", 0)))
    return {resource: wage / number(terms.get("productive_share", 1))}


def machine_per_year(terms: Mapping[str, Any], exchange: Exchange) -> Fraction:
    """What a machine costs a year, however much it runs."""
    replacement = exchange.converted(terms["replacement_value"])
    residual = exchange.converted(terms.get("residual_value"))
    return (
        (replacement - residual) / number(terms["life_years"])
        + (replacement + residual) / 2 * number(terms.get("interest_share", 0))
        + number(terms.get("floor_m2", 0)) * exchange.converted(terms.get("space_cost_per_m2_month")) * 12
        + replacement * number(terms.get("maintenance_share", 0))
        + exchange.converted(terms.get("other_per_year"))
    )


def machine_rates(resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    hours_per_year = number(terms["planned_hours_per_year"]) * number(terms.get("utilisation_share", 1))
    return {resource: machine_per_year(terms, exchange) / hours_per_year}


def tool_rates(resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    cost = exchange.converted(terms["cost"])
    return {resource: cost / number(terms["life_shots"]), f"{resource}#entire": cost}


def tariff_rates(resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    rates = {f"{resource}#{band}": exchange.converted(price) for band, price in terms["price_per_kwh"].items()}
    charges = [terms[name] for name in ("standing_charge_per_month", "demand_charge_per_month") if name in terms]
    if charges:
        monthly = sum((exchange.converted(charge) for charge in charges), Fraction(0))
        rates[f"{resource}#standing"] = monthly / number(terms["expected_kwh_per_month"])
    return rates


def unit_rates(workshop: Facts, resource: str, terms: Mapping[str, Any], exchange: Exchange) -> dict[str, Fraction]:
    """The cost of a unit of each part of a resource, in the workshop's currency."""
    rates_of = {
        "materials": material_rates,
        "labour-grades": labour_rates,
        "machines": machine_rates,
        "tariffs": tariff_rates,
        "tools": tool_rates,
    }
    collection = resource.partition("/")[0]
    if collection in rates_of:
        return rates_of[collection](resource, terms, exchange)
    amount = terms["amount_per_month"]
    is_share = workshop.facts[resource]["base"] in VALUE_BASES
    monthly = number(amount["amount"]) if is_share else exchange.converted(amount)
    return {resource: monthly / number(terms["base_per_month"])}


# The cost sheet


@dataclass
class Costed:
    """A batch with its rates, before anything is rounded.

    Attributes:
        product: code of the product.
        pieces: good pieces in the batch, or units.
        as_of: the day of the rates.
        quantities: quantity of each resource with a cost; for an overhead on a subtotal, the subtotal.
        rates: cost of a unit of each.
        rates_valid_from: the first day of the terms used.
        paid_by_the_month: labour that is fixed, because its terms say that it is paid by the month.
        exchange_days: published days used for conversion, and the currencies needed from each.
    """

    product: str
    pieces: Fraction
    as_of: str
    exchange_days: dict[str, set[str]]
    quantities: dict[str, Fraction] = field(default_factory=dict)
    rates: dict[str, Fraction] = field(default_factory=dict)
    rates_valid_from: dict[str, str] = field(default_factory=dict)
    paid_by_the_month: set[str] = field(default_factory=set)

    def amount(self, resource: str) -> Fraction:
        return self.quantities[resource] * self.rates[resource]


def costed(
    workshop: Facts,
    product: str,
    pieces: Fraction,
    as_of: str,
    supposed: Mapping[str, Mapping[str, Any]],
    orders: Fraction = ONE_ORDER,
) -> Costed:
    """Quantities × rates. Supposed terms replace those in force; overheads on a subtotal come last."""
    exchange = Exchange(workshop, as_of)
    batch = Costed(product, pieces, as_of, exchange.days)

    def add(resource: str, quantity: Fraction) -> None:
        registered = resource.partition("#")[0]
        day, terms = (as_of, supposed[registered]) if registered in supposed else workshop.terms_on(registered, as_of)
        rates = unit_rates(workshop, registered, terms, exchange)
        if resource in rates:
            batch.quantities[resource], batch.rates[resource] = quantity, rates[resource]
            batch.rates_valid_from[registered] = day
        if "paid_hours_per_month" in terms:
            batch.paid_by_the_month.add(resource)

    for resource, quantity in consumed(workshop, product, pieces, orders).quantities.items():
        if quantity:
            add(resource, quantity)
    values: dict[str, Fraction] = defaultdict(Fraction)
    for resource in batch.quantities:
        values[description(workshop, resource, product)["cost_class"]] += batch.amount(resource)
    for resource in value_pools(workshop):
        if value := values[VALUE_BASES[workshop.facts[resource]["base"]]]:
            add(resource, value)
    return batch


def described(workshop: Facts, batch: Costed, resource: str) -> dict[str, Any]:
    """As on a bill, but labour that is paid by the month does not rise and fall with the volume."""
    told = description(workshop, resource, batch.product)
    return {**told, "variable": False} if resource in batch.paid_by_the_month else told


def one_percent_factors(workshop: Facts, batch: Costed) -> dict[str, Fraction]:
    """By cost class, how much one unit of cost adds to the full cost: itself and the overheads on it."""
    factors: dict[str, Fraction] = defaultdict(lambda: Fraction(1))
    for resource in value_pools(workshop):
        if resource in batch.rates:
            factors[VALUE_BASES[workshop.facts[resource]["base"]]] += batch.rates[resource]
    return factors


def cost_sheet(workshop: Facts, batch: Costed, order: Sequence[str]) -> dict[str, Any]:
    """The figures of the answer.

    Args:
        workshop: registered facts and terms.
        batch: its quantities and rates.
        order: order of the lines within a cost class; of two equal remainders the first is rounded up.
    """
    places = {resource: place for place, resource in enumerate(order)}
    told = [described(workshop, batch, resource) for resource in batch.quantities]
    told.sort(key=lambda line: (COST_CLASSES.index(line["cost_class"]), places.get(line["resource"], len(places))))
    amounts = [batch.amount(line["resource"]) for line in told]
    full_cost = sum(amounts, Fraction(0))
    factors = one_percent_factors(workshop, batch)

    money_decimals, unit_decimals = workshop.minor_decimals, workshop.minor_decimals + MORE_DECIMALS
    per_batch = apportioned(amounts, money_decimals)
    per_piece = apportioned([amount / batch.pieces for amount in amounts], unit_decimals)

    def money(units: int, decimals: int) -> dict[str, str]:
        return {"amount": digits(units, decimals), "currency": workshop.currency}

    def subtotal(places: Iterable[int]) -> dict[str, dict[str, str]]:
        chosen = list(places)
        return {
            "per_batch": money(sum(per_batch[place] for place in chosen), money_decimals),
            "per_piece": money(sum(per_piece[place] for place in chosen), unit_decimals),
        }

    def where(key: str, *values: Any) -> list[int]:
        return [place for place, line in enumerate(told) if line[key] in values]

    lines = {}
    for place, line in enumerate(told):
        resource, amount = line["resource"], amounts[place]
        one_percent = amount * factors[line["cost_class"]] / 100 / batch.pieces
        lines[resource] = {
            **line,
            "quantity": shown_quantity(batch.quantities[resource]),
            "rate": shown(batch.rates[resource], unit_decimals),
            "amount": money(per_batch[place], money_decimals),
            "amount_per_piece": money(per_piece[place], unit_decimals),
            "share_of_full_cost": shown(amount / full_cost, SHARE_DECIMALS) if full_cost > 0 else None,
            "one_percent_adds_per_piece": money(in_units(one_percent, unit_decimals), unit_decimals),
        }
    return {
        "product": batch.product,
        "quantity": shown_quantity(batch.pieces),
        "unit": unit_of(workshop, batch.product),
        "as_of": batch.as_of,
        "currency": workshop.currency,
        "lines": lines,
        "cost_classes": {
            name: subtotal(where("cost_class", name)) for name in COST_CLASSES if where("cost_class", name)
        },
        "subtotals": {
            "prime_cost": subtotal(where("cost_class", "direct_material", "packaging", "direct_labour")),
            "conversion_cost": subtotal(where("cost_class", *COST_CLASSES[2:])),
            "variable_cost": subtotal(where("variable", True)),
            "fixed_cost": subtotal(where("variable", False)),
            "full_cost": subtotal(range(len(told))),
        },
        "rates_valid_from": batch.rates_valid_from,
        "exchange_rates": published(workshop, batch.exchange_days, batch.as_of),
    }


def published(workshop: Facts, days: Mapping[str, set[str]], as_of: str) -> dict[str, dict[str, Any]]:
    """The needed exchange rates of these days as the answer shows them, with their age."""
    return {
        day: {
            "source": "manual",
            "published_on": day,
            "base": workshop.exchange[day]["base"],
            "rates": {code: workshop.exchange[day]["rates"][code] for code in sorted(needed)},
            "age_days": days_between(day, as_of),
            "max_age_days": MAX_AGE_DAYS,
        }
        for day, needed in days.items()
    }


def both(one: Mapping[str, set[str]], other: Mapping[str, set[str]]) -> dict[str, set[str]]:
    """The union of both: days, each with the currencies needed from it."""
    return {day: one.get(day, set()) | other.get(day, set()) for day in (*one, *other)}


def unit_cost(workshop: Facts, batch: Costed) -> dict[str, Fraction]:
    amounts = {resource: batch.amount(resource) for resource in batch.quantities}
    variable = [amounts[resource] for resource in amounts if described(workshop, batch, resource)["variable"]]
    return {
        "full_cost": sum(amounts.values(), Fraction(0)) / batch.pieces,
        "variable_cost": sum(variable, Fraction(0)) / batch.pieces,
    }
