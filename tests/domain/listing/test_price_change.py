"""The change that a repricing found for a listing, as it is shown."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.variance import Cause
from service.domain.listing.price_change import ChangeWriter, Effects
from service.domain.values.exact import apportioned, exactly, half_up
from service.encoding import plain_data
from tests.domain.strategies import CURRENCIES, figures


def effects_of(*amounts: str) -> Effects:
    return tuple((f"materials/m{place}", Cause.RATE, Decimal(amount)) for place, amount in enumerate(amounts))


def shown(old: str, new: str, *amounts: str, home: str = "EUR") -> list[str]:
    """The amounts of the effects shown for unrounded costs and effects."""
    writer = ChangeWriter(home)
    found = writer.effects(writer.cost(Decimal(old)), writer.cost(Decimal(new)), effects_of(*amounts))
    return [each["amount"]["amount"] for each in plain_data(found)]


class TestEffectsShown:
    def test_name_what_changed_why_and_by_how_much(self) -> None:
        effects: Effects = (
            ("tariffs/grid#day", Cause.RATE, Decimal("0.03")),
            ("products/sheet", Cause.PRODUCT, Decimal("-0.01")),
        )

        assert plain_data(ChangeWriter("EUR").effects(Decimal(1), Decimal("1.02"), effects)) == [
            {"resource": "tariffs/grid#day", "cause": "rate", "amount": {"amount": "0.030000", "currency": "EUR"}},
            {"resource": "products/sheet", "cause": "product", "amount": {"amount": "-0.010000", "currency": "EUR"}},
        ]

    def test_are_empty_where_nothing_has_an_effect(self) -> None:
        assert shown("1", "1") == []

    def test_a_single_one_is_the_difference_of_the_costs_as_they_are_shown(self) -> None:
        """Costs of 1.0000005 and 1.0000014 are both shown as 1.000001: their difference is 0."""
        assert shown("1.0000005", "1.0000014", "0.0000009") == ["0.000000"]
        assert shown("1.0000004", "1.0000005", "0.0000001") == ["0.000001"]

    @pytest.mark.parametrize(("home", "amount"), [("EUR", "0.333333"), ("JPY", "0.3333"), ("KWD", "0.3333333")])
    def test_have_four_digits_more_than_the_minor_unit(self, home: str, amount: str) -> None:
        assert shown("0", "1", *["0." + "3" * 33] * 3, home=home)[-1] == amount

    def test_a_missing_unit_goes_to_the_effect_that_lost_most_in_rounding(self) -> None:
        assert shown("0", "1", "0.3333333", "0.3333333", "0.3333334") == ["0.333333", "0.333333", "0.333334"]

    @given(
        st.sampled_from(list(CURRENCIES)),
        figures("0", "90", 9),
        st.lists(figures("-3", "3", 9), min_size=1, max_size=7),
        st.integers(1, 9),
    )
    def test_add_up_to_the_difference_of_the_costs_as_they_are_shown(
        self, home: str, old: Decimal, numerators: list[Decimal], divisor: int
    ) -> None:
        writer = ChangeWriter(home)
        amounts = exactly(lambda: [numerator / divisor for numerator in numerators])()
        new = exactly(lambda: sum(amounts, old))()

        before, after = writer.cost(old), writer.cost(new)

        found = writer.effects(before, after, effects_of(*map(str, amounts)))

        stated = [Decimal(each["amount"]["amount"]) for each in plain_data(found)]
        assert sum(stated) == after - before
        unit = Decimal(1).scaleb(-(CURRENCIES[home] + 4))
        assert all(abs(one - other) <= 2 * unit for one, other in zip(stated, amounts, strict=True))


class TestApportionedToATotal:
    """Figures rounded so that they add up to a total that was rounded separately."""

    @pytest.mark.parametrize(
        ("figures_", "total", "found"),
        [
            (("0.25", "0.25"), "0.5", ("0.3", "0.2")),
            (("0.25", "0.25"), "0.6", ("0.3", "0.3")),  # one unit added to each
            (("0.25", "0.25"), "0.3", ("0.2", "0.1")),  # one unit too many
            (("0.20", "0.20"), "0.5", ("0.3", "0.2")),
            (("0.29", "0.20"), "0.3", ("0.2", "0.1")),  # one unit off the one that lost least
            (("0.20", "0.29"), "0.3", ("0.1", "0.2")),
            (("-0.25", "0.25"), "0.0", ("-0.2", "0.2")),
            (("-0.25", "0.25"), "-0.1", ("-0.3", "0.2")),
            (("0.29",), "0.5", ("0.5",)),
        ],
    )
    def test_add_up_to_it(self, figures_: tuple[str, ...], total: str, found: tuple[str, ...]) -> None:
        assert apportioned(map(Decimal, figures_), 1, Decimal(total)) == tuple(map(Decimal, found))

    @given(st.lists(figures("-9", "9", 6), min_size=1, max_size=9), st.integers(-9, 9), st.sampled_from([0, 2, 4]))
    def test_add_up_to_it_whatever_the_difference(self, exact: list[Decimal], more: int, decimals: int) -> None:
        unit = Decimal(1).scaleb(-decimals)
        total = half_up(sum(exact, Decimal(0)), decimals) + more * unit

        found = apportioned(exact, decimals, total)

        assert sum(found) == total
        most = (abs(more) // len(exact) + 2) * unit
        assert all(abs(one - other) <= most for one, other in zip(found, exact, strict=True))


class TestPricesAndShares:
    def test_a_cost_has_four_digits_more_than_the_minor_unit(self) -> None:
        writer = ChangeWriter("JPY")

        found = writer.priced("12.50", "EUR", 12, writer.money(writer.cost(Decimal("1234.56785"))), "0.250000")

        assert plain_data(found) == {
            "price": {"amount": "12.50", "currency": "EUR"},
            "base_quantity": 12,
            "unit_cost": {"amount": "1234.5679", "currency": "JPY"},
            "margin_share": "0.250000",
        }

    def test_a_share_has_six_decimals(self) -> None:
        writer = ChangeWriter("EUR")

        assert writer.share(Decimal("0.0000005")) == "0.000001"
        assert writer.share(Decimal("-0.0000004")) == "0.000000"
        assert writer.share(None) is None
