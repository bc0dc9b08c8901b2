"""Laws of prices under fees: whatever a channel takes, against every price of the grid tried one by one."""

from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st

from service.domain.aim import Aim
from service.domain.channels import Banding, ChannelRate, Fee, FeeBand, FeeBase, Payer
from service.domain.errors import InvalidValuesError, UnreachableTargetError
from service.domain.price_statement import price_statement
from service.domain.pricing import Price, Pricing
from service.domain.pricing_policy import CostBasis, Display, PricingPolicy, Rounding, Target
from service.domain.sale import sale_through
from service.domain.unit_costs import UnitCosts
from tests.domain.reckoning import FAR, Asked, Reckoning, grid_prices
from tests.domain.strategies import CURRENCIES, figures

sold = settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
_MOST_STEPS = 500
"""How many prices of a grid are counted out."""
_MILLIONTH = Fraction(1, 10**6)


@dataclass(frozen=True, kw_only=True)
class Question:
    """A question for the service, and the same reckoned.

    Attributes:
        currency: of the sale.
        asked: the question in fractions.
        to_currency: units of the currency of sale for one of the exchange rates' base.
        from_currency: units of the terms' currency for one of that base.
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
            shipping_cost=reckoning.shipping_cost,
        )
        return Pricing(Aim(self.policy, sale, self.currency), self.asked.costs)

    @property
    def decimals(self) -> int:
        return CURRENCIES[self.currency]

    @property
    def unit(self) -> Fraction:
        return Fraction(1, 10**self.decimals)

    def grid(self, most: Fraction) -> list[Fraction]:
        """The prices of the grid up to this one, if they are few enough to be tried one by one."""
        step = self.policy.price_step or (1 if self.policy.price_endings else self.unit)
        assume(most <= _MOST_STEPS * Fraction(step))
        return grid_prices(self.policy, self.decimals, most)

    def minor_units(self, most: Fraction) -> list[Fraction]:
        """The prices at the minor unit up to this one, if they are few enough to be tried one by one."""
        assume(most <= _MOST_STEPS * 4 * self.unit)
        return [count * self.unit for count in range(int(most / self.unit) + 1)]

    def grid_beyond(self) -> list[Fraction]:
        """The prices of the grid beyond the last place where anything happens, and some far beyond that."""
        last = max(self.asked.ends())
        step = Fraction(self.policy.price_step or (1 if self.policy.price_endings else self.unit))
        ending = Fraction(next(iter(self.policy.price_endings), 0))
        far = [int(last / step + 10**power) * step + ending for power in range(13)]
        return [*self.grid(last + 2 * step), *far]


# What is drawn: everything of the size of a few dozen steps of the grid, so that it can be counted out


def amounts(size: Decimal, step: Decimal) -> st.SearchStrategy[Decimal]:
    """Amounts from 0 to the size: prices of the grid, and ones between them."""
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
    """Terms of a channel with one to four fees that together leave something of a high price."""
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
    """A channel, a tax, costs and a policy of about the same size.

    Args:
        draw: what to draw with.
        rounding: of the policy; any if left out.
        is_hard: whether fees are high and much is aimed at, so that most targets are refused.
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


def found(question: Question) -> Price | None:
    """The price to ask; None where the target is refused."""
    try:
        return question.pricing.asked()
    except UnreachableTargetError:
        return None


def refused(question: Question) -> UnreachableTargetError:
    """What is told of a target that no price meets."""
    with_a_figure = question.policy.target is not Target.MARKUP or question.asked.cost(question.policy.cost_basis)
    assume(with_a_figure and question.policy.target is not Target.FIXED_PRICE)
    try:
        question.pricing.asked()
    except UnreachableTargetError as error:
        told = error
    else:
        reject()
    return told


def price_of(question: Question) -> Price:
    """The price to ask, where there is one."""
    price = found(question)
    assume(price is not None)
    assert price is not None
    return price


def is_about(figure: Decimal, exact: Fraction) -> bool:
    return abs(Fraction(figure) - exact) <= (abs(exact) + 1) / 10**20


class TestTheAskedPrice:
    @sold
    @given(questions(Rounding.UP))
    def test_meets_target_and_floor_and_no_cheaper_price_of_the_grid_does(self, question: Question) -> None:
        price = Fraction(price_of(question).asked)

        meeting = [
            each
            for each in question.grid(price)
            if question.asked.meets_target(each) and question.asked.keeps_floor(each)
        ]

        assert meeting == [price]

    @sold
    @given(questions(Rounding.NEAREST))
    def test_if_the_nearest_is_that_of_the_grid_that_keeps_to_the_floor_and_of_two_as_near_the_higher(
        self, question: Question
    ) -> None:
        price = Fraction(price_of(question).asked)

        wanted = question.asked.wanted(question.unit)
        allowed = [each for each in question.grid(2 * max(price, wanted)) if question.asked.keeps_floor(each)]

        assert price == min(allowed, key=lambda each: (round(abs(each - wanted) * 10**24), -each))

    @sold
    @given(questions())
    def test_keeps_to_the_floor_whichever_way_it_is_rounded(self, question: Question) -> None:
        price = price_of(question)

        assert question.asked.keeps_floor(Fraction(price.asked))
        assert price.is_below_floor is not question.asked.keeps_shown_floor(Fraction(price.asked))

    @sold
    @given(questions())
    def test_leaves_what_the_definitions_of_the_fees_leave(self, question: Question) -> None:
        price, reckoning = price_of(question), question.asked.reckoning

        asked, gross = Fraction(price.asked), price.gross

        assert is_about(gross, reckoning.gross(asked))
        assert is_about(price.net, reckoning.net(asked))
        assert is_about(price.sale.shipping_charge, reckoning.shipping_charge)
        for charged, fee in zip(price.sale.fees, reckoning.terms.fees, strict=True):
            assert is_about(price.sale.fee_amount(charged, gross), reckoning.fee(fee, asked))
        assert is_about(price.sale.conversion_cost(gross), reckoning.conversion_cost(asked))
        assert is_about(price.proceeds, reckoning.proceeds(asked))
        assert is_about(price.profit, reckoning.proceeds(asked) - Fraction(question.asked.costs.full))
        assert is_about(price.contribution, reckoning.proceeds(asked) - Fraction(question.asked.costs.variable))

    @sold
    @given(questions())
    def test_leaves_the_same_when_it_is_looked_at_as_a_given_price(self, question: Question) -> None:
        price = price_of(question)

        kept = question.pricing.kept_at(price.asked)

        assert (kept.gross, kept.net, kept.proceeds) == (price.gross, price.net, price.proceeds)
        assert (kept.profit, kept.contribution) == (price.profit, price.contribution)
        assert (kept.floor, kept.break_even, kept.is_below_floor) == (
            price.floor,
            price.break_even,
            price.is_below_floor,
        )
        assert kept.raised_to is None


class TestTheTarget:
    @sold
    @given(questions())
    def test_is_the_least_price_that_meets_it_and_the_zero_of_the_equation_that_is_told(
        self, question: Question
    ) -> None:
        price = price_of(question)
        target = Fraction(price.target)

        unfloored = replace(question.asked, policy=replace(question.policy, never_below_cost=None))
        unfloored = replace(unfloored, policy=replace(unfloored.policy, never_below_amount=None))
        assert is_about(price.target, unfloored.wanted(question.unit))
        if price.equation is not None:
            root = -Fraction(price.equation.constant) / Fraction(price.equation.slope)
            assert is_about(price.target * price.sale.gross_of_displayed, root)
        elif question.policy.target is not Target.FIXED_PRICE and target:
            assert unfloored.surplus(target) > 0

    @sold
    @given(questions())
    def test_that_does_not_keep_to_the_floor_is_raised_to_the_least_price_above_it_that_does(
        self, question: Question
    ) -> None:
        price = price_of(question)
        target, asked = Fraction(price.target), question.asked

        if price.raised_to is None:
            assert asked.keeps_floor(target)
        else:
            above = [each for each in question.minor_units(Fraction(price.raised_to)) if each >= target]
            assert not asked.keeps_floor(target)
            assert [each for each in above if asked.keeps_floor(each)] == [Fraction(price.raised_to)]


class TestATargetThatIsRefused:
    @sold
    @given(questions(is_hard=True))
    def test_is_met_by_no_price_of_the_grid_far_beyond_everything_that_happens_to_the_fees(
        self, question: Question
    ) -> None:
        assume(found(question) is None)

        meeting = [
            each
            for each in question.grid_beyond()
            if question.asked.meets_target(each) and question.asked.keeps_floor(each)
        ]

        assert meeting == []

    @sold
    @given(questions(is_hard=True))
    def test_is_told_the_most_of_it_that_the_prices_of_the_grid_reach_above_the_floor(self, question: Question) -> None:
        error = refused(question)

        for target, told in ((question.policy.target, error.highest), (Target.MARGIN, error.highest_margin_share)):
            prices = [each for each in question.grid_beyond() if question.asked.keeps_floor(each)]
            prices = [each for each in prices if each or target is not Target.MARGIN]
            most = max((question.asked.reached(target, each) for each in prices), default=None)
            assert (told is None) is (most is None)
            assert told is None or most is None or abs(Fraction(told) - most) <= _MILLIONTH

    @sold
    @given(questions(is_hard=True))
    def test_is_told_a_price_of_the_grid_that_reaches_the_most_or_that_no_price_ever_does(
        self, question: Question
    ) -> None:
        error = refused(question)
        assume(error.highest is not None)
        assert error.highest is not None

        if error.at_price is None:
            assert error.highest <= error.wanted
        else:
            price = Fraction(error.at_price)
            reached = question.asked.reached(question.policy.target, price)
            assert error.highest < error.wanted
            assert price in question.grid(price)
            assert question.asked.keeps_floor(price)
            assert 0 <= reached - Fraction(error.highest) < _MILLIONTH


class TestTheFloorAndTheBreakEvenPrice:
    @sold
    @given(questions())
    def test_are_the_least_at_the_minor_unit_that_keep_to_the_floor_and_lose_nothing(self, question: Question) -> None:
        price, asked = question.pricing.kept_at(Decimal(0)), question.asked
        most = max(Fraction(price.floor or 0), Fraction(price.break_even or 0), asked.reckoning.places[-2])

        prices = question.minor_units(most)

        keeping = next((each for each in prices if asked.keeps_shown_floor(each)), None)
        losing_nothing = next((each for each in prices if asked.brings_in(each, asked.costs.full)), None)
        assert keeping == (None if price.floor is None else Fraction(price.floor))
        assert losing_nothing == (None if price.break_even is None else Fraction(price.break_even))

    @sold
    @given(questions())
    def test_are_none_only_where_no_price_however_high_does(self, question: Question) -> None:
        price, asked = question.pricing.kept_at(Decimal(0)), question.asked

        assert (price.floor is None) is not asked.keeps_shown_floor(FAR) or price.floor is not None
        assert (price.break_even is None) is not asked.brings_in(FAR, asked.costs.full) or price.break_even is not None


class TestThePriceThatBearsADiscount:
    @sold
    @given(questions(), st.sampled_from(["0", "0.05", "0.1", "0.333", "0.5", "0.9"]).map(Decimal))
    def test_is_the_least_of_the_grid_whose_discounted_price_keeps_to_the_floor(
        self, question: Question, share: Decimal
    ) -> None:
        discount = question.pricing.discount(Decimal(0), share)

        def discounted(price: Fraction) -> Fraction:
            """Rounded half up to the minor unit."""
            return int(price * (1 - Fraction(share)) / question.unit + Fraction(1, 2)) * question.unit

        prices = question.grid_beyond() if discount.least is None else question.grid(Fraction(discount.least))
        bearing = [price for price in prices if question.asked.keeps_shown_floor(discounted(price))]
        assert bearing == ([] if discount.least is None else [Fraction(discount.least)])
        assert discount.least is None or discount.discounted_least == discounted(Fraction(discount.least))

    @sold
    @given(questions(), st.sampled_from(["0", "0.05", "0.333"]).map(Decimal), figures("0", "60", 0))
    def test_leaves_of_any_price_what_the_discounted_price_leaves(
        self, question: Question, share: Decimal, units: Decimal
    ) -> None:
        asked = units.scaleb(-question.decimals)

        discount = question.pricing.discount(asked, share)

        kept = question.pricing.kept_at(discount.discounted.asked)
        assert abs(Fraction(kept.asked) - Fraction(asked) * (1 - Fraction(share))) <= question.unit / 2
        assert (discount.discounted.profit, discount.discounted.is_below_floor) == (kept.profit, kept.is_below_floor)


class TestTheShownTerms:
    @sold
    @given(questions(), st.integers(1, 500))
    def test_add_up_to_the_last_digit(self, question: Question, quantity: int) -> None:
        price = price_of(question)

        stated = price_statement(price, question.policy, quantity=quantity, currency=question.currency)

        charge, taken = stated.net_shipping_charge.amount, stated.conversion_cost.amount + stated.shipping_cost.amount
        assert stated.net_price + stated.tax == stated.gross_price
        assert sum(fee.amount.amount for fee in stated.fees) == stated.fee_total.amount
        assert stated.net_price.amount + charge - stated.fee_total.amount - taken == stated.proceeds.amount
        assert stated.full_cost + stated.profit == stated.proceeds
        assert stated.variable_cost + stated.contribution == stated.proceeds
        displayed = stated.gross_price if stated.display is Display.TAX_INCLUSIVE else stated.net_price
        assert displayed.amount == stated.price.amount

    @sold
    @given(questions(), st.integers(1, 500))
    def test_are_no_further_from_what_is_exact_than_their_last_digit(self, question: Question, quantity: int) -> None:
        price, reckoning = price_of(question), question.asked.reckoning
        asked, last = Fraction(price.asked), question.unit / 10**4

        stated = price_statement(price, question.policy, quantity=quantity, currency=question.currency)

        for fee, shown in zip(reckoning.terms.fees, stated.fees, strict=True):
            assert abs(Fraction(shown.base_amount.amount) - reckoning.base(fee, asked)) <= last / 2
            assert abs(Fraction(shown.amount.amount) - reckoning.fee(fee, asked)) < last
        rounded = {
            stated.fee_total: reckoning.fees(asked),
            stated.conversion_cost: reckoning.conversion_cost(asked),
            stated.shipping_cost: Fraction(reckoning.shipping_cost),
            stated.shipping_charge: reckoning.shipping_charge,
            stated.net_price: reckoning.net(asked),
        }
        for money, exact in rounded.items():
            assert abs(Fraction(money.amount) - exact) <= last / 2 + Fraction(1, 10**20)
        assert abs(Fraction(stated.proceeds.amount) - reckoning.proceeds(asked)) <= 3 * last
        profit = reckoning.proceeds(asked) - Fraction(question.asked.costs.full)
        assert abs(Fraction(stated.batch_profit.amount) - profit * quantity) <= question.unit / 2 + Fraction(1, 10**20)

    @sold
    @given(questions())
    def test_on_the_way_from_cost_to_price_are_the_figures_beside_them(self, question: Question) -> None:
        price = price_of(question)

        stated = price_statement(price, question.policy, quantity=1, currency=question.currency)

        terms = {term.name: term.amount for term in stated.terms}
        assert len(terms) == len(stated.terms)
        assert all(terms[fee.name] == fee.amount and fee.formula for fee in stated.fees)
        for name in ("full cost", "variable cost", "net price", "tax", "proceeds", "profit", "contribution"):
            assert terms[name] == getattr(stated, name.replace(" ", "_"))
        assert ("floor price" in terms) is stated.is_raised_to_floor
