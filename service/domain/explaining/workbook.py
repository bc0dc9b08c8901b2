"""Workings: every figure of a cost sheet with its formula, to be checked with a pocket calculator."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.explaining.formulas import evaluated, formula, parts_of
from service.domain.values.exact import exactly, half_up, known, snapped
from service.domain.values.traced import Traced

SIGNIFICANT_DIGITS = 6
"""The fewest significant digits shown of a figure with an infinite expansion."""
_WHOLE_DIGITS = 9
"""A figure with no more digits is shown completely: a pocket calculator has a few more."""
_MOST_DECIMALS = 60
_HALF = Decimal("0.5")


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """One figure with its formula.

    Attributes:
        name: what it is called in the formulas it stands in.
        of: the operation or resource that it belongs to, as the workshop calls it; may be empty.
        formula: its formula; the names of figures are in braces, Σ adds up equal terms.
        with_figures: the same with the figures instead of their names.
        result: the result of with_figures, at the digits shown.
        unit: of the result; the currency for an amount, empty for a share or a factor.
        on_sheet: the rounded figure on the cost sheet; null if it is the result.
        adjusted_by: the sheet's figure less the result rounded half up, so that the lines add up to their total
            (largest remainder); null if they do not differ.
    """

    name: str
    of: str
    formula: str
    with_figures: str
    result: Decimal
    unit: str
    on_sheet: Decimal | None = None
    adjusted_by: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Workings that belong together.

    Attributes:
        title: the subject of the section.
        of: the product or resource, as the workshop calls it; may be empty.
        valid_from: since when the rate has been in force, in the section of a rate.
        workings: in the order of computation.
    """

    title: str
    of: str
    valid_from: date | None
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Noted:
    """A figure to be shown by itself."""

    figure: Traced
    name: str
    of: str
    unit: str
    on_sheet: Decimal | None


class Workbook:
    """Collects the figures to be shown by themselves, and writes them with the digits that they need."""

    def __init__(self) -> None:
        self._sections: list[tuple[str, str, date | None, list[_Noted]]] = []
        self._noted: dict[int, _Noted] = {}
        self._decimals: dict[int, int] = {}

    def section(self, title: str, of: str = "", valid_from: date | None = None) -> None:
        self._sections.append((title, of, valid_from, []))

    def note(self, figure: Decimal, name: str, unit: str, of: str = "", on_sheet: Decimal | None = None) -> None:
        """Show the figure by itself in this section, unless it is an input, shown already, or 0 and on no sheet."""
        is_computed = isinstance(figure, Traced) and figure.operator and id(figure) not in self._noted
        if not is_computed or not (figure or on_sheet is not None):
            return
        assert isinstance(figure, Traced)
        noted = _Noted(figure=figure, name=name, of=of, unit=unit, on_sheet=on_sheet)
        self._noted[id(figure)] = noted
        self._sections[-1][-1].append(noted)

    @exactly
    def sections(self) -> tuple[Section, ...]:
        """Everything noted, each figure with the same digits wherever it stands."""
        order = list(reversed(self._in_order()))
        before: dict[int, int] | None = None
        while self._decimals != before:  # more digits of one figure may change the last digit of another
            before = dict(self._decimals)
            for noted in order:
                self._settle(noted)
        return tuple(
            Section(title=title, of=of, valid_from=valid_from, workings=tuple(self._working(each) for each in noted))
            for title, of, valid_from, noted in self._sections
            if noted
        )

    def _in_order(self) -> list[_Noted]:
        """The noted figures, each after those in its formula."""
        done: dict[int, _Noted] = {}
        waiting = list(reversed(self._noted.values()))
        while waiting:
            noted = waiting[-1]
            parts = [self._noted[id(each)] for each in parts_of(noted.figure, self._name) if each.operator]
            missing = [each for each in parts if id(each.figure) not in done]
            if missing:
                waiting.extend(missing)
            else:
                done[id(waiting.pop().figure)] = noted
        return list(done.values())

    def _settle(self, noted: _Noted) -> None:
        """Determine how many digits the figures of its formula need to give the result as shown.

        Figures whose formulas contain it are settled first, so that its own digits are known.
        """
        figure = noted.figure
        parts = {id(each): each for each in parts_of(figure, self._name) if each.operator}
        for each in (noted, *(self._noted[key] for key in parts)):
            key = id(each.figure)
            self._decimals[key] = max(self._decimals.get(key, 0), _least_decimals(each))
        self._decimals[id(figure)] = _decided(noted, self._decimals[id(figure)])
        short = list(parts)
        while short and known(evaluated(figure, self._shown), self._decimals[id(figure)]) != self._shown(figure):
            short = [key for key in short if self._has_more_digits(parts[key])]
            fewest = min((self._digits(parts[key]) for key in short), default=0)
            for key in short:
                if self._digits(parts[key]) == fewest:  # those with more digits would gain nothing
                    self._decimals[key] += 1

    def _digits(self, figure: Traced) -> int:
        """The significant digits shown, less one."""
        return self._decimals[id(figure)] + figure.adjusted()

    def _has_more_digits(self, figure: Traced) -> bool:
        return self._shown(figure) != snapped(figure) and self._decimals[id(figure)] < _MOST_DECIMALS

    def _shown(self, figure: Traced) -> Decimal | None:
        if not figure.operator:
            return Decimal(figure)
        return known(figure, self._decimals[id(figure)]) if id(figure) in self._noted else None

    def _name(self, figure: Traced) -> str | None:
        if not figure.operator:
            return f"{{{LABELS.get(figure.label, figure.label)}}}"
        return f"{{{self._noted[id(figure)].name}}}" if id(figure) in self._noted else None

    def _working(self, noted: _Noted) -> Working:
        result = self._shown(noted.figure)
        assert result is not None  # it is noted
        adjusted = None
        if noted.on_sheet is not None:
            adjusted = noted.on_sheet - half_up(noted.figure, -int(noted.on_sheet.as_tuple().exponent))
        return Working(
            name=noted.name,
            of=noted.of,
            formula=formula(noted.figure, self._name, alike_together=True),
            with_figures=formula(noted.figure, self._shown),
            result=result,
            unit=noted.unit,
            on_sheet=None if noted.on_sheet == result else noted.on_sheet,
            adjusted_by=adjusted or None,
        )


def _least_decimals(noted: _Noted) -> int:
    """The fewest decimals of a figure: those of the sheet, or SIGNIFICANT_DIGITS; all of them if they are few."""
    exact = snapped(noted.figure)
    if noted.on_sheet is not None:
        decimals = -int(noted.on_sheet.as_tuple().exponent)
    else:
        decimals = max(SIGNIFICANT_DIGITS - 1 - exact.adjusted(), 0)
    whole = exact.normalize()
    if len(whole.as_tuple().digits) <= _WHOLE_DIGITS:
        decimals = max(decimals, -int(whole.as_tuple().exponent))
    return min(decimals, _MOST_DECIMALS)


def _decided(noted: _Noted, decimals: int) -> int:
    """So many decimals, or more, so that rounding the figure shown gives the figure on the sheet.

    A tie is shown completely, for its exact value decides.
    """
    exact = snapped(noted.figure)
    while _is_tie(exact, decimals) or _rounds_otherwise(exact, decimals, noted.on_sheet):
        decimals += 1
    return decimals


def _rounds_otherwise(exact: Decimal, decimals: int, on_sheet: Decimal | None) -> bool:
    if on_sheet is None:
        return False
    places = -int(on_sheet.as_tuple().exponent)
    return half_up(known(exact, decimals), places) != half_up(exact, places)


def _is_tie(exact: Decimal, decimals: int) -> bool:
    """Whether it is halfway between two figures of so many decimals."""
    if int(exact.as_tuple().exponent) + decimals >= 0:
        return False
    return abs(exact.scaleb(decimals) % 1) == _HALF


LABELS = {
    "quantity_per_piece": "quantity a piece",
    "quantity_per_batch": "quantity a batch",
    "process_loss_share": "process loss",
    "reclaim_share": "reclaimed share",
    "disposal_share": "disposed share",
    "setup_minutes": "setup minutes",
    "warm_up_minutes": "warm-up minutes",
    "cycle_minutes": "minutes a cycle",
    "pieces_per_cycle": "pieces a cycle",
    "units_per_hour": "throughput an hour",
    "yield_share": "yield",
    "load_factor": "load factor",
    "band_shares": "share of the band",
    "setup_crew": "people at setup",
    "attendance": "people at the run",
    "rate_share": "learning rate",
    "pieces_before": "pieces made before",
    "rated_power_kw": "rated power in kW",
    "idle_power_kw": "idle power in kW",
    "warm_up_power_kw": "warm-up power in kW",
    "minutes_on_one_warm_up": "minutes on one warm-up",
    "price": "price",
    "reclaim_value": "reclaim value",
    "disposal_cost": "disposal cost",
    "replacement_value": "replacement value",
    "residual_value": "residual value",
    "life_years": "years of life",
    "interest_share": "interest",
    "floor_m2": "floor in m²",
    "space_cost_per_m2_month": "space cost a m² and month",
    "maintenance_share": "maintenance",
    "other_per_year": "other cost a year",
    "planned_hours_per_year": "planned hours a year",
    "utilisation_share": "utilisation",
    "wage_per_hour": "wage an hour",
    "on_cost_share": "on-cost",
    "productive_share": "productive share",
    "price_per_kwh": "price a kWh",
    "standing_charge_per_month": "standing charge a month",
    "demand_charge_per_month": "demand charge a month",
    "expected_kwh_per_month": "expected kWh a month",
    "amount_per_month": "cost a month",
    "base_per_month": "base a month",
    "cost": "cost of the tool",
    "life_shots": "shots of life",
}
"""The names of fields in formulas."""
