"""Why a batch cost more or less than its good units should have, and how that is told."""

from dataclasses import dataclass
from enum import StrEnum

from service.domain.values.kinds import Kind


class Effect(StrEnum):
    """What a variance does to the cost."""

    ADVERSE = "adverse"
    FAVOURABLE = "favourable"


class Measure(StrEnum):
    """What the figures in a sentence are."""

    QUANTITY = "quantity"
    RATE = "rate"
    AMOUNT = "amount"
    PER_CENT = "per_cent"


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceTraits:
    """How a kind of variance is told.

    Attributes:
        label: its name in the trade.
        text: what happened, of {name}, {actual}, {standard}, {unit} and {currency}.
        measure: what {actual} and {standard} are.
    """

    label: str
    text: str
    measure: Measure = Measure.QUANTITY


class VarianceKind(Kind):
    """The causes of a variance.

    Source: Managerial Accounting, Saylor Academy, 2012, sections 10.2 to 10.5 (price, usage, rate, efficiency,
        spending, budget and volume). Mix and yield of materials, idle time: common to textbooks of standard costing.
    """

    traits: VarianceTraits

    YIELD = "yield", VarianceTraits(label="yield", text="Scrap was {actual} {unit}, not {standard}")
    MATERIAL_PRICE = (
        "material_price",
        VarianceTraits(
            label="material price",
            text="{name} cost {actual} {currency} a {unit}, not {standard}",
            measure=Measure.RATE,
        ),
    )
    MATERIAL_MIX = (
        "material_mix",
        VarianceTraits(
            label="material mix", text="{name} was {actual} % of the mix, not {standard} %", measure=Measure.PER_CENT
        ),
    )
    MATERIAL_USAGE = (
        "material_usage",
        VarianceTraits(label="material usage", text="{actual} {unit} of {name} were used, not {standard}"),
    )
    MATERIAL_RECLAIMED = (
        "material_reclaimed",
        VarianceTraits(label="regrind", text="{actual} {unit} came back, not {standard}: {name}"),
    )
    MATERIAL_DISPOSED = (
        "material_disposed",
        VarianceTraits(label="waste", text="{actual} {unit} had to be got rid of, not {standard}: {name}"),
    )
    LABOUR_RATE = (
        "labour_rate",
        VarianceTraits(
            label="labour rate", text="{name} cost {actual} {currency} an hour, not {standard}", measure=Measure.RATE
        ),
    )
    LABOUR_EFFICIENCY = (
        "labour_efficiency",
        VarianceTraits(label="labour efficiency", text="{name} worked {actual} h, not {standard}"),
    )
    LABOUR_IDLE_TIME = (
        "labour_idle_time",
        VarianceTraits(label="idle time", text="{name} was paid for {actual} h without work"),
    )
    MACHINE_TIME = (
        "machine_time",
        VarianceTraits(label="machine time", text="{name} was busy {actual} h, not {standard}"),
    )
    ENERGY_PRICE = (
        "energy_price",
        VarianceTraits(
            label="energy price", text="{name} cost {actual} {currency} a kWh, not {standard}", measure=Measure.RATE
        ),
    )
    ENERGY_USAGE = (
        "energy_usage",
        VarianceTraits(label="energy usage", text="{actual} kWh were used, not {standard}: {name}"),
    )
    VARIABLE_OVERHEAD_SPENDING = (
        "variable_overhead_spending",
        VarianceTraits(
            label="variable overhead, spending",
            text="{actual} {currency} were spent, not {standard}: {name}",
            measure=Measure.AMOUNT,
        ),
    )
    VARIABLE_OVERHEAD_EFFICIENCY = (
        "variable_overhead_efficiency",
        VarianceTraits(
            label="variable overhead, efficiency", text="{name} is charged on {actual} {unit}, not {standard}"
        ),
    )
    FIXED_OVERHEAD_EFFICIENCY = (
        "fixed_overhead_efficiency",
        VarianceTraits(
            label="fixed overhead, efficiency", text="{name} was taken up for {actual} {unit}, not {standard}"
        ),
    )
