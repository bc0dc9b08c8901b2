"""A price history as a picture: the price in force over time, exact figures, an axis for each currency."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random

import pytest

from service.documents.drawing.drawing import ImageForm
from service.documents.listing.price_history_chart import MOST_DRAWN, price_history_chart
from service.domain.listing.price_history import PriceHistoryEntry
from service.domain.values.money import in_currency
from service.domain.values.units import Unit
from tests.documents.costing.test_cost_chart import STRANGE
from tests.documents.pictures import Picture, png_size
from tests.domain.listing.test_price_history import entry

TODAY = date(2026, 11, 25)
DAY = 24


def drawn(
    entries: Sequence[PriceHistoryEntry],
    form: ImageForm = ImageForm.SVG,
    *,
    listing: str = "brick-market",
    locale: str = "en_IE",
    time_zone: str = "UTC",
    as_of: date = TODAY,
) -> bytes:
    return price_history_chart(listing, entries, form, locale=locale, time_zone=time_zone, as_of=as_of)


def yen(number: int, at: int, price: str) -> PriceHistoryEntry:
    return replace(entry(number, at), price=in_currency(Decimal(price), "JPY"))


class TestTheDay:
    def test_is_the_last_one_drawn_and_the_price_that_stands_on_it_is_told(self) -> None:
        """What is taken back later stands on it."""
        entries = [entry(1, 0, price="4.20"), entry(2, DAY, price="4.50", until=3 * DAY, valid_from=date(2026, 3, 4))]

        before, then, after = (Picture(drawn(entries, as_of=date(2026, 3, day))).title for day in (3, 4, 5))

        assert then == "brick-market: €4.50 on 4 March 2026"
        assert after == "brick-market: €4.20 on 5 March 2026"
        assert before != then


class TestFigures:
    def test_every_mark_has_a_name_or_is_hidden_from_screen_readers(self) -> None:
        root = Picture(drawn([entry(1, 0, price="4.20"), entry(2, 60 * DAY, price="4.35")])).root

        marks = [each for each in root.iter() if each.get("role") == "graphics-symbol"]

        assert len(marks) > 10
        assert all(each.get("aria-label") or each.get("aria-hidden") == "true" for each in marks)

    def test_every_price_of_a_short_history_is_labelled_and_the_title_states_the_one_in_force(self) -> None:
        entries = [entry(1, 0, price="4.20"), entry(2, 60 * DAY, price="4.35"), entry(3, 120 * DAY, price="4.50")]

        shown = Picture(drawn(entries))

        assert {"€4.20", "€4.35", "€4.50", "€3.00"} <= set(shown.words)
        assert shown.title == "brick-market: €4.50 on 25 November 2026"
        assert "€4.50 since 30 June 2026 (unit cost €3.00, margin 25%)" in shown.words

    def test_a_price_for_several_pieces_is_drawn_by_the_piece_beside_its_cost(self) -> None:
        entries = [entry(1, 0, price="4.20"), entry(2, 60 * DAY, price="45.00", base_quantity=12, until=90 * DAY)]

        shown = Picture(drawn(entries))

        assert {"€4.20", "€3.75", "€4.20 put back", "€3.00", "price of a piece, EUR", "unit cost, EUR"} <= set(
            shown.words
        )
        assert "€45.00 per 12 since 1 May 2026 (unit cost €3.00, margin 25%)" in shown.description
        assert "price, EUR" not in shown.words

    def test_are_told_for_the_unit_of_a_product_that_is_not_sold_by_the_piece(self) -> None:
        first, then = entry(1, 0, price="1.06"), entry(2, 60 * DAY, price="104.00", base_quantity=100)
        entries = [replace(each, unit=Unit.KILOGRAM) for each in (first, then)]

        shown = Picture(drawn(entries))

        assert {"€1.06", "€1.04", "price, EUR per kg", "unit cost, EUR per kg"} <= set(shown.words)
        assert shown.title == "brick-market: €104.00 per 100 kg on 25 November 2026"
        assert "€1.06 per kg since 2 March 2026 (unit cost €3.00 per kg, margin 25%)" in shown.description

    def test_the_title_says_how_many_pieces_the_price_in_force_is_for(self) -> None:
        shown = Picture(drawn([entry(1, 0, price="320", base_quantity=100)]))

        assert shown.title == "brick-market: €320.00 per 100 on 25 November 2026"

    def test_the_description_states_each_price_newest_first(self) -> None:
        entries = [entry(1, 0, price="4.20"), entry(2, 60 * DAY, price="4.35", margin_share=None)]

        description = Picture(drawn(entries)).description

        first = description.index("€4.20 since 2 March 2026 (unit cost €3.00, margin 25%)")
        assert description.index("€4.35 since 1 May 2026 (unit cost €3.00)") < first

    def test_a_long_history_has_a_label_for_the_first_the_last_the_greatest_and_the_least(self) -> None:
        dice = Random(4)
        prices = ["4.10", *(f"{dice.uniform(3, 6):.2f}" for _ in range(498)), "4.90"]
        prices[200], prices[300] = "9.99", "1.01"

        shown = Picture(drawn([entry(place, place * 12, price=price) for place, price in enumerate(prices)]))

        assert {"€4.10", "€9.99", "€1.01", "€4.90"} <= set(shown.words)
        assert shown.points() == []
        assert len(shown.words) < 60

    @pytest.mark.parametrize("locale", ["de_CH", "ar_EG", "hi_IN"])
    def test_figures_are_in_the_workshop_s_locale(self, locale: str) -> None:
        words = {"de_CH": "1\u2019234.50", "ar_EG": "1,234.50", "hi_IN": "1,234.50"}

        shown = Picture(drawn([entry(1, 0, price="1234.50")], locale=locale))

        assert any(words[locale] in word for word in shown.words)

    def test_an_instant_falls_on_its_day_in_the_workshops_time_zone(self) -> None:
        late = [entry(1, 14)]  # 23:00 UTC

        assert "2 March 2026" in Picture(drawn(late)).description
        assert "3 March 2026" in Picture(drawn(late, time_zone="Europe/Helsinki")).description

    @pytest.mark.parametrize("price", ["0.00", "123456789012345678901234.12"])
    def test_a_price_has_every_digit_however_large_it_is(self, price: str) -> None:
        assert f"€{Decimal(price):,.2f}" in Picture(drawn([entry(1, 0, price=price)])).words


class TestSteps:
    def test_a_price_has_a_point_where_it_begins_and_dearer_is_higher(self) -> None:
        entries = [entry(1, 0, price="4.00"), entry(2, 100 * DAY, price="5.00"), entry(3, 200 * DAY, price="4.50")]

        first, second, third = (point for point in Picture(drawn(entries)).points()[:3])

        assert first.x < second.x < third.x
        assert second.x - first.x == pytest.approx(third.x - second.x)
        assert third.y - second.y == pytest.approx(first.y - third.y)
        assert second.y < third.y < first.y

    def test_a_rolled_back_price_ends_and_the_restored_one_is_marked(self) -> None:
        entries = [entry(1, 0, price="4.20"), entry(2, 60 * DAY, price="4.90", until=90 * DAY)]

        shown = Picture(drawn(entries))

        assert shown.title == "brick-market: €4.20 on 25 November 2026"
        assert "prices applied: 2, of them rolled back: 1" in shown.words
        assert [point.about.partition(" (")[0] for point in shown.points()[:3]] == [
            "€4.20 since 2 March 2026",
            "€4.90 since 1 May 2026",
            "€4.20 since 31 May 2026, put back",
        ]

    def test_a_listing_whose_only_price_was_rolled_back_has_none_in_force(self) -> None:
        shown = Picture(drawn([entry(1, 0, until=DAY)]))

        assert shown.title == "brick-market: no price in force"
        assert len(shown.points()) == 2

    def test_of_several_prices_at_one_instant_only_the_one_in_force_is_drawn(self) -> None:
        entries = [entry(number, 0, price=f"4.{number}0") for number in range(1, 6)]

        shown = Picture(drawn(entries))

        assert len(shown.points()) == 2
        assert shown.title == "brick-market: €4.50 on 25 November 2026"
        assert "prices applied: 5, of them rolled back: 0" in shown.words

    def test_a_listing_without_any_price_says_so(self) -> None:
        shown = Picture(drawn([]))

        assert shown.title == "brick-market: no price in force"
        assert "No price has been applied yet." in shown.words

    def test_a_price_applied_today_is_drawn_until_the_end_of_today(self) -> None:
        shown = Picture(drawn([entry(1, 0)], as_of=date(2026, 3, 2)))

        assert shown.points()[0].x == pytest.approx(640 * 9 / 24)
        assert "2 Mar 2026" in shown.words

    def test_a_price_applied_after_today_is_drawn_all_the_same(self) -> None:
        assert len(Picture(drawn([entry(1, 0)], as_of=date(2026, 3, 1))).points()) == 2

    def test_only_the_newest_prices_are_drawn_and_the_picture_says_so(self) -> None:
        entries = [entry(place, place, price="9.99" if place < 5 else "4.20") for place in range(MOST_DRAWN + 5)]

        words = Picture(drawn(entries)).words

        assert "the newest prices applied: 1,000, of them rolled back: 0" in words
        assert "€9.99" not in words


class TestCurrencies:
    def test_a_price_and_a_cost_in_one_currency_share_an_axis(self) -> None:
        words = Picture(drawn([entry(1, 0)])).words

        assert words.count("1 May 2026") == 1
        assert {"price, EUR", "unit cost, EUR"} <= set(words)

    def test_a_price_and_a_cost_in_different_currencies_have_an_axis_each(self) -> None:
        words = Picture(drawn([yen(1, 0, "1200")])).words

        assert words.count("1 May 2026") == 2
        assert {"price, JPY", "unit cost, EUR", "JP¥1,200", "€3.00"} <= set(words)
        assert "price, EUR" not in words

    def test_a_listing_that_changed_its_currency_has_an_axis_for_each(self) -> None:
        entries = [entry(1, 0, price="4.20"), yen(2, 60 * DAY, "800"), entry(3, 120 * DAY, price="4.40")]

        shown = Picture(drawn(entries))

        assert {"price, EUR", "price, JPY", "unit cost, EUR", "€4.20", "JP¥800", "€4.40"} <= set(shown.words)
        assert shown.words.count("price, EUR") == shown.words.count("price, JPY") == 1
        assert shown.title == "brick-market: €4.40 on 25 November 2026"


class TestForms:
    @pytest.mark.parametrize("count", [0, 1, 500])
    def test_a_png_is_the_same_drawing_at_twice_the_size(self, count: int) -> None:
        entries = [entry(place, place, price=f"{4 + place % 7}.20") for place in range(count)]
        width, height = Picture(drawn(entries)).size

        assert png_size(drawn(entries, ImageForm.PNG)) == (2 * width, 2 * height)
        assert width < 1000
        assert height < 700

    @pytest.mark.parametrize("name", STRANGE.values(), ids=STRANGE.keys())
    def test_a_name_is_taken_as_it_is_and_nothing_in_it_runs(self, name: str) -> None:
        shown = Picture(drawn([entry(1, 0, applied_by=name)], listing=name))

        assert shown.dangers() == []
        assert shown.title.endswith(": €4.20 on 25 November 2026")

    def test_daylight_saving_time_shifts_no_day(self) -> None:
        autumn = datetime(2026, 10, 24, tzinfo=UTC)
        entries = [entry(1, 0, applied_at=autumn + timedelta(days=passed)) for passed in (0, 1, 2)]

        shown = Picture(drawn(entries, time_zone="Europe/Dublin", as_of=date(2026, 10, 27)))

        assert {"24 Oct 2026", "25 Oct 2026", "26 Oct 2026", "27 Oct 2026"} <= set(shown.words)
