"""Hypothesis strategies for the laws: consistent workshops, prices and documents."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from functools import cache
from typing import Any

from hypothesis import strategies as st

from service.domain.costing.rates import (
    LabourRate,
    MachineRate,
    MaterialRate,
    OverheadRate,
    RateTerms,
    TariffRate,
    ToolRate,
)
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.learning import LearningCurve
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.making.products import Attendance, BillLine, Catalogue, Operation, Product, Tooling
from service.domain.making.resources import LabourGrade, Machine, Material, MaterialUse, Tariff, Tool
from service.domain.pricing.policy import PricingPolicy, Rounding, Target
from service.domain.quoting.adjustments import LineAdjustment, QuotationAdjustment
from service.domain.quoting.document_totals import AppliedTax, DocumentAdjustment, DocumentLine
from service.domain.quoting.request import Customer, QuotationLineRequest, QuotationRequest
from service.domain.selling.base_quantity import BASE_QUANTITIES
from service.domain.selling.channels import Display
from service.domain.selling.taxes import TaxCategory
from service.domain.values.money import Money
from service.domain.values.references import Registered
from service.domain.values.unit_costs import CostBasis, UnitCosts
from service.domain.values.units import Unit
from tests.domain.examples import TODAY, Shop, registered_in
from tests.support.profiles import examples

CURRENCIES = {"EUR": 2, "JPY": 0, "KWD": 3}
"""A currency for each usual number of decimals of a minor unit (ISO 4217)."""

tried = examples(50)
"""Settings for the laws of whole workshops."""


@cache
def figures(least: str, most: str, places: int = 3) -> st.SearchStrategy[Decimal]:
    """Decimals from least to most; examples shrink towards small round ones."""
    unit = Decimal(1).scaleb(-places)
    low, high = int(Decimal(least) / unit), int(Decimal(most) / unit)
    return st.integers(low, high).map(lambda units: (units * unit).normalize() + 0)


_BANDS = ("day", "night", "peak")
amounts = figures("0", "500", 2)
_whole = st.integers(1, 7).map(Decimal)
some_shares = st.sampled_from(["0", "0.05", "0.125", "0.3"]).map(Decimal)


def _codes(letter: str, count: int) -> list[str]:
    return [f"{letter}{place}" for place in range(count)]


@st.composite
def _shares_of(draw: st.DrawFn, bands: tuple[str, ...]) -> dict[str, Decimal]:
    """Shares of some of the bands, which add up to 1."""
    used = draw(st.lists(st.sampled_from(bands), min_size=1, unique=True))
    cuts = sorted(draw(st.lists(st.integers(1, 99), min_size=len(used) - 1, max_size=len(used) - 1, unique=True)))
    edges = [0, *cuts, 100]
    return {band: Decimal(edges[place + 1] - edges[place]) / 100 for place, band in enumerate(used)}


@st.composite
def _operations(draw: st.DrawFn, name: str, shop: dict[str, Any], unit: Unit) -> Operation:
    machine = draw(st.none() | st.sampled_from(list(shop["machines"])))
    tariff = None if machine is None else shop["machines"][machine].tariff
    grades = draw(st.lists(st.sampled_from(list(shop["labour_grades"])), unique=True, max_size=2))
    throughput, tool = draw(st.none() | figures("0.5", "90", 1)), draw(st.none() | st.sampled_from(list(shop["tools"])))
    per_cycle = figures("0.5", "7", 1) if unit.is_divided else _whole
    return Operation(
        name=name,
        machine=machine,
        setup_minutes=draw(figures("0", "40", 1)),
        warm_up_minutes=Decimal(0) if machine is None else draw(figures("0", "30", 1)),
        cycle_minutes=Decimal(0) if throughput else draw(figures("0", "9", 2)),
        pieces_per_cycle=draw(per_cycle) if tool or throughput is None else Decimal(1),
        units_per_hour=throughput,
        yield_share=draw(figures("0.5", "1", 2)),
        labour=tuple(
            Attendance(labour_grade=grade, setup_crew=crew, attendance=draw(figures("0" if crew else "0.01", "1.5", 2)))
            for grade, crew in ((grade, draw(figures("0", "2", 0))) for grade in grades)
        ),
        load_factor=None if machine is None else draw(st.none() | figures("0.2", "1", 1)),
        band_shares={} if tariff is None else draw(_shares_of(shop["tariffs"][tariff].bands)),
        tool=tool,
        tooling=draw(st.sampled_from(Tooling)),
    )


@st.composite
def _bill_lines(draw: st.DrawFn, item: str, parts: Mapping[str, Product], names: list[str]) -> BillLine:
    per_piece = draw(figures("0", "4", 2))
    reclaimed = Decimal(0) if item in parts else draw(figures("0", "1", 1))
    return BillLine(
        material=None if item in parts else item,
        product=item if item in parts else None,
        quantity_per_piece=per_piece,
        quantity_per_batch=draw(figures("0" if per_piece else "0.5", "3", 1)),
        process_loss_share=draw(some_shares),
        reclaim_share=reclaimed,
        disposal_share=None if item in parts else draw(st.none() | figures("0", str(1 - reclaimed), 1)),
        operation=draw(st.none() | st.sampled_from(names)) if names else None,
    )


def _as_blend(
    draw: st.DrawFn, line: BillLine, materials: Mapping[str, Material], parts: Mapping[str, Product]
) -> BillLine:
    """The line, perhaps with its waste reclaimed as another material.

    Only where nothing is issued once a batch, or an allowance of cheap material could earn money as a dear one.
    """
    if line.product is not None:
        code = draw(st.none() | st.sampled_from(list(materials)))
        is_alike = code is not None and parts[line.product].unit is materials[code].unit
        share = draw(figures("0", "1", 1))
        return (
            replace(line, reclaimed_as=code, reclaim_share=share) if is_alike and not line.quantity_per_batch else line
        )
    if line.material is None or not line.reclaim_share or line.quantity_per_batch:
        return line
    alike = [code for code, each in materials.items() if each.unit is materials[line.material].unit]
    return replace(line, reclaimed_as=draw(st.none() | st.sampled_from(alike)))


@st.composite
def _products(draw: st.DrawFn, code: str, shop: dict[str, Any], parts: dict[str, Product]) -> Product:
    names, unit = _codes("step ", draw(st.integers(0, 2))), draw(st.sampled_from(Unit))
    # Any earlier product may be a part; the last one always is, so that the last product contains all others.
    wanted = [*list(parts)[-1:], *draw(st.lists(st.sampled_from([*parts, *shop["materials"]]), min_size=1, max_size=3))]
    return Product(
        name=code,
        unit=unit,
        bill_of_materials=tuple(
            _as_blend(draw, draw(_bill_lines(item, parts, names)), shop["materials"], parts) for item in wanted
        ),
        operations=tuple(draw(_operations(name, shop, unit)) for name in names),
        learning_curve=draw(
            st.none() | st.builds(LearningCurve, rate_share=figures("0.6", "1", 2), pieces_before=figures("0", "30", 0))
        ),
    )


@st.composite
def _machines(draw: st.DrawFn, tariffs: Mapping[str, Tariff]) -> Machine:
    tariff = draw(st.none() | st.sampled_from(list(tariffs)))
    if tariff is None:
        return Machine(name="hand press")
    return Machine(
        name="press",
        rated_power_kw=draw(figures("0", "20", 1)),
        load_factor=draw(figures("0.2", "1", 1)),
        idle_power_kw=draw(figures("0", "3", 1)),
        warm_up_power_kw=draw(figures("0", "9", 1)),
        tariff=tariff,
    )


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    """Catalogues of up to four products, each made of those before it; everything they refer to exists."""

    def some(letter: str, strategy: st.SearchStrategy[Any], least: int, most: int) -> dict[str, Any]:
        return {code: draw(strategy) for code in _codes(letter, draw(st.integers(least, most)))}

    shop: dict[str, Any] = {
        "tariffs": some("t", st.integers(1, 3).map(lambda count: Tariff(name="grid", bands=_BANDS[:count])), 1, 2),
        "materials": some(
            "m",
            st.builds(Material, name=st.just("flakes"), unit=st.sampled_from(Unit), use=st.sampled_from(MaterialUse)),
            1,
            3,
        ),
        "labour_grades": some("g", st.just(LabourGrade(name="operator")), 1, 2),
        "tools": some("u", st.just(Tool(name="mould")), 1, 1),
        "overheads": some(
            "o",
            st.builds(Overhead, name=st.just("rent"), base=st.sampled_from(OverheadBase), variable=st.booleans()),
            0,
            3,
        ),
    }
    shop["machines"] = some("h", _machines(shop["tariffs"]), 1, 2)
    for code, pool in shop["overheads"].items():
        if pool.base.traits.of_machines and draw(st.booleans()):
            shop["overheads"][code] = replace(pool, machines=("h0",))
    products: dict[str, Product] = {}
    for code in _codes("p", draw(st.integers(1, 4))):
        products[code] = draw(_products(code, shop, dict(products)))
    return Catalogue(products=products, **shop)


@st.composite
def _terms(
    draw: st.DrawFn, facts: Registered, currencies: st.SearchStrategy[str], lowest_price: str = "0"
) -> RateTerms:
    def money(least: str = "0", most: str = "500") -> Money:
        return Money(amount=draw(figures(least, most, 2)), currency=draw(currencies))

    def maybe() -> Money | None:
        return money() if draw(st.booleans()) else None

    match facts:
        case Material():
            price = money(lowest_price)
            # Regrind is worth no more than new material, or an allowance per batch would earn money, and more
            # per piece the smaller the batch.
            value = None if draw(st.booleans()) else replace(price, amount=abs(price.amount) * draw(some_shares))
            return MaterialRate(price=price, reclaim_value=value, disposal_cost=maybe())
        case Machine():
            new = money("100", "90000")
            return MachineRate(
                replacement_value=new,
                residual_value=None if draw(st.booleans()) else replace(new, amount=new.amount * draw(some_shares)),
                life_years=draw(figures("1", "20", 0)),
                interest_share=draw(some_shares),
                floor_m2=draw(figures("0", "40", 0)),
                space_cost_per_m2_month=money(),
                maintenance_share=draw(some_shares),
                other_per_year=maybe(),
                planned_hours_per_year=draw(figures("100", "4000", 0)),
                utilisation_share=draw(figures("0.5", "1", 1)),
            )
        case LabourGrade():
            return LabourRate(
                wage_per_hour=money(),
                on_cost_share=draw(some_shares),
                productive_share=draw(figures("0.5", "1", 2)),
                paid_hours_per_month=draw(st.none() | figures("20", "180", 1)),
            )
        case Tariff():
            standing = maybe()
            return TariffRate(
                price_per_kwh={band: money() for band in facts.bands},
                standing_charge_per_month=standing,
                demand_charge_per_month=maybe(),
                expected_kwh_per_month=draw(figures("300", "9000", 0)),
            )
        case Tool():
            return ToolRate(cost=money(), life_shots=draw(figures("1", "60000", 0)))
        case Overhead():
            return OverheadRate(amount_per_month=money(), base_per_month=draw(figures("70", "9000", 0)))
        case _:
            raise AssertionError(facts)


@st.composite
def shops(draw: st.DrawFn, currencies: tuple[str, ...] = ("EUR",), lowest_price: str = "0") -> Shop:
    """Workshops with a rate for everything; their own currency is the first.

    Args:
        lowest_price: of a material; negative for workshops that are paid to take some.
    """
    catalogue = draw(catalogues())
    foreign = {each: draw(figures("0.3", "300", 4)) for each in currencies[1:]}
    return Shop(
        catalogue=catalogue,
        terms={
            resource: draw(_terms(facts, st.sampled_from(currencies), lowest_price))
            for resource, facts in registered_in(catalogue).items()
        },
        days=(DayRates(source="manual", base=currencies[0], published_on=TODAY, rates=foreign),) if foreign else (),
        currency=currencies[0],
        top=list(catalogue.products)[-1],
    )


@st.composite
def moves(draw: st.DrawFn, currencies: tuple[str, ...] = ("EUR", "USD", "JPY")) -> tuple[Shop, Shop]:
    """A workshop before and after some of its rates changed and some overhead pools were added or removed."""
    whole = draw(shops(currencies, "-200"))
    pools = whole.catalogue.overheads
    codes = st.sets(st.sampled_from(list(pools))) if pools else st.just(set())
    new, gone = draw(codes), draw(codes)
    moved = {
        resource: draw(_terms(facts, st.sampled_from(currencies), "-200"))
        for resource, facts in registered_in(whole.catalogue).items()
        if draw(st.booleans())
    }
    rates = {each: draw(figures("0.3", "300", 4)) for each in currencies[1:]}
    days = whole.days if draw(st.booleans()) else tuple(replace(day, rates=rates) for day in whole.days)
    return without_pools(whole, new), without_pools(replace(whole, terms={**whole.terms, **moved}, days=days), gone)


def without_pools(shop: Shop, codes: set[str]) -> Shop:
    """The workshop without these pools."""
    kept = {code: pool for code, pool in shop.catalogue.overheads.items() if code not in codes}
    terms = {resource: each for resource, each in shop.terms.items() if resource.partition("/")[2] not in codes}
    return replace(shop, catalogue=replace(shop.catalogue, overheads=kept), terms=terms)


batches = st.integers(1, 12) | st.integers(1, 5000)


@st.composite
def unit_costs(draw: st.DrawFn, most: str = "60") -> UnitCosts:
    """Costs of a piece with many digits, as from a division."""
    variable = draw(figures("0", most, 6))
    full = variable + draw(figures("0", most, 6)) / draw(st.integers(1, 9))
    return UnitCosts(variable=variable, full=full, shown_variable=variable)


@st.composite
def policies(draw: st.DrawFn, decimals: int, rounding: Rounding | None = None) -> PricingPolicy:
    """Policies with grids no finer than a minor unit of this many decimals."""
    unit = Decimal(1).scaleb(-decimals)
    target = draw(st.sampled_from(Target))
    values = {
        Target.MARGIN: figures("-2", "0.95", 2),
        Target.MARKUP: figures("-1", "3", 2),
        Target.PROFIT_PER_PIECE: figures("-30", "30", 3),
        Target.FIXED_PRICE: figures("0", "90", decimals),
    }
    step = draw(st.none() | st.integers(1, 300).map(lambda units: units * unit))
    within = int((step or Decimal(1)) / unit) - 1
    endings = () if within < 0 else tuple(each * unit for each in draw(st.lists(st.integers(0, within), max_size=3)))
    return PricingPolicy(
        target=target,
        value=draw(values[target]),
        cost_basis=draw(st.sampled_from(CostBasis)),
        never_below_cost=draw(st.none() | st.sampled_from(CostBasis)),
        never_below_amount=draw(st.none() | figures("0", "90", 3)),
        price_step=step,
        price_endings=endings,
        rounding=draw(st.sampled_from(Rounding)) if rounding is None else rounding,
        display=draw(st.sampled_from(Display)),
    )


applied_taxes = st.builds(
    AppliedTax, category=st.sampled_from([TaxCategory.STANDARD, TaxCategory.ZERO]), rate_share=figures("0", "0.3", 3)
)


def document_lines(decimals: int) -> st.SearchStrategy[DocumentLine]:
    rounded_amounts = st.lists(figures("0", "20", decimals), max_size=2).map(tuple)
    return st.builds(
        DocumentLine,
        quantity=figures("-50", "500", 1),
        net_price=figures("0", "90", 5),
        base_quantity=st.sampled_from([1, 3, 12]).map(Decimal),
        allowances=rounded_amounts,
        charges=rounded_amounts,
        tax=applied_taxes,
    )


def document_adjustments(decimals: int) -> st.SearchStrategy[list[DocumentAdjustment]]:
    return st.lists(st.builds(DocumentAdjustment, amount=figures("0", "90", decimals), tax=applied_taxes), max_size=3)


@st.composite
def quotation_requests(draw: st.DrawFn, products: list[str], decimals: int) -> QuotationRequest:
    """Requests for some of the products, taxed with "vat" or "reduced"."""
    tax = st.sampled_from(["vat", "reduced"])
    reasons = {"reason": st.just("agreed")}
    by_share = {**reasons, "share": figures("0.01", "0.3", 2)}
    by_amount = {**reasons, "amount": figures("1", "40", decimals)}

    def adjustments(kind: Any, **more: Any) -> Any:
        either = st.builds(kind, **by_share, **more) | st.builds(kind, **by_amount, **more)
        return tuple(draw(st.lists(either, max_size=2)))

    def line() -> QuotationLineRequest:
        quantity, *breaks = draw(st.lists(st.integers(1, 300), min_size=1, max_size=3, unique=True))
        return QuotationLineRequest(
            product=draw(st.sampled_from(products)),
            quantity=quantity,
            quantity_breaks=tuple(breaks),
            tax=draw(tax),
            policy=replace(draw(policies(decimals)), display=Display.TAX_EXCLUSIVE),
            base_quantity=draw(st.sampled_from(BASE_QUANTITIES)),
            allowances=adjustments(LineAdjustment),
            charges=adjustments(LineAdjustment),
        )

    return QuotationRequest(
        customer=Customer(name="Harbour Garden Trust"),
        lines=tuple(line() for _ in range(draw(st.integers(1, 3)))),
        quoted_on=TODAY,
        allowances=adjustments(QuotationAdjustment, tax=tax),
        charges=adjustments(QuotationAdjustment, tax=tax),
    )
