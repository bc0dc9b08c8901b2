"""A month in fractions, written from the formulas alone: what it contributes, bears and absorbs, and its time."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, gcd, lcm
from typing import Any

from tests.api.independent import (
    MORE_DECIMALS,
    SHARE_DECIMALS,
    Exchange,
    Facts,
    apportioned,
    consumed,
    costed,
    described,
    digits,
    in_units,
    machine_per_year,
    number,
    shown,
    shown_quantity,
    snapped,
    unit_of,
)
from tests.api.independent_prices import orders_in, sale_of

WEEKS_A_YEAR, MONTHS_A_YEAR = 52, 12
TAKEN = ("materials/", "tariffs/", "labour-grades/")
OF_A_SALE = ("tax", "channel", "currency", "shipping_service", "shipping_zone", "pieces_per_order")


@dataclass
class Planned:
    """A line of a plan, before anything is rounded; amounts of a piece in the workshop's currency.

    Attributes:
        step: what a best mix counts it in: batches, pieces, or thousandths of another unit.
        most: the most that can be sold, if that is limited.
        fixed: what a piece bears of each resource with a fixed cost, tools apart.
        minutes: of each machine and labour grade.
        taken: of each material, what is reclaimed as it and disposed of, electricity by band, and hours of each grade.
    """

    pieces: Fraction
    step: Fraction
    most: Fraction | None
    net_price: Fraction
    contribution: Fraction
    fixed: dict[str, Fraction]
    minutes: dict[str, Fraction]
    taken: dict[str, Fraction]


def planned(workshop: Facts, line: Mapping[str, Any], as_of: str) -> Planned:
    exchange, pieces = Exchange(workshop, as_of), number(line["standard_batch"])
    query = {name: line[name] for name in OF_A_SALE if name in line}
    batch = costed(workshop, line["product"], pieces, as_of, {}, orders_in(pieces, query))
    sale, price = sale_of(workshop, query, line["product"], exchange), number(line["price"])

    def home(amount: Fraction) -> Fraction:
        return exchange.in_currency(amount, query.get("currency", workshop.currency), workshop.currency)

    varies, fixed = Fraction(0), defaultdict[str, Fraction](Fraction)
    for resource in batch.quantities:
        told = described(workshop, batch, resource)
        if told["variable"] or told["cost_class"] == "tooling":  # a month has as many entire tools as batches
            varies += batch.amount(resource) / pieces
        else:
            fixed[resource.partition("#")[0]] += batch.amount(resource) / pieces
    taken = consumed(workshop, line["product"], pieces).quantities.items()
    minutes = {each: hours * 60 / pieces for each, hours in taken if each.startswith(("machines/", "labour-grades/"))}
    used = {
        each: quantity / pieces
        for each, quantity in taken
        if quantity and each.startswith(TAKEN) and not each.endswith("#standing")
    }
    return Planned(
        number(line["pieces"]),
        step(workshop, line),
        number(line["most_per_month"]) if "most_per_month" in line else None,
        home(sale.net(price)),
        home(sale.proceeds(price)) - varies,
        fixed,
        minutes,
        used,
    )


def step(workshop: Facts, line: Mapping[str, Any]) -> Fraction:
    """What a best mix counts a line in: batches, pieces, or thousandths of another unit."""
    if line.get("in_whole_batches"):
        return number(line["standard_batch"])
    return Fraction(1) if unit_of(workshop, line["product"]) == "piece" else Fraction(1, 1000)


def borne(workshop: Facts, resource: str, as_of: str) -> Fraction:
    """What the month bears of a resource, whatever is made."""
    exchange, terms = Exchange(workshop, as_of), workshop.terms_on(resource, as_of)[1]
    match resource.partition("/")[0]:
        case "machines":
            return machine_per_year(terms, exchange) / MONTHS_A_YEAR
        case "labour-grades":
            hours = number(terms.get("paid_hours_per_month", 0)) * number(terms.get("people", 1))
            return exchange.converted(terms["wage_per_hour"]) * (1 + number(terms.get("on_cost_share", 0))) * hours
        case "tariffs":
            charges = (terms.get(name) for name in ("standing_charge_per_month", "demand_charge_per_month"))
            return sum((exchange.converted(charge) for charge in charges), Fraction(0))
        case "overheads":
            is_variable = workshop.facts[resource].get("variable", False)
            return Fraction(0) if is_variable else exchange.converted(terms["amount_per_month"])
    return Fraction(0)


def total(figures: Iterable[Fraction]) -> Fraction:
    return sum(figures, Fraction(0))


def composite_unit(pieces: Sequence[Fraction]) -> list[int]:
    """The least whole numbers in the proportion of these."""
    whole = lcm(*(each.denominator for each in pieces))
    of_each = [int(each * whole) for each in pieces]
    return [each // (gcd(*of_each) or 1) for each in of_each]


class Month:
    """The figures of the answer."""

    def __init__(self, workshop: Facts, plan: Mapping[str, Any], left_out: Sequence[str]) -> None:
        """`left_out` are the resources that are left out and absorbed all the same, in the order of the answer."""
        self.workshop, self.plan, self.decimals = workshop, plan, workshop.minor_decimals
        as_of = plan["as_of"]
        self.lines = [planned(workshop, line, as_of) for line in plan["lines"]]
        rates = sorted(resource for resource in workshop.terms if resource not in plan["leave_out"])
        self.borne = {each: amount for each in rates if (amount := borne(workshop, each, as_of))}
        exchange = Exchange(workshop, as_of)
        self.others = [exchange.converted(each["amount"]) for each in plan["other_fixed_costs"]]
        self.resources = [*self.borne, *left_out]
        self.fixed_exactly = [*self.borne.values(), *self.others]
        self.fixed = apportioned(self.fixed_exactly, self.decimals)
        self.contributions = self.of_lines(lambda line: line.contribution)
        self.of_each_line = self.of_lines(lambda line: total(line.fixed.values()))
        absorbed = [total(line.fixed.get(each, 0) * line.pieces for line in self.lines) for each in self.resources]
        self.absorbed = dict(zip(self.resources, apportioned(absorbed, self.decimals), strict=True))

    def of_lines(self, figure: Any) -> list[int]:
        return apportioned([figure(line) * line.pieces for line in self.lines], self.decimals)

    def money(self, units: int) -> dict[str, str]:
        return {"amount": digits(units, self.decimals), "currency": self.workshop.currency}

    @property
    def pieces(self) -> list[Fraction]:
        return [line.pieces for line in self.lines]

    def profit(self, pieces: Sequence[Fraction]) -> int:
        """The profit, in units, if so many pieces of each line were made and sold."""
        contribution = total(line.contribution * made for line, made in zip(self.lines, pieces, strict=True))
        return in_units(contribution, self.decimals) - sum(self.fixed)

    def can_be_made(self, pieces: Sequence[Fraction]) -> bool:
        """Whether a best mix may be so many pieces of each line: within time and demand, in steps of each."""
        needed = defaultdict[str, Fraction](Fraction)
        for line, made in zip(self.lines, pieces, strict=True):
            for resource, minutes in line.minutes.items():
                needed[resource] += minutes * made
        there = {resource: self.available(resource) for resource in needed}
        return all(minutes is None or needed[each] <= minutes for each, minutes in there.items()) and all(
            made % line.step == 0 and (line.most is None or made <= line.most)
            for line, made in zip(self.lines, pieces, strict=True)
        )

    def most_alone(self, place: int) -> Fraction | None:
        """The most that can be made and sold of a line if nothing else is; None if nothing limits it."""
        line = self.lines[place]
        limits = [] if line.most is None else [line.most]
        for resource, minutes in line.minutes.items():
            there = self.available(resource)
            if minutes and there is not None:
                limits.append(there / minutes)
        return min(limits) // line.step * line.step if limits else None

    def break_even(self, composite: Sequence[int]) -> dict[str, Any] | None:
        """How many sets of the mix bring the fixed cost in; None if none do."""
        in_a_set = list(zip(self.lines, composite, strict=True))
        contribution = total(line.contribution * count for line, count in in_a_set)
        if contribution <= 0:
            return None
        sets = total(self.fixed_exactly) / contribution
        planned_sets = next(line.pieces / count for line, count in in_a_set if count)
        sales = apportioned([line.net_price * count * sets for line, count in in_a_set], self.decimals)
        return {
            "composite_units": known(sets),
            "whole_composite_units": known(Fraction(ceil(snapped(sets)))),
            "pieces_of_each": [known(count * sets) for count in composite],
            "plan_share": known(sets / planned_sets),
            "sales": self.money(sum(sales)),
            "sales_of_each": [self.money(each) for each in sales],
        }

    def answer(self) -> dict[str, Any]:
        contribution, fixed_cost = sum(self.contributions), sum(self.fixed)
        rows = {each: self.row(each) for each in self.resources}
        under = {each: incurred - absorbed for each, (incurred, absorbed) in rows.items()}
        told = [under[each] for each in self.borne]
        grades = [under[each] for each in self.borne if each.startswith("labour-grades/")]
        composite = composite_unit(self.pieces)
        in_a_set = total(line.contribution * count for line, count in zip(self.lines, composite, strict=True))
        profits = [of - absorbed for of, absorbed in zip(self.contributions, self.of_each_line, strict=True)]
        return {
            "sales": self.money(in_units(total(line.net_price * line.pieces for line in self.lines), self.decimals)),
            "contribution": self.money(contribution),
            "fixed_cost": self.money(fixed_cost),
            "contribution_per_composite_unit": self.more_exactly(in_a_set),
            "break_even": self.break_even(composite),
            "profit": self.money(contribution - fixed_cost),
            "paid_idle": self.money(sum(max(0, each) for each in grades)) if grades else None,
            "lines": [
                {
                    "pieces_per_composite_unit": in_a_set,
                    "month_contribution": self.money(of),
                    "month_absorbed": self.money(absorbed),
                    "month_profit": self.money(left),
                }
                for in_a_set, of, absorbed, left in zip(
                    composite, self.contributions, self.of_each_line, profits, strict=True
                )
            ],
            "absorption": {
                each: {
                    "incurred": self.money(rows[each][0]),
                    "absorbed": self.money(rows[each][1]),
                    "under_absorbed": self.money(under[each]),
                    "is_left_out": each not in self.borne,
                }
                for each in self.resources
            },
            "reconciliation": {
                "profit_of_products": self.money(sum(profits)),
                "under_absorbed": self.money(sum(max(0, each) for each in told)),
                "over_absorbed": self.money(sum(max(0, -each) for each in told)),
                "left_out": self.money(sum(self.absorbed[each] for each in self.resources if each not in self.borne)),
                "other_fixed_costs": self.money(sum(self.fixed[len(self.borne) :])),
                "profit": self.money(contribution - fixed_cost),
            },
            "loads": self.loads(),
            "resources_used": self.used(contribution, contribution - fixed_cost),
            "after_income_tax": self.taxed(contribution - fixed_cost),
        }

    def taxed(self, profit: int) -> dict[str, Any] | None:
        """What is left of the profit, in units, after tax."""
        if (share := self.plan.get("income_tax_share")) is None:
            return None
        tax = in_units(Fraction(max(0, profit)) * number(share) / 10**self.decimals, self.decimals)
        return {"income_tax": self.money(tax), "profit_after_tax": self.money(profit - tax)}

    def used(self, contribution: int, profit: int) -> dict[str, Any]:
        """Materials, electricity and work of all lines, and what an hour of work earns."""
        taken = defaultdict[str, Fraction](Fraction)
        for line in self.lines:
            for resource, quantity in line.taken.items():
                taken[resource] += quantity * line.pieces
        hours = total(quantity for each, quantity in taken.items() if each.startswith("labour-grades/"))
        return {
            "materials": {
                each: self.material(taken, each)
                for each in dict.fromkeys(part.partition("#")[0] for part in taken if part.startswith("materials/"))
            },
            "electricity": {
                each: {"kwh": quantity_of(kwh)} for each, kwh in taken.items() if each.startswith("tariffs/")
            },
            "labour": {
                each: {"hours": quantity_of(worked)}
                for each, worked in taken.items()
                if each.startswith("labour-grades/")
            },
            "hours_worked": quantity_of(hours),
            "contribution_per_hour_worked": self.an_hour(contribution, hours),
            "profit_per_hour_worked": self.an_hour(profit, hours),
        }

    def material(self, taken: Mapping[str, Fraction], resource: str) -> dict[str, Any]:
        """What is drawn of it, what comes back as it, and what of it is disposed of; gate fees and disposal cost."""
        parts = {"issued": resource, "reclaimed": f"{resource}#reclaimed", "disposed": f"{resource}#disposed"}
        exact = {name: taken.get(part, Fraction(0)) for name, part in parts.items()}
        told = {name: Fraction(quantity_of(quantity)) for name, quantity in exact.items()}
        exchange, terms = (
            Exchange(self.workshop, self.plan["as_of"]),
            self.workshop.terms_on(resource, self.plan["as_of"])[1],
        )
        price, disposal = exchange.converted(terms["price"]), exchange.converted(terms.get("disposal_cost"))
        return {
            **{name: quantity_of(quantity) for name, quantity in told.items()},
            "net": quantity_of(told["issued"] - told["reclaimed"]),
            "gate_fee": self.rounded(-price * exact["issued"]) if price < 0 and exact["issued"] else None,
            "disposal_cost": self.rounded(disposal * exact["disposed"]) if exact["disposed"] else None,
        }

    def rounded(self, amount: Fraction) -> dict[str, str]:
        return self.money(in_units(amount, self.decimals))

    def an_hour(self, units: int, hours: Fraction) -> dict[str, str] | None:
        return self.more_exactly(Fraction(units, 10**self.decimals) / hours) if hours else None

    def more_exactly(self, amount: Fraction) -> dict[str, str]:
        return {"amount": shown(amount, self.decimals + MORE_DECIMALS), "currency": self.workshop.currency}

    def row(self, resource: str) -> tuple[int, int]:
        """Incurred and absorbed."""
        place = list(self.borne).index(resource) if resource in self.borne else None
        return 0 if place is None else self.fixed[place], self.absorbed[resource]

    def loads(self) -> dict[str, dict[str, str | None]]:
        found = {}
        for resource in dict.fromkeys(each for line in self.lines for each in line.minutes):
            needed = total(line.minutes.get(resource, 0) * line.pieces for line in self.lines)
            found[resource] = {"minutes_needed": known(needed), "minutes_available": known(self.available(resource))}
        return found

    def available(self, resource: str) -> Fraction | None:
        """What is there to work in a month: of paid hours the productive share."""
        terms = self.workshop.terms_on(resource, self.plan["as_of"])[1]
        hours = self.workshop.facts[resource].get("hours_per_week")
        if hours is None and "paid_hours_per_month" not in terms:
            return None
        if hours is None:
            hours = (
                number(terms["paid_hours_per_month"]) * number(terms.get("people", 1)) * MONTHS_A_YEAR / WEEKS_A_YEAR
            )
        share = number(terms.get("productive_share", 1)) if resource.startswith("labour-grades/") else 1
        return number(hours) * share * 60 * WEEKS_A_YEAR / MONTHS_A_YEAR


def quantity_of(figure: Fraction) -> str:
    """With at most nine decimals."""
    return shown_quantity(figure) or "0"


def known(figure: Fraction | None) -> str | None:
    """With at most six decimals."""
    if figure is None:
        return None
    text = shown(figure, SHARE_DECIMALS)
    return text.rstrip("0").rstrip(".") if "." in text else text
