"""What is quoted besides registered products: work by the hour or the kilogram, bought goods, anything with a cost."""

from collections.abc import Callable, Iterator
from dataclasses import field
from decimal import Decimal
from typing import Annotated

from service.domain.making.products import Attendance, Operation, Product, Tooling
from service.domain.making.resources import BandShares
from service.domain.values.declared import Bounds, Code, Length, Name, NotNegative, Positive, PositiveShare, declared
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ONE, ZERO
from service.domain.values.money import Money, NotNegativeMoney
from service.domain.values.references import Names
from service.domain.values.units import Unit

Home = Callable[[Money], Decimal]
"""Converts into the workshop's currency, unrounded."""


@declared
class Purchase:
    """What is bought to be sold on: a part, a machine. All of its cost is variable.

    Attributes:
        price: what one unit is bought at, without tax that is paid back; in any currency, converted on the day.
        delivery_cost: to get it here, once for any quantity; in any currency; nothing if left out.
    """

    price: NotNegativeMoney
    delivery_cost: NotNegativeMoney | None = None

    def cost(self, quantity: Decimal, home: Home) -> Decimal:
        """Price × quantity + delivery, unrounded."""
        delivery = ZERO if self.delivery_cost is None else home(self.delivery_cost)
        return home(self.price) * quantity + delivery


@declared
class Work:
    """Work of the workshop, costed from the rates of the day as an operation of a product that takes no material.

    Attributes:
        machine: code of the machine; none for work at a bench.
        labour: people at the work, by grade.
        units_per_hour: how many units are done in an hour of run, parts of an hour counted; 1 where it is sold by the
            hour, else required.
        setup_minutes: minutes once, before it begins.
        warm_up_minutes: minutes the machine heats up before the setup, unattended.
        load_factor: the share of the machine's rated power that this work draws; the machine's own if left out.
        band_shares: the share of its electricity in each band of the tariff; adds up to 1, and may be left out if the
            tariff has one band.
        tool: code of a tool that is bought for it; the line charges it as it charges those of a product.
        processing_temperature_c: degrees Celsius at which a polymer is worked, if it is heated.
    """

    machine: Annotated[Code, Names("machines")] | None = None
    labour: Annotated[tuple[Attendance, ...], Length(at_most=20)] = ()
    units_per_hour: Positive | None = None
    setup_minutes: NotNegative = ZERO
    warm_up_minutes: NotNegative = ZERO
    load_factor: PositiveShare | None = None
    band_shares: Annotated[BandShares, Length(at_most=24)] = field(default_factory=dict)
    tool: Annotated[Code, Names("tools")] | None = None
    processing_temperature_c: Annotated[Decimal, Bounds(at_least=-50, at_most=500)] | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.machine is None and not self.labour:
            yield InvalidValueError(("machine",), "name a machine, or who works; work of neither would cost nothing")
        try:
            self.operation("work")
        except InvalidValuesError as error:  # its members have the same names
            yield from error.problems

    def operation(self, name: str) -> Operation:
        """The work as an operation that is timed by throughput.

        Raises:
            InvalidValuesError: no operation can be so, for instance warm-up without a machine.
        """
        return Operation(
            name=name,
            machine=self.machine,
            setup_minutes=self.setup_minutes,
            warm_up_minutes=self.warm_up_minutes,
            units_per_hour=self.units_per_hour or ONE,
            labour=self.labour,
            load_factor=self.load_factor,
            band_shares=self.band_shares,
            tool=self.tool,
            tooling=Tooling.ENTIRE,  # what is timed by throughput has no cycles that a tool could wear by
            processing_temperature_c=self.processing_temperature_c,
        )


_WAYS = ("cost", "purchase", "work")
"""The members that say what an item costs, each in its own way."""


@declared
class Item:
    """Something sold that is no registered product: a service, a bought part or machine, or anything else.

    Its cost is stated, or a purchase price, or that of work.

    Attributes:
        name: what the customer reads.
        unit: of its quantity and its price.
        cost: full cost of one unit, in the workshop's currency, where it is stated.
        variable_cost: the part of the stated cost that would not be spent without the order; all of it if left out.
        cost_once: what it costs besides, once for any quantity, such as setting up; it is variable.
        purchase: what it is bought at, in place of a stated cost.
        work: what is done for it, in place of a stated cost: an hour at a machine, a kilogram shredded.
    """

    name: Name
    unit: Unit = Unit.PIECE
    cost: NotNegative | None = None
    variable_cost: NotNegative | None = None
    cost_once: NotNegative = ZERO
    purchase: Purchase | None = None
    work: Work | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        first, *others = [way for way in _WAYS if getattr(self, way) is not None] or [""]
        if not first:
            yield InvalidValueError(("cost",), "is required, unless a purchase or work says what it costs")
        for other in others:
            yield InvalidValueError((other,), f"stands beside {first}; say in one way what it costs")
        if first != "cost":
            if self.variable_cost is not None:
                yield InvalidValueError(("variable_cost",), "is a part of a stated cost; leave it out")
            if self.cost_once:
                reason = "is for a stated cost; give the delivery_cost of a purchase, or setup_minutes of work"
                yield InvalidValueError(("cost_once",), reason)
        elif self.cost is not None and self.variable_cost is not None and self.variable_cost > self.cost:
            yield InvalidValueError(("variable_cost",), "must not be more than the cost, which contains it")
        if self.work is not None:
            yield from self._throughput_problems(self.work.units_per_hour)

    def _throughput_problems(self, units_per_hour: Decimal | None) -> Iterator[InvalidValueError]:
        path = ("work", "units_per_hour")
        if self.unit is not Unit.HOUR and units_per_hour is None:
            yield InvalidValueError(path, f"is required where the unit is {self.unit.value}: how many an hour does")
        if self.unit is Unit.HOUR and units_per_hour not in (None, ONE):
            yield InvalidValueError(path, "is 1 where it is sold by the hour; leave it out")

    def full_cost(self, quantity: Decimal, home: Home) -> Decimal:
        """Cost × quantity + cost once, or what the purchase costs; unrounded, of an item that is not work."""
        if self.purchase is not None:
            return self.purchase.cost(quantity, home)
        assert self.cost is not None  # work is costed by its bill
        return self.cost * quantity + self.cost_once

    def cost_without_fixed(self, quantity: Decimal, home: Home) -> Decimal:
        """The same of its variable cost."""
        if self.variable_cost is None:
            return self.full_cost(quantity, home)
        return self.variable_cost * quantity + self.cost_once

    def product(self) -> Product | None:
        """Its work as a product of one operation; None if it is not work."""
        if self.work is None:
            return None
        return Product(name=self.name, unit=self.unit, operations=(self.work.operation(self.name),))
