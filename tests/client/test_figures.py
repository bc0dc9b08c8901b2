"""The digits that people read, from the figures of an answer."""

from decimal import Decimal

import pytest

from service.client.text import figures
from service.documents.writing.formats import formatted_share


@pytest.mark.parametrize(
    ("shown", "wanted"),
    [
        (figures.share("0.322105"), "32.2 %"),
        (figures.share("0.2"), "20 %"),
        (figures.saved_share("0.010917"), "1 %"),
        (figures.saved_share("-0.010917"), "-1.1 %"),
        (figures.share(None), "-"),
        (figures.stated_share("0.30"), "30 %"),
        (figures.stated_share("0.125"), "12.5 %"),
        (figures.whole("99587.654822"), "99588"),
        (figures.whole_up("2183.513355"), "2184"),
        (figures.whole_down("4458.9"), "4458"),
        (figures.quantity("9.4180"), "9.418"),
        (figures.quantity("99587.654822"), "99587.655"),
        (figures.quantity("0.00042"), "0.0004"),
        (figures.quantity("0"), "0"),
        (figures.quantity("1200"), "1200"),
        (figures.hours("19.210526"), "19.2"),
        (figures.hours("0.04"), "0.04"),
        (figures.hours("40"), "40"),
        (figures.rate("31.452569"), "31.4526"),
        (figures.rate("0.315"), "0.315"),
        (figures.as_exact_as("0.026845", "+0.139"), "0.027"),
    ],
)
def test_a_figure_has_the_digits_that_its_kind_needs(shown: str, wanted: str) -> None:
    assert shown == wanted


@pytest.mark.parametrize("share", ["0", "0.2", "0.9995", "0.322105", "-0.0105", "1.04", "12.3456", "0.00004", "1E+1"])
def test_a_share_is_the_same_percentage_as_on_paper(share: str) -> None:
    assert figures.share(share).replace(" ", "") == formatted_share(Decimal(share), "en").replace(",", "")


@pytest.mark.parametrize(
    ("amount", "currency", "wanted"),
    [
        ("9.778333", "EUR", "9.78"),
        ("1340.74", "EUR", "1340.74"),
        ("0.50", "EUR", "0.50"),
        ("0.138937", "EUR", "0.139"),
        ("-0.034390", "EUR", "-0.0344"),
        ("0.000000", "EUR", "0.00"),
        ("1200", "JPY", "1200"),
        ("977.1234", "JPY", "977"),
        ("9.7712", "JPY", "9.77"),
        ("12.3456", "CLF", "12.3456"),
        ("1.2345678", "BHD", "1.235"),
    ],
)
def test_an_amount_is_at_the_minor_unit_unless_it_would_have_too_few_digits(
    amount: str, currency: str, wanted: str
) -> None:
    assert figures.amount(amount, currency) == wanted


def test_a_column_of_deductions_adds_up_to_the_cent() -> None:
    gross, deductions = "56.250000", ["-9.375000", "-5.763750", "-1.349250", "-0.246840", "-39.515160"]

    shown = figures.steps(gross, deductions, "EUR")

    assert shown == ["-9.37", "-5.77", "-1.35", "-0.24", "-39.52"]
    assert sum(map(Decimal, shown), Decimal("56.25")) == 0


@pytest.mark.parametrize(
    ("base_quantity", "unit", "shown"),
    [
        (1, "piece", "1.06 EUR"),
        (100, "piece", "1.06 EUR per 100"),
        (1, "kg", "1.06 EUR per kg"),
        (100, "kg", "1.06 EUR per 100 kg"),
        (1, "m2", "1.06 EUR per m²"),
        (1, "hour", "1.06 EUR per hour"),
        (12, "hour", "1.06 EUR per 12 hours"),
    ],
)
def test_a_price_says_what_it_is_for_unless_that_is_a_piece(base_quantity: int, unit: str, shown: str) -> None:
    assert figures.per_pieces("1.06 EUR", base_quantity, unit) == shown


@pytest.mark.parametrize(
    ("figure", "unit", "shown"),
    [("1", "piece", "1 piece"), ("12", "piece", "12 pieces"), ("137.5", "kg", "137.5 kg"), ("1.000", "hour", "1 hour")],
)
def test_a_quantity_has_its_unit(figure: str, unit: str, shown: str) -> None:
    assert figures.counted(figure, unit) == shown
