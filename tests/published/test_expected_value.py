"""Published expected values and variances of discrete outcomes."""

from decimal import Decimal

from service.domain.learning.risk import expected_value, variance_of


def outcomes(pairs: dict[str, str]) -> list[tuple[Decimal, Decimal]]:
    return [(Decimal(value), Decimal(probability)) for value, probability in pairs.items()]


class TestIntroductoryStatistics:
    """Introductory Statistics, Saylor Academy (HTML edition), 2012, section 4.2, examples 5 and 6."""

    def test_four_outcomes_have_a_mean_of_0_4_and_a_variance_of_1_84(self) -> None:
        known = outcomes({"-1": "0.2", "0": "0.5", "1": "0.2", "4": "0.1"})

        assert expected_value(known) == Decimal("0.4")
        assert variance_of(known) == Decimal("1.84")
        assert round(variance_of(known).sqrt(), 4) == Decimal("1.3565")

    def test_a_policy_is_expected_to_gain_135(self) -> None:
        assert expected_value(outcomes({"195": "0.9997", "-199805": "0.0003"})) == 135
