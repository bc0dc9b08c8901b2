"""Prices, numbers, shares and dates in every locale: every figure reads back unchanged."""

import re
import unicodedata
from datetime import date
from decimal import Decimal

import pytest
from babel import localedata
from hypothesis import given
from hypothesis import strategies as st

from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_measure,
    formatted_number,
    formatted_price,
    formatted_quantity,
    formatted_rate,
    formatted_share,
    formatted_unit_amount,
    formatted_unit_price,
    isolated,
    unisolated,
    unit_sign,
)
from service.domain.listing.unit_price import Measure, UnitPrice
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit
from tests.documents.entries import DECIMALS, amounts_of
from tests.domain.strategies import tried

LOCALES = sorted(localedata.locale_identifiers())
CURRENCIES = ["JPY", "EUR", "CHF", "RSD", "MGA", "KWD", "IQD", "CLF"]
"""Currencies with 0, 2, 3 and 4 decimals; for three of them CLDR shows fewer decimals than ISO 4217 defines."""


def read_back(text: str, decimals: int) -> Decimal:
    """Parse a formatted figure without knowing the locale: digits of any script, with any separators.

    The decimal separator is one character that occurs nowhere else in the figure; the group separator is one
    character, too. Groups have three digits, or two in India and in Toki Pona.
    """
    (shown,) = re.findall(r"\d(?:.?\d)*", text)
    digits = "".join(str(unicodedata.decimal(character)) for character in shown if character.isdecimal())
    whole = shown[: -decimals - 1] if decimals else shown
    if decimals:
        assert shown[-decimals:].isdecimal()
        assert not shown[-decimals - 1].isdecimal()
        assert shown[-decimals - 1] not in whole
    groups = re.split(r"\D", whole)
    assert len(set(re.findall(r"\D", whole))) <= 1
    assert all(len(group) in (2, 3) for group in groups[1:])
    return Decimal(digits).scaleb(-decimals)


def money(amount: str, currency: str = "EUR") -> Money:
    return Money(amount=Decimal(amount), currency=currency)


def per(measure: Measure, price: Money) -> UnitPrice:
    return UnitPrice(measure=measure, content=Decimal(1), price=price, formula="")


class TestPrices:
    @pytest.mark.parametrize("currency", CURRENCIES)
    def test_every_locale_shows_an_amount_with_the_digits_of_iso_4217(self, currency: str) -> None:
        decimals = DECIMALS[currency]
        amounts = [Decimal(units).scaleb(-decimals) for units in (0, 5, 1234567895, 10**27 + 1)]

        for locale in LOCALES:
            for amount in amounts:
                assert read_back(formatted_price(in_currency(amount, currency), locale), decimals) == amount

    @tried
    @given(st.sampled_from(sorted(DECIMALS)).flatmap(amounts_of), st.sampled_from(LOCALES))
    def test_any_amount_of_any_currency_in_any_locale_reads_back_unchanged(self, price: Money, locale: str) -> None:
        assert read_back(formatted_price(price, locale), DECIMALS[price.currency]) == price.amount

    @pytest.mark.parametrize("currency", ["EUR", "CHF"])
    def test_a_negative_price_has_one_minus_in_every_locale(self, currency: str) -> None:
        for locale in LOCALES:
            off, on = (formatted_price(money(amount, currency), locale) for amount in ("-5.25", "5.25"))

            assert off.count("-") == 1
            assert re.sub(r"[-\s]", "", off) == re.sub(r"\s", "", on)

    @pytest.mark.parametrize(
        ("price", "locale", "text"),
        [
            (money("3.2"), "de", "3,20\u00a0€"),
            (money("3.2"), "en_IE", "€3.20"),
            (money("1234567.5"), "fr", "1\u202f234\u202f567,50\u00a0€"),
            (money("1234567.5", "INR"), "hi", "₹12,34,567.50"),
            (money("5", "CHF"), "en", "CHF\u00a05.00"),
            (money("-5", "CHF"), "en", "-CHF\u00a05.00"),
            (money("5", "CHF"), "bn", "5.00\u00a0CHF"),
            (money("5"), "bn", "5.00€"),
            (money("1.005", "IQD"), "en", "IQD\u00a01.005"),
            (money("5", "RSD"), "sr_RS", "5,00\u00a0RSD"),
            (money("5"), "he", "\u2068\u200f5.00\u00a0\u200f€\u2069"),
            (money("5"), "fa", "\u2068\u200e€\u00a05.00\u2069"),
            (money("0.125"), "en", "€0.13"),
        ],
    )
    def test_read_as_people_of_the_locale_write_them(self, price: Money, locale: str, text: str) -> None:
        assert formatted_price(price, locale) == text


class TestAmounts:
    @pytest.mark.parametrize("currency", ["JPY", "EUR", "KWD"])
    def test_every_locale_shows_every_digit_and_at_least_those_of_the_minor_unit(self, currency: str) -> None:
        for places in (0, 2, 4, 7):
            amounts = [Decimal(units).scaleb(-places) for units in (0, 5, 1234567895, 10**27 + 1)]
            decimals = max(places, DECIMALS[currency])

            for locale in LOCALES:
                for amount in amounts:
                    assert read_back(formatted_amount(in_currency(amount, currency), locale), decimals) == amount

    def test_one_written_with_an_exponent_is_shown_without(self) -> None:
        assert formatted_amount(money("1E+3"), "en_IE") == "€1,000.00"

    def test_one_at_the_minor_unit_reads_like_a_price(self) -> None:
        for locale in LOCALES:
            assert formatted_amount(money("-1234.50"), locale) == formatted_price(money("-1234.50"), locale)


class TestDates:
    @pytest.mark.parametrize(
        ("locale", "long", "short"),
        [
            ("en_IE", "1 September 2026", "1 Sept 2026"),
            ("de_DE", "1. September 2026", "01.09.2026"),
            ("fr_FR", "1 septembre 2026", "1 sept. 2026"),
        ],
    )
    def test_are_whole_or_short(self, locale: str, long: str, short: str) -> None:
        day = date(2026, 9, 1)

        assert (formatted_date(day, locale), formatted_date(day, locale, is_short=True)) == (long, short)


class TestUnitPrices:
    @pytest.mark.parametrize(
        ("measure", "locale", "text"),
        [
            (Measure.KILOGRAM, "de", "3,20\u00a0€/kg"),
            (Measure.METRE, "en_IE", "€3.20/m"),
            (Measure.SQUARE_METRE, "fr", "3,20\u00a0€/m²"),
            (Measure.CUBIC_METRE, "en", "€3.20/m³"),
            (Measure.KILOGRAM, "bn", "3.20€ প্রতি কেজি"),
        ],
    )
    def test_are_prices_per_unit_as_the_locale_writes_it(self, measure: Measure, locale: str, text: str) -> None:
        assert formatted_unit_price(per(measure, money("3.20")), locale) == text

    @pytest.mark.parametrize("measure", Measure)
    def test_every_locale_has_one_for_every_measure_and_keeps_the_price(self, measure: Measure) -> None:
        for locale in LOCALES:
            shown = formatted_unit_price(per(measure, money("1234.56")), locale)
            price = formatted_price(money("1234.56"), locale).strip("\u2068\u2069")

            assert price in shown
            assert len(shown) > len(price)


class TestFromRightToLeft:
    @pytest.mark.parametrize("locale", ["ar_EG", "fa_IR", "he_IL", "ur_PK", "ckb"])
    def test_every_figure_is_isolated_once(self, locale: str) -> None:
        shown = [
            formatted_price(money("5"), locale),
            formatted_amount(money("5.123456"), locale),
            formatted_unit_price(per(Measure.KILOGRAM, money("5")), locale),
            formatted_number(Decimal(5), locale),
            formatted_share(Decimal("0.05"), locale),
            formatted_date(date(2026, 11, 25), locale),
        ]

        for text in shown:
            assert (text[0], text[-1]) == ("\u2068", "\u2069")
            assert len(re.findall("[\u2066-\u2069]", text)) == 2

    def test_only_a_text_with_right_to_left_letters_is_isolated(self) -> None:
        assert isolated("beam 漢") == "beam 漢"
        assert isolated("שמש 3") == "\u2068שמש 3\u2069"


class TestNumbersSharesAndDates:
    def test_show_every_digit_there_is(self) -> None:
        assert formatted_number(Decimal("1234.56789"), "de") == "1.234,56789"
        assert formatted_number(1234567, "en") == "1,234,567"
        assert formatted_rate(Decimal("0.05525"), "en") == "5.525%"
        assert formatted_rate(Decimal("0.2"), "de") == "20\u00a0%"

    @pytest.mark.parametrize(
        ("share", "shown"),
        [("0.322105", "32.2%"), ("0.3225", "32.3%"), ("0.2", "20%"), ("0.0004", "0.04%"), ("0", "0%")],
    )
    def test_a_share_is_in_tenths_of_a_percent_and_never_nothing(self, share: str, shown: str) -> None:
        assert formatted_share(Decimal(share), "en") == shown

    @pytest.mark.parametrize(
        ("quantity", "shown"), [("99587.654822", "99,587.655"), ("0.97", "0.97"), ("0.00042", "0.0004"), ("12", "12")]
    )
    def test_a_quantity_has_up_to_three_decimals_and_is_never_nothing(self, quantity: str, shown: str) -> None:
        assert formatted_quantity(Decimal(quantity), "en") == shown

    @pytest.mark.parametrize(
        ("amount", "shown"),
        [("9.778333", "€9.78"), ("0.954321", "€0.954"), ("0.012345", "€0.0123"), ("0.50", "€0.50"), ("0", "€0.00")],
    )
    def test_an_amount_for_a_unit_has_cents_and_three_digits(self, amount: str, shown: str) -> None:
        assert formatted_unit_amount(in_currency(Decimal(amount), "EUR"), "en") == shown

    def test_of_28_digits_lose_none(self) -> None:
        figure = Decimal("0.1234567890123456789012345678")

        assert read_back(formatted_number(figure, "en"), 28) == figure
        assert read_back(formatted_rate(figure, "en"), 26) == figure * 100

    def test_a_day_is_written_in_words(self) -> None:
        assert formatted_date(date(2026, 11, 25), "en_IE") == "25 November 2026"


class TestMeasures:
    @pytest.mark.parametrize(
        ("locale", "unit", "one", "some"),
        [
            ("en_IE", Unit.KILOGRAM, "1 kg", "1,137.5 kg"),
            ("en_IE", Unit.LITRE, "1 l", "1,137.5 l"),
            ("en_IE", Unit.HOUR, "1 hr", "1,137.5 hrs"),
            ("de_DE", Unit.HOUR, "1 Std.", "1.137,5 Std."),
            ("de_DE", Unit.METRE, "1 m", "1.137,5 m"),
            ("fr_FR", Unit.CUBIC_METRE, "1\u202fm³", "1\u202f137,5\u202fm³"),
            ("es_ES", Unit.HOUR, "1 h", "1.137,5 h"),
            ("nl_NL", Unit.HOUR, "1 uur", "1.137,5 uur"),
            ("pt_PT", Unit.SQUARE_METRE, "1 m²", "1\u00a0137,5 m²"),
            ("pt_PT", Unit.PIECE, "1", "1\u00a0137,5"),
        ],
    )
    def test_have_the_sign_of_the_locale_for_one_as_for_several(
        self, locale: str, unit: Unit, one: str, some: str
    ) -> None:
        assert formatted_measure(Decimal(1), unit, locale) == one
        assert formatted_measure(Decimal("1137.5"), unit, locale) == some

    def test_read_back_unchanged_in_every_locale_and_have_a_sign(self) -> None:
        figure = Decimal("1234567890123456789.125")

        for locale in LOCALES:
            for unit in (Unit.KILOGRAM, Unit.HOUR):
                assert unisolated(unit_sign(unit, locale)), (locale, unit)
            assert read_back(formatted_measure(figure, Unit.METRE, locale), 3) == figure

    def test_of_pieces_have_no_sign(self) -> None:
        assert unit_sign(Unit.PIECE, "de_DE") == ""
