"""Channels and their fees: by hand at every end of a band and limit, and everything that is refused."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.selling.channels import MAX_FEES, Channel, ChannelRate, Display, Payer
from service.domain.selling.fees import Banding, Fee, FeeBand, FeeBase
from service.domain.solving.segments import value_at
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import exactly
from service.domain.values.references import references_in
from service.encoding import decoded
from tests.support import builders


def a_fee(**changes: Any) -> Fee:
    return decoded(builders.fee(**changes), Fee)


def terms(**changes: Any) -> ChannelRate:
    return decoded({"currency": "EUR", "fees": [builders.fee()], **changes}, ChannelRate)


def banded(*bands: dict[str, str], **changes: Any) -> Fee:
    return decoded({"name": "commission", "bands": list(bands), **changes}, Fee)


def unconverted(amount: Decimal) -> Decimal:
    return amount


def taken(fee: Fee, base: str, rate: str = "1") -> Decimal:
    """The fee on a base, with its amounts converted at a rate."""
    return value_at(fee.function(lambda amount: amount * Decimal(rate)), Decimal(base))


UP_TO_10 = {"up_to": "10", "share": "0.1", "fixed": "0.5"}
UP_TO_100 = {"above": "10", "up_to": "100", "share": "0.05", "fixed": "1"}
BEYOND = {"above": "100", "share": "0.02"}


class TestAFee:
    @pytest.mark.parametrize(("base", "amount"), [("0", "0.30"), ("10", "0.95"), ("100", "6.80"), ("0.01", "0.30065")])
    def test_is_its_share_and_its_amount(self, base: str, amount: str) -> None:
        assert taken(a_fee(fixed="0.30"), base) == Decimal(amount)

    @pytest.mark.parametrize(
        ("base", "amount"), [("0", "0.5"), ("7", "0.5"), ("10", "0.65"), ("20", "1.3"), ("40", "2"), ("1000", "2")]
    )
    def test_is_at_least_its_minimum_and_at_most_its_maximum(self, base: str, amount: str) -> None:
        assert taken(a_fee(minimum="0.5", maximum="2"), base) == Decimal(amount)

    @pytest.mark.parametrize(("base", "amount"), [("5", "0.605"), ("20", "1.573"), ("100", "2.42")])
    def test_has_its_tax_added_after_its_limits(self, base: str, amount: str) -> None:
        """At 5: the minimum, 0.5 × 1.21; at 20: 1.3 × 1.21; at 100: the maximum, 2 × 1.21."""
        assert taken(a_fee(minimum="0.5", maximum="2", tax_share="0.21"), base) == Decimal(amount)

    @pytest.mark.parametrize(
        ("base", "amount"),
        [
            ("0", "0.5"),
            ("10", "1.5"),  # 10 × 0.1 + 0.5
            ("10.01", "1.5005"),  # 10.01 × 0.05 + 1
            ("100", "6"),  # 100 × 0.05 + 1
            ("100.01", "2.0002"),  # 100.01 × 0.02
        ],
    )
    def test_with_whole_bands_takes_share_and_amount_of_the_band_that_holds_the_base(
        self, base: str, amount: str
    ) -> None:
        assert taken(banded(UP_TO_10, UP_TO_100, BEYOND), base) == Decimal(amount)

    @pytest.mark.parametrize(
        ("base", "amount"),
        [
            ("0", "0"),
            ("10", "1"),  # 10 × 0.1
            ("10.01", "1.0005"),  # 1 + 0.01 × 0.05
            ("100", "5.5"),  # 1 + 90 × 0.05
            ("150", "6.5"),  # 5.5 + 50 × 0.02
        ],
    )
    def test_with_portion_bands_takes_each_share_of_the_portion_in_its_band(self, base: str, amount: str) -> None:
        bands = ({"up_to": "10", "share": "0.1"}, {"above": "10", "up_to": "100", "share": "0.05"}, BEYOND)

        assert taken(banded(*bands, banding="portion"), base) == Decimal(amount)

    def test_with_a_single_band_is_the_same_as_without_one(self) -> None:
        for banding in Banding:
            one = banded({"share": "0.065"}, banding=banding.value)
            assert one.function(unconverted) == a_fee().function(unconverted)

    def test_has_its_amounts_and_the_ends_of_its_bands_converted_and_its_shares_not(self) -> None:
        """At 2 for 1 the first band ends at 20 and takes 0.1 × 20 + 1; the limits are 4 and 10."""
        fee = banded(UP_TO_10, UP_TO_100, BEYOND, minimum="2", maximum="5")

        assert taken(fee, "20", rate="2") == 4  # 3, but at least 4
        assert taken(fee, "60", rate="2") == 5  # 60 × 0.05 + 2
        assert taken(fee, "200", rate="2") == 10  # 200 × 0.05 + 2 = 12, but at most 10

    @pytest.mark.parametrize(
        ("base", "share"), [("0", "0.1"), ("10", "0.1"), ("10.01", "0.05"), ("100", "0.05"), ("101", "0.02")]
    )
    def test_names_the_band_that_a_base_falls_into(self, base: str, share: str) -> None:
        fee = banded(UP_TO_10, UP_TO_100, BEYOND)

        assert fee.band_at(Decimal(base), unconverted).share == Decimal(share)

    def test_without_bands_is_itself_the_only_band(self) -> None:
        found = a_fee(fixed="0.30").band_at(Decimal(7), unconverted)

        assert found == FeeBand(share=Decimal("0.065"), fixed=Decimal("0.30"))

    def test_names_the_band_that_ends_at_the_base_but_for_a_rounding_error(self) -> None:
        fee = banded(UP_TO_10, UP_TO_100, BEYOND)
        just_below_1 = Decimal("0.999999999999999999999999999999999")

        band = exactly(fee.band_at)(Decimal(10), lambda amount: amount * just_below_1)

        assert band.share == Decimal("0.1")


class TestAFeeIsRefused:
    @pytest.mark.parametrize(
        ("changes", "path", "reason"),
        [
            ({"share": "1"}, ("share",), "must be less than 1"),
            ({"share": "1.5"}, ("share",), "must be less than 1"),
            ({"share": "-0.01"}, ("share",), "must be 0 or more"),
            ({"fixed": "-1"}, ("fixed",), "must be 0 or more"),
            ({"minimum": "-1"}, ("minimum",), "must be 0 or more"),
            ({"maximum": "-1"}, ("maximum",), "must be 0 or more"),
            ({"tax_share": "1"}, ("tax_share",), "must be less than 1"),
            ({"minimum": "2", "maximum": "1.99"}, ("maximum",), "must not be below the minimum"),
            ({"name": " "}, ("name",), "must not be blank"),
            ({"bands": [BEYOND] * 51}, ("bands",), "must have 0 to 50 entries"),
        ],
    )
    def test_where_a_figure_is_invalid(self, changes: dict[str, Any], path: tuple[str], reason: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            a_fee(**changes)

        assert [(problem.path, problem.reason) for problem in error.value.problems] == [(path, reason)]

    @pytest.mark.parametrize(
        ("bands", "path", "reason"),
        [
            ([{"above": "1", "share": "0.1"}], ("bands", 0, "above"), "must be 0 in the first entry"),
            (
                [{"up_to": "10"}, {"above": "11"}],
                ("bands", 1, "above"),
                "leaves a gap after the entry before it: must be 10, where that one ends (up_to)",
            ),
            (
                [{"up_to": "10"}, {"above": "9"}],
                ("bands", 1, "above"),
                "overlaps the entry before it: must be 10, where that one ends (up_to)",
            ),
            ([{"up_to": "10"}, {"above": "10", "up_to": "10"}, {"above": "10"}], ("bands", 1, "up_to"), None),
            ([{}, {"above": "10"}], ("bands", 0, "up_to"), "may be left out in the last entry only"),
            (
                [{"up_to": "10"}],
                ("bands", 0, "up_to"),
                "must be left out in the last band, because a price may be higher",
            ),
            ([UP_TO_10, {"above": "10", "up_to": "20"}], ("bands", 1, "up_to"), None),
        ],
    )
    def test_where_its_bands_have_a_gap_or_overlap(
        self, bands: list[dict[str, str]], path: tuple[str | int, ...], reason: str | None
    ) -> None:
        with pytest.raises(InvalidValuesError) as error:
            banded(*bands)

        assert [problem.path for problem in error.value.problems] == [path]
        assert error.value.problems[0].reason == (reason or error.value.problems[0].reason)

    @pytest.mark.parametrize(
        ("band", "message"),
        [
            ({"share": "1"}, "share: must be less than 1"),
            ({"fixed": "-0.01"}, "fixed: must be 0 or more"),
            ({"up_to": "0"}, "up_to: must be more than 0"),
            ({"above": "-1"}, "above: must be 0 or more"),
        ],
    )
    def test_where_a_figure_of_a_band_is_invalid(self, band: dict[str, str], message: str) -> None:
        with pytest.raises(InvalidValuesError, match=message):
            decoded(band, FeeBand)

    @pytest.mark.parametrize("name", ["share", "fixed"])
    def test_where_a_share_or_an_amount_stands_beside_bands(self, name: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            banded(UP_TO_10, {"above": "10"}, **{name: "0.1"})

        (problem,) = error.value.problems
        assert problem.path == (name,)
        assert problem.reason == "is said in each band; leave it out here"

    def test_where_a_portion_band_has_a_fixed_amount(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            banded({"up_to": "10"}, {"above": "10", "fixed": "1"}, banding="portion")

        (problem,) = error.value.problems
        assert problem.path == ("bands", 1, "fixed")
        assert problem.reason == "has no meaning with banding portion; leave it out"


class TestTerms:
    def test_without_fees_need_nothing(self) -> None:
        assert ChannelRate() == terms(currency=None, fees=[])

    def test_with_shares_alone_need_no_currency(self) -> None:
        for fee in ({}, {"minimum": "0"}, {"share": "0", "bands": [{"share": "0.1"}]}):
            assert terms(currency=None, fees=[builders.fee(**fee)]).currency is None

    @pytest.mark.parametrize(
        "changes",
        [
            {"fees": [builders.fee(fixed="0.01")]},
            {"fees": [builders.fee(minimum="0.01")]},
            {"fees": [builders.fee(maximum="1")]},
            {"fees": [builders.fee(), {"name": "other", "bands": [{"up_to": "1"}, {"above": "1"}]}]},
            {"fees": [{"name": "other", "bands": [{"fixed": "1"}]}]},
            {"shipping_paid_by": "buyer", "shipping_charge": "4.90"},
            {"shipping_paid_by": "buyer", "shipping_charge": "0"},
        ],
    )
    def test_with_amounts_are_refused_without_their_currency(self, changes: dict[str, Any]) -> None:
        with pytest.raises(InvalidValuesError) as error:
            terms(currency=None, **changes)

        (problem,) = error.value.problems
        assert (problem.path, problem.reason) == (("currency",), "is required: the terms hold amounts")

    @pytest.mark.parametrize(
        ("code", "reason"),
        [
            ("ZZZ", "ZZZ is not an ISO 4217 currency with a minor unit"),
            ("XAU", "XAU is not an ISO 4217 currency with a minor unit"),
        ],
    )
    def test_are_refused_with_an_unknown_currency_and_so_are_channels(self, code: str, reason: str) -> None:
        for make, path in (
            (lambda: terms(currency=code), ("currency",)),
            (lambda: Channel(name="Lantern Quay market", payout_currency=code), ("payout_currency",)),
        ):
            with pytest.raises(InvalidValuesError) as error:
                make()
            (problem,) = error.value.problems
            assert (problem.path, problem.reason) == (path, reason)

    def test_a_channel_is_refused_a_payout_in_a_currency_that_has_ended_and_terms_of_its_days_are_not(self) -> None:
        with pytest.raises(InvalidValuesError, match="payout_currency: HRK is no longer in use"):
            Channel(name="Lantern Quay market", payout_currency="HRK")
        assert terms(currency="HRK").currency == "HRK"

    def test_are_refused_with_two_fees_of_one_name(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            terms(fees=[builders.fee(), builders.fee(share="0.01")])

        (problem,) = error.value.problems
        assert (problem.path, problem.reason) == (("fees",), "two fees have the same name")

    def test_are_refused_with_too_many_fees(self) -> None:
        many = [builders.fee(name=f"fee {place}", share="0.001") for place in range(MAX_FEES + 1)]

        assert len(terms(fees=many[:-1]).fees) == MAX_FEES
        with pytest.raises(InvalidValuesError, match="fees: must have 0 to 50 entries"):
            terms(fees=many)

    def test_are_refused_with_a_charge_where_the_seller_pays_for_shipping(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            terms(shipping_charge="4.90")

        (problem,) = error.value.problems
        assert problem.path == ("shipping_charge",)
        assert problem.reason == "has no meaning where the seller pays; leave it out"

    @pytest.mark.parametrize("spread", ["1", "-0.01"])
    def test_are_refused_with_a_spread_that_is_not_a_share(self, spread: str) -> None:
        with pytest.raises(InvalidValuesError, match="conversion_spread_share: must be"):
            terms(conversion_spread_share=spread)


class TestFeesThatTakeAllOfThePrice:
    @pytest.mark.parametrize(
        "fees",
        [
            [{"share": "0.6"}, {"share": "0.4"}],
            [{"share": "0.9", "tax_share": "0.2"}],  # 1.08
            [
                {"share": "0"},
                {"share": "0", "bands": [{"up_to": "10"}, {"above": "10", "share": "0.99"}]},
                {"share": "0.01"},
            ],
            [{"share": "0.5", "minimum": "1"}, {"share": "0.5", "base": "net_price"}],
        ],
    )
    def test_are_refused_together(self, fees: list[dict[str, Any]]) -> None:
        with pytest.raises(InvalidValuesError) as error:
            terms(fees=[{"name": f"fee {place}", **fee} for place, fee in enumerate(fees)])

        (problem,) = error.value.problems
        assert (problem.path, problem.reason) == (("fees",), "together they take all of the price, or more")

    @pytest.mark.parametrize(
        "fees",
        [
            [{"share": "0.6"}, {"share": "0.399"}],
            [{"share": "0.9", "maximum": "5"}, {"share": "0.9"}],  # a high price leaves a tenth
            [{"share": "0", "bands": [{"up_to": "10", "share": "0.99"}, {"above": "10"}]}, {"share": "0.9"}],
        ],
    )
    def test_are_allowed_where_a_high_price_leaves_something(self, fees: list[dict[str, Any]]) -> None:
        assert terms(fees=[{"name": f"fee {place}", **fee} for place, fee in enumerate(fees)]).fees


class TestAChannel:
    def test_shows_prices_with_tax_and_pays_out_what_was_paid_unless_it_says_otherwise(self) -> None:
        channel = Channel(name="Lantern Quay market")

        assert (channel.display, channel.payout_currency) == (Display.TAX_INCLUSIVE, None)
        assert list(references_in(channel)) == []

    def test_has_the_seller_pay_for_shipping_and_fees_on_the_gross_price_unless_it_says_otherwise(self) -> None:
        assert terms().shipping_paid_by is Payer.SELLER
        assert a_fee().base is FeeBase.GROSS_PRICE
