"""Laws of prices under fees of any kind, checked against every price of the grid one by one."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from hypothesis import assume, given, reject
from hypothesis import strategies as st

from service.domain.pricing.errors import UnreachableTargetError
from service.domain.pricing.policy import Rounding, Target
from service.domain.pricing.price import Price
from service.domain.pricing.price_statement import price_statement
from service.domain.selling.channels import Display
from tests.domain.pricing.questions import Question, questions, sold
from tests.domain.pricing.reckoning import FAR
from tests.domain.strategies import figures

_MILLIONTH = Fraction(1, 10**6)


def found(question: Question) -> Price | None:
    """The price to ask; None where the target is refused."""
    try:
        return question.pricing.asked()
    except UnreachableTargetError:
        return None


def refused(question: Question) -> UnreachableTargetError:
    """The error for a target that no price meets."""
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
    """The price to ask; drops the example if there is none."""
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
    def test_if_rounded_to_the_nearest_is_the_nearest_above_the_floor_and_at_a_tie_the_higher(
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

        asked, gross = Fraction(price.asked), price.gross_price

        assert is_about(gross, reckoning.gross(asked))
        assert is_about(price.net_price, reckoning.net(asked))
        assert is_about(price.sale.shipping_charge, reckoning.shipping_charge)
        for charged, fee in zip(price.sale.fees, reckoning.terms.fees, strict=True):
            assert is_about(price.sale.fee_amount(charged, gross), reckoning.fee(fee, asked))
        assert is_about(price.sale.conversion_cost(price.sale.paid_out(gross)), reckoning.conversion_cost(asked))
        assert is_about(price.proceeds, reckoning.proceeds(asked))
        assert is_about(price.profit, reckoning.proceeds(asked) - Fraction(question.asked.costs.full))
        assert is_about(price.contribution, reckoning.proceeds(asked) - Fraction(question.asked.costs.variable))

    @sold
    @given(questions())
    def test_leaves_the_same_when_given_as_the_price(self, question: Question) -> None:
        price = price_of(question)

        kept = question.pricing.kept_at(price.asked)

        assert (kept.gross_price, kept.net_price, kept.proceeds) == (price.gross_price, price.net_price, price.proceeds)
        assert (kept.profit, kept.contribution) == (price.profit, price.contribution)
        assert (kept.floor_price, kept.break_even_price, kept.is_below_floor) == (
            price.floor_price,
            price.break_even_price,
            price.is_below_floor,
        )
        assert kept.raised_to is None


class TestTheTarget:
    @sold
    @given(questions())
    def test_price_is_the_least_that_meets_it_and_solves_the_stated_equation(self, question: Question) -> None:
        price = price_of(question)
        target = Fraction(price.target_price)

        unfloored = replace(question.asked, policy=replace(question.policy, never_below_cost=None))
        unfloored = replace(unfloored, policy=replace(unfloored.policy, never_below_amount=None))
        assert is_about(price.target_price, unfloored.wanted(question.unit))
        if price.equation is not None:
            root = -Fraction(price.equation.constant) / Fraction(price.equation.slope)
            assert is_about(price.target_price * price.sale.gross_of_displayed, root)
        elif question.policy.target is not Target.FIXED_PRICE and target:
            assert unfloored.surplus(target) > 0

    @sold
    @given(questions())
    def test_price_below_the_floor_is_raised_to_the_least_price_above_it_that_keeps_to_it(
        self, question: Question
    ) -> None:
        price = price_of(question)
        target, asked = Fraction(price.target_price), question.asked

        if price.raised_to is None:
            assert asked.keeps_floor(target)
        else:
            above = [each for each in question.minor_units(Fraction(price.raised_to)) if each >= target]
            assert not asked.keeps_floor(target)
            assert [each for each in above if asked.keeps_floor(each)] == [Fraction(price.raised_to)]


class TestATargetThatIsRefused:
    @sold
    @given(questions(is_hard=True))
    def test_is_met_by_no_price_of_the_grid_even_far_beyond_the_last_change_of_the_fees(
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
    def test_states_the_most_that_the_prices_of_the_grid_reach_above_the_floor(self, question: Question) -> None:
        error = refused(question)

        for target, told in ((question.policy.target, error.highest), (Target.MARGIN, error.highest_margin_share)):
            prices = [each for each in question.grid_beyond() if question.asked.keeps_floor(each)]
            prices = [each for each in prices if each or target is not Target.MARGIN]
            most = max((question.asked.reached(target, each) for each in prices), default=None)
            assert (told is None) is (most is None)
            assert told is None or most is None or abs(Fraction(told) - most) <= _MILLIONTH

    @sold
    @given(questions(is_hard=True))
    def test_states_a_price_of_the_grid_that_reaches_the_most_or_that_no_price_does(self, question: Question) -> None:
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
        most = max(Fraction(price.floor_price or 0), Fraction(price.break_even_price or 0), asked.reckoning.places[-2])

        prices = question.minor_units(most)

        keeping = next((each for each in prices if asked.keeps_shown_floor(each)), None)
        losing_nothing = next((each for each in prices if asked.brings_in(each, asked.costs.full)), None)
        assert keeping == (None if price.floor_price is None else Fraction(price.floor_price))
        assert losing_nothing == (None if price.break_even_price is None else Fraction(price.break_even_price))

    @sold
    @given(questions())
    def test_are_absent_only_where_no_price_however_high_does(self, question: Question) -> None:
        price, asked = question.pricing.kept_at(Decimal(0)), question.asked

        assert (price.floor_price is None) is not asked.keeps_shown_floor(FAR) or price.floor_price is not None
        assert (price.break_even_price is None) is not asked.brings_in(
            FAR, asked.costs.full
        ) or price.break_even_price is not None


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

        least, taken_off = discount.least_price, discount.least_price_discounted
        prices = question.grid_beyond() if least is None else question.grid(Fraction(least))
        bearing = [price for price in prices if question.asked.keeps_shown_floor(discounted(price))]
        assert bearing == ([] if least is None else [Fraction(least)])
        assert least is None or taken_off == discounted(Fraction(least))

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
    def test_equal_the_figures_beside_them(self, question: Question) -> None:
        price = price_of(question)

        stated = price_statement(price, question.policy, quantity=1, currency=question.currency)

        terms = {term.name: term.amount for term in stated.terms}
        assert len(terms) == len(stated.terms)
        assert all(terms[fee.name] == fee.amount and fee.formula for fee in stated.fees)
        for name in ("full cost", "variable cost", "net price", "tax", "proceeds", "profit", "contribution"):
            assert terms[name] == getattr(stated, name.replace(" ", "_"))
        assert ("floor price" in terms) is stated.is_raised_to_floor
