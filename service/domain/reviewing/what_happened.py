"""What happened to a batch, in words: what was used or paid, and what should have been."""

from collections.abc import Mapping
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.reviewing.variance_kinds import Measure, VarianceKind
from service.domain.values.exact import ZERO, readable, snapped
from service.domain.values.message import Message
from service.domain.values.money import minor_unit_decimals
from service.domain.values.units import one_of, several_of

_QUANTITY_DECIMALS = 3
_PAID_TO_TAKE = {
    VarianceKind.MATERIAL_PRICE: "The workshop was paid {actual} {currency} a {unit} for taking {name}, not {standard}"
}
"""Of a rate below 0."""
_BY_SHARES = {
    VarianceKind.MATERIAL_RECLAIMED: "By the estimated share, {actual} {unit} came back, not {standard}: {name}",
    VarianceKind.MATERIAL_DISPOSED: (
        "By the estimated share, {actual} {unit} had to be got rid of, not {standard}: {name}"
    ),
}
"""Of what came back where nobody counted that."""


class Figures(NamedTuple):
    """What was, and what should have been."""

    actual: Decimal
    standard: Decimal


def what_happened(
    kind: VarianceKind, name: str, unit: str, figures: Figures, currency: str, *, is_by_shares: bool = False
) -> Message:
    """The sentence of a kind of variance.

    Args:
        unit: of what the variance is about.
        figures: quantities, rates, amounts or per cent, as the kind says.
        is_by_shares: whether the bill's shares make these quantities of a loss, and nobody counted them.
    """
    traits, minor, template = kind.traits, minor_unit_decimals(currency), kind.traits.text
    if is_by_shares:
        template = _BY_SHARES.get(kind, template)
    if kind in _PAID_TO_TAKE and figures.actual < 0 and figures.standard < 0:
        template, figures = _PAID_TO_TAKE[kind], Figures(-figures.actual, -figures.standard)
    decimals = {Measure.QUANTITY: _QUANTITY_DECIMALS, Measure.RATE: minor + 2, Measure.AMOUNT: minor}
    decimals |= {Measure.PER_CENT: 2}
    actual, standard = (readable(each, decimals[traits.measure]) for each in figures)
    told = one_of(unit) if traits.measure is Measure.RATE else several_of(unit, actual)
    return Message(template, name=name, unit=told, currency=currency, actual=actual, standard=standard)


def of_scrap(begun: BillOfResources, standard: BillOfResources, currency: str) -> Message:
    """The sentence of the yield: the product's own scrap, or that of what it is made of, or both."""
    scrap = Figures(_scrap(begun), _scrap(standard))
    if scrap.actual == scrap.standard:
        return Message("What it is made of had other scrap than it should")
    own = what_happened(VarianceKind.YIELD, "", begun.unit, scrap, currency)
    if _yields_of_parts(begun) == _yields_of_parts(standard):
        return own
    return Message("{told}, and what it is made of had other scrap than it should", told=own)


def of_the_mix(name: str, unit: str, mix: Figures) -> Message:
    """The sentence of what was used of a material beyond its share: that of all that are mixed."""
    actual, standard = (readable(each, _QUANTITY_DECIMALS) for each in mix)
    return Message(
        "{actual} {unit} of the mix were used, not {standard}: {name}",
        name=name,
        unit=several_of(unit, actual),
        actual=actual,
        standard=standard,
    )


def _scrap(bill: BillOfResources) -> Decimal:
    """Units of the product itself that were begun at one of its operations and are not good after it."""
    steps = (each for each in bill.steps if each.product == bill.product)
    return sum((step.pieces_started - step.pieces_good for step in steps), ZERO)


def _yields_of_parts(bill: BillOfResources) -> Mapping[tuple[str, str], Decimal]:
    """The yield of each operation of what the product is made of."""
    steps = (step for step in bill.steps if step.product != bill.product and step.pieces_started)
    return {(step.product, step.operation): snapped(step.pieces_good / step.pieces_started) for step in steps}
