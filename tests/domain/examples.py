"""The bodies of tests/support/builders.py as domain values, and a workshop made of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.rate_card import DatedRate, RateCard, unit_rates
from service.domain.costing.rate_table import Rating, rating
from service.domain.costing.rates import (
    LabourRate,
    MachineRate,
    MaterialRate,
    OverheadRate,
    RateTerms,
    TariffRate,
    ToolRate,
)
from service.domain.currency.exchange_rates import DayRates, ExchangeRates
from service.domain.making.bill_of_resources import BatchBill, BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.making.products import BillLine, Catalogue, Operation, Product, Tooling
from service.domain.making.resources import LabourGrade, Machine, Material, Tariff, Tool
from service.domain.pricing.aim import Aim
from service.domain.pricing.policy import PricingPolicy
from service.domain.pricing.price import Price, Pricing
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.channels import Display
from service.domain.selling.sale import Sale
from service.domain.shipping.estimate import ShippingEstimate, shipping_estimate
from service.domain.shipping.services import ShippingService
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.values.money import Money
from service.domain.values.references import Registered
from service.domain.values.unit_costs import UnitCosts
from service.encoding import decoded
from tests.support import builders

TODAY = date(2026, 11, 25)
D = Decimal


def money(amount: str, currency: str) -> Money:
    return Money(amount=Decimal(amount), currency=currency)


def euros(amount: str) -> Money:
    return money(amount, "EUR")


def a_material(**changes: Any) -> Material:
    return decoded(builders.material(**changes), Material)


def a_machine(**changes: Any) -> Machine:
    return decoded(builders.machine(**changes), Machine)


def a_bare_machine(**changes: Any) -> Machine:
    """A machine that draws no power."""
    return decoded({"name": "Arbor press", **changes}, Machine)


def a_tariff(**changes: Any) -> Tariff:
    return decoded(builders.tariff(**changes), Tariff)


def an_overhead(base: str = "machine_hour", **changes: Any) -> Overhead:
    return decoded({"name": "Rent", "base": base, **changes}, Overhead)


def an_operation(**changes: Any) -> Operation:
    return decoded(builders.operation(**changes), Operation)


def bench_work(**changes: Any) -> Operation:
    """An operation without a machine."""
    return decoded({"name": "trimming", **changes}, Operation)


def a_line(**changes: Any) -> BillLine:
    named = {} if "product" in changes else {"material": "hdpe"}
    return decoded({**named, "quantity_per_piece": "1", **changes}, BillLine)


def a_product(**changes: Any) -> Product:
    """The builders' sheet; lines and operations may also be domain values."""
    made = {name: tuple(changes.pop(name)) for name in ("bill_of_materials", "operations") if name in changes}
    return replace(decoded(builders.product(**changes), Product), **made)


def a_policy(**changes: Any) -> PricingPolicy:
    return decoded(builders.policy(**changes), PricingPolicy)


def a_request(**changes: Any) -> QuotationRequest:
    return decoded(builders.quotation(**{"quoted_on": TODAY.isoformat(), **changes}), QuotationRequest)


def terms_of(kind: type[Any], body: Mapping[str, Any]) -> Any:
    return decoded(body, kind)


USUAL_TERMS: dict[type[Any], Callable[[], Any]] = {
    Material: lambda: terms_of(MaterialRate, builders.material_rate()),
    Machine: lambda: terms_of(MachineRate, builders.machine_rate()),
    LabourGrade: lambda: terms_of(LabourRate, builders.labour_rate()),
    Overhead: lambda: terms_of(OverheadRate, builders.overhead_rate()),
    Tool: lambda: ToolRate(cost=euros("3000"), life_shots=Decimal(60_000)),
}


def registered_in(catalogue: Catalogue) -> dict[str, Registered]:
    """Every thing in a catalogue that takes rates, by resource."""
    collections: dict[str, Mapping[str, Registered]] = {
        "materials": catalogue.materials,
        "machines": catalogue.machines,
        "labour-grades": catalogue.labour_grades,
        "tariffs": catalogue.tariffs,
        "tools": catalogue.tools,
        "overheads": catalogue.overheads,
    }
    return {
        f"{collection}/{code}": facts for collection, things in collections.items() for code, facts in things.items()
    }


@dataclass(frozen=True, kw_only=True)
class Shop:
    """A workshop without a database: its catalogue, its rates, and the bills and costs of its batches."""

    catalogue: Catalogue
    terms: Mapping[str, RateTerms]
    days: tuple[DayRates, ...] = ()
    currency: str = "EUR"
    top: str = "sheet"
    card: RateCard = field(init=False)

    def __post_init__(self) -> None:
        rates = {
            resource: DatedRate(resource=resource, valid_from=TODAY, terms=terms)
            for resource, terms in self.terms.items()
        }
        object.__setattr__(self, "card", RateCard(as_of=TODAY, currency=self.currency, rates=rates))

    @property
    def exchange(self) -> ExchangeRates:
        return ExchangeRates(as_of=TODAY, days=self.days)

    @property
    def pools(self) -> dict[str, Overhead]:
        return {f"overheads/{code}": pool for code, pool in self.catalogue.overheads.items()}

    def unit_rates(self) -> dict[str, Decimal]:
        exchange = self.exchange
        return unit_rates(
            self.card, self.card.rates, self.pools, lambda money: exchange.converted(money, self.currency)
        )

    @property
    def rating(self) -> Rating:
        """The unit rates as a rate table; resources without terms count as registered."""
        exchange = self.exchange
        return rating(self.card, registered_in(self.catalogue), lambda money: exchange.converted(money, self.currency))

    def batch_bill(self, quantity: int) -> BatchBill:
        """The bill in the form that is stored with a price."""
        quantities = {line.resource: line.quantity for line in self.bill(quantity).lines}
        return BatchBill(pieces=quantity, quantities=quantities)

    def bill(self, quantity: int, code: str | None = None, tooling: Tooling | None = None) -> BillOfResources:
        return bill_of_resources(code or self.top, quantity, self.catalogue, tooling)

    def sheet(self, quantity: int, rates: Mapping[str, Decimal] | None = None, code: str | None = None) -> CostSheet:
        return cost_sheet(self.bill(quantity, code), self.unit_rates() if rates is None else rates, self.card)

    def with_product(self, code: str, product: Product) -> "Shop":
        products = {**self.catalogue.products, code: product}
        return replace(self, catalogue=replace(self.catalogue, products=products))


def a_catalogue(*products: Product, **changes: Any) -> Catalogue:
    """The builders' workshop; the first product is the sheet."""
    made = products or (a_product(),)
    things: dict[str, Any] = {
        "products": {"sheet": made[0], **{f"part-{place}": each for place, each in enumerate(made[1:], start=1)}},
        "materials": {"hdpe": a_material()},
        "machines": {"press": a_machine()},
        "labour_grades": {"operator": LabourGrade(name="Operator")},
        "tariffs": {"grid": a_tariff()},
        "overheads": {},
        "tools": {"mould": Tool(name="Mould")},
        **changes,
    }
    return Catalogue(**things)


def a_shop(*products: Product, terms: Mapping[str, RateTerms] | None = None, **changes: Any) -> Shop:
    """A workshop with these rates, and the usual rate for everything else."""
    catalogue = a_catalogue(*products, **changes)
    usual: dict[str, RateTerms] = {
        resource: USUAL_TERMS[type(facts)]()
        for resource, facts in registered_in(catalogue).items()
        if not isinstance(facts, Tariff)
    }
    for code, tariff in catalogue.tariffs.items():
        prices = {band: builders.money("0.30") for band in tariff.bands}
        usual[f"tariffs/{code}"] = terms_of(TariffRate, {"price_per_kwh": prices})
    return Shop(catalogue=catalogue, terms={**usual, **(terms or {})})


VALUE_BASES = [base for base in OverheadBase if base.is_value]


def plain_sale(policy: PricingPolicy, tax_share: Decimal) -> Sale:
    """A direct sale: only the tax is deducted from the price."""
    return Sale(display=policy.display or Display.TAX_EXCLUSIVE, tax_share=tax_share)


def price(policy: PricingPolicy, costs: UnitCosts, *, tax_share: Decimal, currency: str) -> Price:
    return Pricing(Aim(policy, plain_sale(policy, tax_share), currency), costs).asked()


def kept_at(asked: Decimal, policy: PricingPolicy, costs: UnitCosts, *, tax_share: Decimal, currency: str) -> Price:
    return Pricing(Aim(policy, plain_sale(policy, tax_share), currency), costs).kept_at(asked)


def a_shipping_service(**changes: Any) -> ShippingService:
    return decoded(builders.shipping_service(**changes), ShippingService)


def a_shipping_rate(**changes: Any) -> ShippingRate:
    return decoded(builders.shipping_rate(**changes), ShippingRate)


def a_brick(**changes: Any) -> Product:
    return decoded(builders.measured(**changes), Product)


def shipped(quantity: int = 1, service: Any = None, rate: Any = None, **brick: Any) -> ShippingEstimate:
    """An estimate for bricks sent by the builders' service."""
    pieces = [("brick", a_brick(**brick), quantity)]
    return shipping_estimate(pieces, service or a_shipping_service(), rate or a_shipping_rate(), "home")
