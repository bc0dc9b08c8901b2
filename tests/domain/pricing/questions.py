"""Hypothesis strategies for pricing questions with fees, and the same questions in fractions."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from hypothesis import HealthCheck, assume, reject
from hypothesis import strategies as st

from service.domain.pricing.aim import Aim
from service.domain.pricing.policy import PricingPolicy, Rounding, Target
from service.domain.pricing.price import Pricing
from service.domain.selling.channels import ChannelRate, Display, Payer
from service.domain.selling.fees import Banding, Fee, FeeBand, FeeBase
from service.domain.selling.sale import OrderShare, sale_through
from service.domain.values.errors import InvalidValuesError
from service.domain.values.unit_costs import CostBasis, UnitCosts
from tests.domain.pricing.reckoning import Asked, Reckoning, grid_prices
from tests.domain.strategies import CURRENCIES, figures
from tests.support.profiles import FULL, examples

sold = examples(FULL, HealthCheck.filter_too_much)
_MOST_STEPS = 500
"""The most steps of a grid that a test tries one by one."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """A question for the service, and the same question in fractions.

    Attributes:
        currency: the currency of the sale.
        asked: the question in fractions.
        to_currency: units of the currency of sale for one unit of the exchange rates' base currency.
        from_currency: units of the terms' currency for one unit of that base currency.
    """

    currency: str
    asked: Asked
    to_currency: Decimal
    from_currency: Decimal

    @property
    def policy(self) -> PricingPolicy:
        return self.asked.policy

    @property
    def pricing(self) -> Pricing:
        reckoning = self.asked.reckoning
        sale = sale_through(
            reckoning.terms,
            display=reckoning.display,
            tax_share=reckoning.tax_share,
            convert=lambda amount: amount * self.to_currency / self.from_currency,
            is_converted=reckoning.is_converted,
            order=OrderShare(reckoning.shipping_cost),
        )
        return Pricing(Aim(self.policy, sale, self.currency), self.asked.costs)

    @property
    def decimals(self) -> int:
        return CURRENCIES[self.currency]

    @property
    def unit(self) -> Fraction:
        return Fraction(1, 10**self.decimals)

    def grid(self, most: Fraction) -> list[Fraction]:
        """The grid's prices up to `most`; the example is dropped if there are too many to try one by one."""
        step = self.policy.price_step or (1 if self.policy.price_endings else self.unit)
        assume(most <= _MOST_STEPS * Fraction(step))
        return grid_prices(self.policy, self.decimals, most)

    def minor_units(self, most: Fraction) -> list[Fraction]:
        """The multiples of the minor unit up to `most`; the example is dropped if there are too many."""
        assume(most <= _MOST_STEPS * 4 * self.unit)
        return [count * self.unit for count in range(int(most / self.unit) + 1)]

    def grid_beyond(self) -> list[Fraction]:
        """The grid's prices up to just beyond the last change of slope or step, and some far beyond it."""
        last = max(self.asked.ends())
        step = Fraction(self.policy.price_step or (1 if self.policy.price_endings else self.unit))
        ending = Fraction(next(iter(self.policy.price_endings), 0))
        far = [int(last / step + 10**power) * step + ending for power in range(13)]
        return [*self.grid(last + 2 * step), *far]


# Strategies. All figures are at most a few dozen steps of the grid, so that every price can be tried.


def amounts(size: Decimal, step: Decimal) -> st.SearchStrategy[Decimal]:
    """Amounts from 0 to the size, on the grid and between its prices."""
    return st.integers(0, int(size / step)).map(lambda steps: steps * step) | figures("0", "1", 4).map(
        lambda share: share * size
    )


shares = st.sampled_from(["0", "0.02", "0.05", "0.065", "0.1", "0.15", "0.3", "0.6"]).map(Decimal)
heavy_shares = st.sampled_from(["0.1", "0.4", "0.85", "0.2", "0.05"]).map(Decimal)


@st.composite
def fees(draw: st.DrawFn, name: str, size: Decimal, step: Decimal, share: st.SearchStrategy[Decimal]) -> Fee:
    """A fee of any kind."""
    small = amounts(size / 8, step)
    limits = sorted(draw(st.tuples(amounts(size / 2, step), amounts(size / 2, step))))
    which = draw(st.sampled_from(["none", "none", "minimum", "maximum", "both"]))
    banding = draw(st.sampled_from([None, *Banding]))
    bands: tuple[FeeBand, ...] = ()
    if banding is not None:
        ends = sorted(set(draw(st.lists(amounts(2 * size, step), max_size=3))) - {Decimal(0)})
        edges = [Decimal(0), *ends, None]
        bands = tuple(
            FeeBand(
                above=above or Decimal(0),
                up_to=up_to,
                share=draw(share),
                fixed=draw(small) if banding is Banding.WHOLE else Decimal(0),
            )
            for above, up_to in pairwise(edges)
        )
    return Fee(
        name=name,
        base=draw(st.sampled_from(FeeBase)),
        share=Decimal(0) if bands else draw(share),
        fixed=Decimal(0) if bands else draw(st.just(Decimal(0)) | small),
        bands=bands,
        banding=banding or Banding.WHOLE,
        minimum=limits[0] if which in ("minimum", "both") else None,
        maximum=limits[1] if which in ("maximum", "both") else None,
        tax_share=draw(st.sampled_from(["0", "0", "0.21", "0.055"]).map(Decimal)),
    )


@st.composite
def channels(draw: st.DrawFn, size: Decimal, step: Decimal, share: st.SearchStrategy[Decimal]) -> ChannelRate:
    """Terms of a channel with one to four fees that together take less than the whole of a high price."""
    count = draw(st.integers(1, 4))
    payer = draw(st.sampled_from(Payer))
    charge = draw(st.none() | amounts(size / 4, step)) if payer is Payer.BUYER else None
    try:
        return ChannelRate(
            currency="EUR",
            fees=tuple(draw(fees(f"fee {place}", size, step, share)) for place in range(count)),
            conversion_spread_share=draw(st.sampled_from(["0", "0.02", "0.035"]).map(Decimal)),
            shipping_paid_by=payer,
            shipping_charge=charge,
        )
    except InvalidValuesError:
        reject()


@st.composite
def sized_policies(
    draw: st.DrawFn,
    decimals: int,
    size: Decimal,
    step: Decimal | None,
    *,
    rounding: Rounding | None = None,
    is_hard: bool = False,
) -> PricingPolicy:
    unit = Decimal(1).scaleb(-decimals)
    target = draw(st.sampled_from([*([] if is_hard else Target), *[Target.MARGIN] * 3, Target.MARKUP]))
    values = {
        Target.MARGIN: figures("0.6", "0.97", 2) if is_hard else figures("-0.5", "0.9", 2),
        Target.MARKUP: figures("-0.5", "2", 2),
        Target.PROFIT_PER_PIECE: figures("-0.5", "0.8", 2).map(lambda share: share * size),
        Target.FIXED_PRICE: st.integers(0, int(2 * size / unit)).map(lambda units: units * unit),
    }
    within = int((step or Decimal(1)) / unit) - 1
    endings = draw(st.lists(st.integers(0, within), max_size=2)) if step is not None or decimals == 2 else []
    return PricingPolicy(
        target=target,
        value=draw(values[target]),
        cost_basis=draw(st.sampled_from(CostBasis)),
        never_below_cost=draw(st.none() | st.sampled_from(CostBasis)),
        never_below_amount=draw(st.none() | amounts(size, step or unit)),
        price_step=step,
        price_endings=tuple(each * unit for each in endings),
        rounding=draw(st.sampled_from(Rounding)) if rounding is None else rounding,
    )


@st.composite
def questions(draw: st.DrawFn, rounding: Rounding | None = None, *, is_hard: bool = False) -> Question:
    """Questions whose fees, costs and policy are of about the same size.

    Args:
        draw: hypothesis' function for drawing.
        rounding: the policy's rounding; None for any.
        is_hard: whether fees and targets are high, so that most targets are refused.
    """
    currency = draw(st.sampled_from(list(CURRENCIES)))
    unit = Decimal(1).scaleb(-CURRENCIES[currency])
    step = draw(st.none() | st.integers(1, 300).map(lambda units: units * unit))
    size = draw(st.integers(6, 40)) * (step or unit)
    variable, fixed = draw(figures("0.1", "1", 6) | st.just(Decimal(0))) * size, draw(figures("0", "1", 6)) * size
    costs = UnitCosts(variable=variable, full=variable + fixed / draw(st.integers(1, 9)), shown_variable=variable)
    to_currency, from_currency = draw(
        st.sampled_from([("1", "1"), ("1", "1"), ("1.0873", "1"), ("1", "1.21"), ("1.0873", "0.9137")])
    )
    reckoning = Reckoning(
        terms=draw(channels(size, step or unit, heavy_shares if is_hard else shares)),
        tax_share=draw(st.sampled_from(["0", "0.05", "0.21", "0.255"]).map(Decimal)),
        display=draw(st.sampled_from(Display)),
        rate=Fraction(to_currency) / Fraction(from_currency),
        is_converted=draw(st.booleans()),
        shipping_cost=draw(st.just(Decimal(0)) | amounts(size / 4, step or unit)),
    )
    policy = draw(sized_policies(CURRENCIES[currency], size, step, rounding=rounding, is_hard=is_hard))
    return Question(
        currency=currency,
        asked=Asked(reckoning=reckoning, policy=policy, costs=costs),
        to_currency=Decimal(to_currency),
        from_currency=Decimal(from_currency),
    )
