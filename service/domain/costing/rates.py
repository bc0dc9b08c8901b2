"""The terms of rates, and the components of the unit rates that follow from them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Protocol

from service.domain.making.resources import DISPOSED, ENTIRE_TOOL, RECLAIMED, STANDING, Tariff
from service.domain.values.declared import Bounds, Code, Length, NotNegative, Positive, PositiveShare, Share, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import MONTHS_PER_YEAR, ONE, WEEKS_PER_YEAR, ZERO
from service.domain.values.money import NOT_NEGATIVE, Money, NotNegativeMoney
from service.domain.values.references import WHOLE

Convert = Callable[[Money], Decimal]
"""Converts into the workshop's currency, unrounded."""
Components = Mapping[str, Mapping[str, Decimal]]
"""For each part of a resource ("" for the whole) the named amounts that add up to its unit rate."""

_TWO = Decimal(2)


@declared
class MaterialRate:
    """What a unit of a material costs.

    Attributes:
        price: for one unit, delivered; in any currency. Negative if the workshop is paid to take it, by a gate fee.
        reclaim_value: the value of a unit of loss after regrinding; nothing if left out.
        disposal_cost: to get rid of a unit that is lost and not reclaimed; nothing if left out.
    """

    price: Money
    reclaim_value: NotNegativeMoney | None = None
    disposal_cost: NotNegativeMoney | None = None

    def components(self, convert: Convert) -> Components:
        """The price of a unit; for reclaimed material the negative of its value; for waste the cost of its disposal."""
        parts = {WHOLE: {"price": convert(self.price)}}
        if self.reclaim_value is not None:
            parts[RECLAIMED] = {"reclaim value": -convert(self.reclaim_value)}
        if self.disposal_cost is not None:
            parts[DISPOSED] = {"disposal cost": convert(self.disposal_cost)}
        return parts


@declared
class MachineRate:
    """The cost of keeping a machine, spread over the hours that it runs. Energy is priced by the tariff.

    Attributes:
        replacement_value: what the machine would cost today.
        residual_value: its value at the end of its life; negative if disposal costs.
        life_years: years of use.
        interest_share: the yearly interest on the capital tied up.
        floor_m2: floor space of the machine and the work area around it.
        space_cost_per_m2_month: rent, heating and light of a square metre a month.
        maintenance_share: yearly maintenance as a share of the replacement value.
        other_per_year: insurance, inspections and the like.
        planned_hours_per_year: hours it could run in a year.
        utilisation_share: the share of those hours it is expected to run.
    """

    replacement_value: NotNegativeMoney
    residual_value: Money | None = None
    life_years: Positive
    interest_share: Share = ZERO
    floor_m2: NotNegative = ZERO
    space_cost_per_m2_month: NotNegativeMoney | None = None
    maintenance_share: Share = ZERO
    other_per_year: NotNegativeMoney | None = None
    planned_hours_per_year: Annotated[Decimal, Bounds(above=0, at_most=8784)]
    utilisation_share: PositiveShare = ONE

    def problems(self) -> Iterator[InvalidValueError]:
        if self.floor_m2 and self.space_cost_per_m2_month is None:
            yield InvalidValueError(("space_cost_per_m2_month",), "is required where floor_m2 is given")
        residual = self.residual_value
        is_comparable = residual is not None and residual.currency == self.replacement_value.currency
        if residual is not None and is_comparable and residual.amount > self.replacement_value.amount:
            yield InvalidValueError(("residual_value", "amount"), "must not be above the replacement value")

    @property
    def expected_hours_per_year(self) -> Decimal:
        """The hours that the cost of a year is spread over:  planned hours × utilisation."""
        return self.planned_hours_per_year * self.utilisation_share

    def per_year(self, convert: Convert) -> dict[str, Decimal]:
        """The cost of keeping the machine a year, however much it runs.

        (replacement − residual)/life, (replacement + residual)/2 × interest, floor × space × 12,
        replacement × maintenance, other.

        Source: the machine-hour rate of cost accounting (German 'Maschinenstundensatz') with interest on
        the mean capital tied up; common practice.
        """
        replacement = convert(self.replacement_value)
        residual = convert(self.residual_value) if self.residual_value else ZERO
        space = convert(self.space_cost_per_m2_month) if self.space_cost_per_m2_month else ZERO
        return {
            "depreciation": (replacement - residual) / self.life_years,
            "interest": (replacement + residual) / _TWO * self.interest_share,
            "space": self.floor_m2 * space * MONTHS_PER_YEAR,
            "maintenance": replacement * self.maintenance_share,
            "other": convert(self.other_per_year) if self.other_per_year else ZERO,
        }

    def components(self, convert: Convert) -> Components:
        """The machine-hour rate without energy: cost a year ÷ (planned hours × utilisation)."""
        hours = self.expected_hours_per_year
        return {WHOLE: {name: amount / hours for name, amount in self.per_year(convert).items()}}


@declared
class LabourRate:
    """What an hour of productive work costs, and whether it is paid by the hour or by the month.

    By the hour it is variable: an hour that is not worked is not paid. By the month a batch bears its hours × rate all
    the same, but as a fixed cost: the whole pay is due, worked or not.

    Attributes:
        wage_per_hour: gross pay for an hour.
        on_cost_share: the employer's contributions as a share of the wage; may be above 1.
        productive_share: the share of paid hours that is worked on orders.
        paid_hours_per_month: of one person, paid worked or not; paid by the hour if left out.
        people: who are paid so; 1 if left out, and only with paid_hours_per_month.
    """

    wage_per_hour: NotNegativeMoney
    on_cost_share: NotNegative = ZERO
    productive_share: PositiveShare = ONE
    paid_hours_per_month: Annotated[Decimal, Bounds(above=0, at_most=744)] | None = None
    people: Annotated[Decimal, Bounds(above=0, at_most=10_000)] | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.people is not None and self.paid_hours_per_month is None:
            reason = "is for pay by the month: give paid_hours_per_month too, or leave it out"
            yield InvalidValueError(("people",), reason)

    @property
    def is_paid_by_the_month(self) -> bool:
        return self.paid_hours_per_month is not None

    @property
    def all_paid_hours_per_month(self) -> Decimal:
        """Paid hours of one person × people; 0 if paid by the hour."""
        return (self.paid_hours_per_month or ZERO) * (ONE if self.people is None else self.people)

    def hours_to_work(self, paid_hours_per_week: Decimal | None) -> Decimal | None:
        """Hours a week that are there to work on orders:  paid hours × productive share.

        If the paid hours of a week are not known they follow from those of the month, × 12/52; None if it has none.
        """
        if paid_hours_per_week is None and not self.is_paid_by_the_month:
            return None
        in_a_month = self.all_paid_hours_per_month * MONTHS_PER_YEAR / WEEKS_PER_YEAR
        return (in_a_month if paid_hours_per_week is None else paid_hours_per_week) * self.productive_share

    def per_month(self, convert: Convert) -> dict[str, Decimal]:
        """The pay of a month, worked or not:  wage × (1 + on-cost) × paid hours × people; none if paid by the hour."""
        if not self.is_paid_by_the_month:
            return {}
        wage = convert(self.wage_per_hour) * self.all_paid_hours_per_month
        return {"wage": wage, "on-cost": wage * self.on_cost_share}

    def components(self, convert: Convert) -> Components:
        """The cost of an hour: wage × (1 + on-cost) ÷ productive share."""
        wage = convert(self.wage_per_hour)
        paid = wage * (ONE + self.on_cost_share)
        return {
            WHOLE: {
                "wage": wage,
                "on-cost": paid - wage,
                "paid but unproductive time": paid / self.productive_share - paid,
            }
        }


@declared
class TariffRate:
    """What electricity costs.

    Attributes:
        price_per_kwh: for every band of the tariff, energy with grid fees and levies.
        standing_charge_per_month: paid whatever is used.
        demand_charge_per_month: paid for the highest load, as an amount a month.
        expected_kwh_per_month: what the standing and demand charges are spread over.
    """

    price_per_kwh: Annotated[Mapping[Code, Money], Length(at_least=1, at_most=24)]
    standing_charge_per_month: NotNegativeMoney | None = None
    demand_charge_per_month: NotNegativeMoney | None = None
    expected_kwh_per_month: Positive | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        for band, price in self.price_per_kwh.items():
            yield from NOT_NEGATIVE.problems(price, ("price_per_kwh", band))
        if self.has_charges and self.expected_kwh_per_month is None:
            yield InvalidValueError(("expected_kwh_per_month",), "is required to spread the monthly charges over")

    def problems_with(self, tariff: Tariff) -> Iterator[InvalidValueError]:
        """A problem unless every band has a price, and nothing else does."""
        if set(self.price_per_kwh) != set(tariff.bands):
            yield InvalidValueError(
                ("price_per_kwh",), f"must price exactly the tariff's bands: {', '.join(tariff.bands)}"
            )

    @property
    def has_charges(self) -> bool:
        return self.standing_charge_per_month is not None or self.demand_charge_per_month is not None

    def per_month(self, convert: Convert) -> dict[str, Decimal]:
        """The monthly charges, which do not depend on the electricity used."""
        charges = {"standing charge": self.standing_charge_per_month, "demand charge": self.demand_charge_per_month}
        return {name: convert(charge) for name, charge in charges.items() if charge is not None}

    def components(self, convert: Convert) -> Components:
        """The price of a kWh in each band, and the monthly charges ÷ the kWh expected."""
        parts = {band: {"energy": convert(price)} for band, price in self.price_per_kwh.items()}
        if self.expected_kwh_per_month is None:
            return parts
        spread = {name: charge / self.expected_kwh_per_month for name, charge in self.per_month(convert).items()}
        return {**parts, STANDING: spread} if spread else parts


@declared
class OverheadRate:
    """What a pool costs a month and what it is spread over.

    Attributes:
        amount_per_month: the pool's cost.
        base_per_month: the expected quantity of its base: hours, pieces, or, where the base is a value,
            that value in the currency of the amount.
    """

    amount_per_month: NotNegativeMoney
    base_per_month: Positive

    def components(self, convert: Convert) -> Components:
        """Amount ÷ base: money for an hour or a piece."""
        return {WHOLE: {"overhead": convert(self.amount_per_month) / self.base_per_month}}

    def share(self) -> Decimal:
        """Amount ÷ base where the base is a value in the same currency: a share of it."""
        return self.amount_per_month.amount / self.base_per_month


@declared
class ToolRate:
    """What a tool costs and how long it lasts.

    Attributes:
        cost: of the tool ready for use.
        life_shots: shots before it is worn out.
    """

    cost: NotNegativeMoney
    life_shots: Positive

    def components(self, convert: Convert) -> Components:
        """Cost ÷ life for a shot; the cost for the entire tool."""
        cost = convert(self.cost)
        return {WHOLE: {"tool": cost / self.life_shots}, ENTIRE_TOOL: {"tool": cost}}


ResourceTerms = MaterialRate | MachineRate | LabourRate | TariffRate | OverheadRate | ToolRate
"""The terms of resources that a batch consumes, which have unit rates."""


class RateTerms(Protocol):
    """Dated terms: any declared value, of a resource, a tax, a channel or a shipping service."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]
