"""A hypothesis strategy for any declared class, derived from the rules declared beside its fields."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from enum import Enum
from functools import cache
from typing import Any, get_args, get_origin

from hypothesis import assume
from hypothesis import strategies as st

from service.domain.costing.rates import MachineRate, TariffRate
from service.domain.listing.listings import Listing
from service.domain.making.products import BillLine, Operation, Product
from service.domain.making.resources import Material
from service.domain.pricing.policy import PricingPolicy, Target
from service.domain.quoting.adjustments import LineAdjustment, QuotationAdjustment
from service.domain.quoting.quantity_breaks import AutomaticBreaks
from service.domain.quoting.request import QuotationLineRequest, QuotationRequest
from service.domain.selling.channels import ChannelRate
from service.domain.selling.fees import Fee, FeeBand
from service.domain.shipping.services import Box, Pallet
from service.domain.shipping.shipping_rates import ShippingRate, WeightClass
from service.domain.values.declared import Bounds, Length, Text, field_types, optional_of, rules_and_type
from service.domain.values.errors import InvalidValuesError
from service.domain.values.forms import locale_problem
from service.domain.values.money import Money
from service.domain.values.units import Decimals
from tests.domain.strategies import figures


def _texts(rule: Text | None) -> st.SearchStrategy[str]:
    if rule is None or rule.pattern is None:
        most = 6 if rule is None else min(rule.max_length, 6)
        letters = st.sampled_from("aZ 9é漢→'\"\\" + ("\n" if rule is not None and rule.lines else ""))
        texts = st.text(letters, min_size=0 if rule is None else rule.min_length, max_size=most)
        return texts.filter(lambda text: rule is None or rule(text) is None)
    if rule.max_length == 3:
        return st.sampled_from(["EUR", "JPY", "KWD", "USD"])
    return st.from_regex(rule.pattern, fullmatch=True).filter(lambda text: rule(text) is None)


def _numbers(bare: Any, rule: Bounds | None, decimals: Decimals | None = None) -> st.SearchStrategy[Any]:
    bounds = rule or Bounds()
    least = next((each for each in (bounds.at_least, bounds.above) if each is not None), -1000)
    most = next((each for each in (bounds.at_most, bounds.below) if each is not None), 10**9)
    if bare is int:
        return st.integers(int(least), int(most))
    if decimals is not None:
        return st.decimals(least, most, places=decimals.at_most).filter(lambda value: bounds(value) is None)
    allowed = st.decimals(least, most, places=6) | st.decimals(least, min(Decimal(most), Decimal(10)), places=20)
    return allowed.filter(lambda value: bounds(value) is None)


def _many(bare: Any, sizes: Length | None) -> st.SearchStrategy[Any]:
    least, most = (sizes.at_least, sizes.at_most) if sizes else (0, 2)
    few = {"min_size": least, "max_size": min(most, max(least, 2))}
    if get_origin(bare) is tuple:
        return st.lists(_values(get_args(bare)[0]), **few).map(tuple)
    key, value = get_args(bare)
    return st.dictionaries(_values(key), _values(value), **few)


@cache
def _values(hint: Any) -> st.SearchStrategy[Any]:
    if (bare := optional_of(hint)) is not None:
        return st.none() | _values(bare)
    rules, bare = rules_and_type(hint)
    if locale_problem in rules:
        return st.sampled_from(["ar_EG", "de_AT", "en_IE", "ja"])
    by_kind: dict[type[Any], Any] = {type(rule): rule for rule in rules}
    if get_origin(bare) in (tuple, Mapping):
        return _many(bare, by_kind.get(Length))
    simple = {bool: st.booleans(), date: st.dates(), str: _texts(by_kind.get(Text))}
    if bare in simple:
        return simple[bare]
    if bare in (Decimal, int):
        return _numbers(bare, by_kind.get(Bounds), by_kind.get(Decimals))
    return st.sampled_from(bare) if issubclass(bare, Enum) else any_of(bare)


_HELPED: dict[type[Any], dict[str, st.SearchStrategy[Any]]] = {
    # Rules between fields would refuse nearly every example, so these fields are drawn separately.
    Material: {"mass_kg_per_unit": st.none()},
    BillLine: {"product": st.none(), "material": st.just("hdpe"), "quantity_per_batch": figures("0.5", "3")},
    Operation: {"machine": st.just("press"), "labour": st.just(())},
    MachineRate: {
        "residual_value": st.none(),
        "space_cost_per_m2_month": st.just(Money(amount=Decimal("7.5"), currency="EUR")),
    },
    TariffRate: {"expected_kwh_per_month": figures("1", "900")},
    LineAdjustment: {"share": st.none(), "amount": figures("0.01", "9")},
    QuotationAdjustment: {"amount": st.none(), "share": figures("0.01", "1")},
    QuotationRequest: {"valid_until": st.none()},
    AutomaticBreaks: {"up_to": st.sampled_from([Decimal(500), Decimal("20.125")])},
    PricingPolicy: {
        "value": figures("0", "0.9"),
        "price_step": st.sampled_from([None, Decimal(5)]),
        "price_endings": st.sampled_from([(), (Decimal("0.9"), Decimal("0.5"))]),
        "display": st.none(),
    },
    Box: {side: figures("1000000000", "2000000000") for side in ("length_mm", "width_mm", "height_mm")},
    Pallet: {"height_mm": figures("1", "200"), "max_height_mm": figures("201", "2000")},
    WeightClass: {
        "above_kg": st.just(Decimal(0)),
        "price": st.builds(Money, amount=figures("0", "99"), currency=st.just("EUR")),
    },
    ShippingRate: {
        "zones": st.dictionaries(
            st.sampled_from(["home", "away"]), st.tuples(st.deferred(lambda: any_of(WeightClass))), min_size=1
        )
    },
    Money: {"amount": figures("0", "999999")},
    Fee: {
        "share": st.just(Decimal(0)),
        "fixed": st.just(Decimal(0)),
        "bands": st.sampled_from(
            [(), (FeeBand(up_to=Decimal("9.5"), share=Decimal("0.1")), FeeBand(above=Decimal("9.5")))]
        ),
        "minimum": figures("0", "1"),
        "maximum": figures("1", "9"),
    },
    ChannelRate: {"currency": st.sampled_from(["EUR", "JPY"]), "shipping_charge": st.none()},
    QuotationLineRequest: {
        "product": st.just("sheet"),
        "item": st.none(),
        "quantity": st.just(Decimal(20)),
        "base_quantity": st.sampled_from([1, 12]),
        "quantity_breaks": st.sampled_from([(), (Decimal(50), Decimal(100))]),
    },
    Listing: {
        "url": st.sampled_from(["", "https://shop.example/beam"]),
        "image": st.sampled_from(["", "https://shop.example/beam.png"]),
        "policy": st.builds(PricingPolicy, target=st.just(Target.MARGIN), value=figures("0", "0.9")),
        "shipping_service": st.none(),
        "shipping_zone": st.none(),
        "base_quantity": st.sampled_from([1, 12]),
        "standard_batch": st.just(Decimal("120.5")),
        "pieces_per_order": st.sampled_from([None, Decimal(12), Decimal(60)]),
    },
}


@st.composite
def any_of(draw: st.DrawFn, declared_class: type[Any]) -> Any:
    """Values of a declared class, drawn by the rules declared beside its fields."""
    helped = _HELPED.get(declared_class, {})
    drawn = {
        name: draw(helped[name] if name in helped else _values(hint))
        for name, hint in field_types(declared_class).items()
    }
    if declared_class is Product:
        drawn["bill_of_materials"] = tuple(replace(line, operation=None) for line in drawn["bill_of_materials"])
    try:
        return declared_class(**drawn)
    except InvalidValuesError:
        assume(False)
