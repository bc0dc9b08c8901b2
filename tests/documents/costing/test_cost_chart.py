"""A cost sheet as a picture: exact figures, bars in proportion to them, and nothing executable."""

import subprocess
import sys
import threading
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.documents.costing.cost_chart import GREATEST_LINES, cost_chart
from service.documents.drawing.drawing import Chart, ImageForm, drawn
from service.documents.writing.formats import formatted_amount, formatted_share, isolated
from service.documents.writing.labels import labels_for
from service.domain.costing.cost_statement import CostStatement, cost_statement, for_people
from service.domain.values.money import in_currency
from service.domain.values.units import Unit
from tests.documents.pictures import Picture, png_size
from tests.domain.examples import Shop, a_line, a_material, a_product, a_shop, an_operation, an_overhead, terms_of
from tests.domain.strategies import tried
from tests.support import builders

WIDE = st.characters(exclude_categories=("Cc",))
STRANGE = {
    "markup": '<script>alert(1)</script> & "q"',
    "an expression": "datum.amount",
    "a template": "{{x}} ${x} {signal: 1}",
    "an entity": "&lt;&#60;&amp;",
    "quotes": "\"double\" 'single' `back`",
    "emoji": "👩🏽‍🏭 brick 🧱",
    "no character of XML": "\uffff\ufffe\ud800",
    "an address": "url(http://127.0.0.1:9/x.png)",
}


def stated(shop: Shop, quantity: int = 100) -> CostStatement:
    """The sheet in the digits that people read."""
    return for_people(cost_statement(shop.sheet(quantity), rates_valid_from={}))


@cache
def bricks(**changes: Any) -> CostStatement:
    """A sheet with lines under five headings, one of them a credit."""
    reclaim = builders.material_rate("0.9", reclaim_value=builders.money("0.3"))
    pressing = an_operation(yield_share="0.9", tool="mould")
    flakes = a_line(quantity_per_piece="2", reclaim_share="0.8")
    product = a_product(bill_of_materials=[flakes], operations=[pressing], **changes)
    terms = {"materials/hdpe": terms_of(type(a_shop().terms["materials/hdpe"]), reclaim)}
    rent = terms_of(type(a_shop(overheads={"rent": an_overhead()}).terms["overheads/rent"]), builders.overhead_rate())
    return stated(a_shop(product, overheads={"rent": an_overhead()}, terms={**terms, "overheads/rent": rent}))


def of_materials(prices: Mapping[str, str], name: str = "Sheet") -> CostStatement:
    """A sheet of materials only, one kilogram of each; `prices` is price by name."""
    kind = type(a_shop().terms["materials/hdpe"])
    lines = [a_line(material=f"m{place}") for place, _ in enumerate(prices)]
    product = a_product(name=name, bill_of_materials=lines, operations=[])
    materials = {f"m{place}": a_material(name="x") for place, _ in enumerate(prices)}
    for place, each in enumerate(prices):
        object.__setattr__(materials[f"m{place}"], "name", each)  # names that today's validation would refuse
    terms = {
        f"materials/m{place}": terms_of(kind, builders.material_rate(price))
        for place, price in enumerate(prices.values())
    }
    return stated(a_shop(product, materials=materials, terms=terms), 1)


def picture(statement: CostStatement, locale: str = "en_IE") -> Picture:
    return Picture(cost_chart(statement, ImageForm.SVG, locale=locale))


class TestFigures:
    @pytest.mark.parametrize("locale", ["en_IE", "de_CH", "fr_FR", "ar_EG", "hi_IN"])
    def test_every_line_is_shown_with_its_name_its_amount_a_piece_and_its_share(self, locale: str) -> None:
        statement = bricks()

        words = picture(statement, locale).words

        for line in statement.lines:
            place = words.index(labels_for(locale, "cost_sheet").told(line.name))
            assert place >= 0
            assert formatted_amount(line.amount_per_piece, locale) in words
            assert formatted_share(line.share_of_full_cost, locale) in words

    def test_every_heading_is_shown_with_its_sum(self) -> None:
        statement = bricks()

        shown = picture(statement)

        for name, subtotal in statement.cost_classes.items():
            assert name.replace("_", " ").capitalize() in shown.words
            assert formatted_amount(subtotal.per_piece, "en_IE") in shown.words

    def test_the_title_states_the_full_cost_of_a_piece_the_batch_the_day_and_the_currency(self) -> None:
        statement = bricks()

        shown = picture(statement)

        cost = formatted_amount(statement.subtotals.full_cost.per_piece, "en_IE")
        assert shown.title == shown.words[-2] == f"Sheet: {cost} a piece"
        assert shown.words[-1] == "full cost in a batch of 100, at the rates of 25 November 2026, in EUR"

    def test_the_description_states_every_figure_for_those_who_cannot_see_it(self) -> None:
        statement = bricks()

        description = picture(statement).description

        for line in statement.lines:
            amount = formatted_amount(line.amount_per_piece, "en_IE")
            assert f"{line.name}: {amount} ({formatted_share(line.share_of_full_cost, 'en_IE')})" in description

    def test_an_amount_has_all_digits_to_the_cent_however_large_it_is(self) -> None:
        statement = of_materials({"gold": "123456789012345678.123456", "dust": "0.000001"})

        words = picture(statement).words

        assert {"€123,456,789,012,345,678.12", "€0.00"} <= set(words)

    @pytest.mark.parametrize(
        ("price", "shown"), [("0.95", "€0.950"), ("0.012345", "€0.0123"), ("0.000001", "€0.000001")]
    )
    def test_a_small_amount_has_three_digits_if_it_has_them(self, price: str, shown: str) -> None:
        assert shown in picture(of_materials({"dust": price})).words


class TestBars:
    def test_headings_and_lines_come_with_the_greatest_first(self) -> None:
        statement = bricks()
        classes = sorted(statement.cost_classes, key=lambda name: -statement.cost_classes[name].per_piece.amount)
        wanted = [
            line.name
            for name in classes
            for line in sorted(statement.lines, key=lambda line: -line.amount_per_piece.amount)
            if line.cost_class == name
        ]

        bars = picture(statement).bars()

        assert [bar.about.partition(": ")[0] for bar in bars] == wanted

    def test_a_bar_is_as_long_as_its_amount_and_begins_or_ends_at_zero(self) -> None:
        statement = bricks()
        amounts = {line.name: float(line.amount_per_piece.amount) for line in statement.lines}
        assert min(amounts.values()) < 0

        bars = {bar.about.partition(": ")[0]: bar for bar in picture(statement).bars()}

        nothing = next(bar.x for name, bar in bars.items() if amounts[name] > 0)
        scale = 320 / (max(amounts.values()) - min(amounts.values()))
        for name, amount in amounts.items():
            assert bars[name].width == pytest.approx(abs(amount) * scale)
            assert bars[name].x + (bars[name].width if amount < 0 else 0) == pytest.approx(nothing)

    def test_a_heading_has_one_colour_and_no_two_have_the_same(self) -> None:
        shown = picture(bricks())

        colours = {
            mark.attrib["aria-label"].partition(": ")[0]: mark.attrib["fill"]
            for mark in shown.root.iter()
            if mark.get("aria-roledescription") == "bar"
        }

        classes = {line.name: line.cost_class for line in bricks().lines}
        assert len({(classes[name], colour) for name, colour in colours.items()}) == len(set(classes.values()))
        assert len(set(colours.values())) == len(set(classes.values()))

    @pytest.mark.parametrize("price", ["0", "0.000001"])
    def test_a_sheet_that_costs_next_to_nothing_is_drawn(self, price: str) -> None:
        shown = picture(of_materials({"gift": price}))

        told = "€0.000001 (100%)" if Decimal(price) else "€0.00"
        assert [bar.about for bar in shown.bars()] == [f"gift: {told}"]

    def test_a_sheet_with_nothing_but_a_credit_is_drawn_to_the_left(self) -> None:
        statement = bricks()
        credit = next(line for line in statement.lines if line.amount_per_piece.amount < 0)
        (bar,) = picture(replace(statement, lines=(credit,))).bars()

        assert (bar.x, bar.width) == (0, 320)

    def test_a_cost_below_0_is_drawn_without_shares_and_by_its_unit(self) -> None:
        """Paid 0.50 to take a kilogram of which a product by the kilogram is made, with pigment at 0.05."""
        statement = replace(of_materials({"flakes": "-0.5", "pigment": "0.05"}), unit=Unit.KILOGRAM)

        shown = picture(statement)

        assert shown.title == "Sheet: -€0.450 per kg"
        assert shown.description.startswith("What Sheet costs per kg in a batch of 1 kg, at the rates of ")
        assert [(bar.about, bar.x, bar.width) for bar in shown.bars()] == [
            ("pigment: €0.050", pytest.approx(shown.bars()[0].x), pytest.approx(320 / 11)),
            ("flakes: -€0.500", 0, pytest.approx(3200 / 11)),
        ]
        assert "share" not in shown.words
        assert "per kg" in shown.words


class TestManyLines:
    def test_the_smallest_of_1000_lines_are_put_together_and_add_up(self) -> None:
        statement = of_materials({f"material {place}": f"{place + 1}.25" for place in range(1000)})
        rest = [line for line in statement.lines if line.amount_per_piece.amount < 1000 - GREATEST_LINES + 1]

        shown = picture(statement)

        assert len(shown.bars()) == GREATEST_LINES + 1
        assert shown.bars()[0].about.startswith("material 999: €1,000.25 ")
        together = in_currency(sum((line.amount_per_piece.amount for line in rest), Decimal(0)), "EUR")
        share = sum((line.share_of_full_cost for line in rest), Decimal(0))
        about = f"976 other lines: {formatted_amount(together, 'en_IE')} ({formatted_share(share, 'en_IE')})"
        assert about in [bar.about for bar in shown.bars()]
        assert shown.size[1] < 1000

    @pytest.mark.parametrize("lines", [GREATEST_LINES, GREATEST_LINES + 1])
    def test_one_line_too_many_is_not_grouped_and_keeps_its_name(self, lines: int) -> None:
        statement = of_materials({f"material {place}": f"{place + 1}" for place in range(lines)})

        bars = picture(statement).bars()

        assert [bar.about.partition(": ")[0] for bar in bars] == [
            f"material {place}" for place in reversed(range(lines))
        ]


class TestNames:
    @pytest.mark.parametrize("name", STRANGE.values(), ids=STRANGE.keys())
    def test_a_name_is_taken_as_it_is_and_nothing_in_it_runs(self, name: str) -> None:
        shown = picture(of_materials({name: "1"}, name="Sheet"))

        printable = "".join("\ufffd" if each in "\uffff\ufffe\ud800" else each for each in name)
        assert isolated(printable) in shown.words
        assert shown.dangers() == []

    def test_a_product_s_name_is_taken_as_it_is_too(self) -> None:
        shown = picture(bricks(name="<b>Brick</b> & datum.x"))

        assert shown.title.startswith("<b>Brick</b> & datum.x: €")
        assert shown.dangers() == []

    def test_line_breaks_and_runs_of_spaces_become_one_space(self) -> None:
        assert "two lines" in picture(of_materials({"two\n \tlines": "1"})).words

    def test_a_long_name_is_cut_off_and_shown_whole_in_labels_and_title(self) -> None:
        name = "washed " * 28

        shown = picture(of_materials({name: "1"}, name=name[:200]))

        (cut,) = {word for word in shown.words if word.endswith("…")}
        assert name.startswith(cut[:-1])
        assert shown.bars()[0].about.startswith(name.strip())
        assert shown.title.startswith(name.strip())
        assert shown.size[0] < 1100

    def test_a_name_is_never_cut_within_a_joined_emoji_or_an_accent(self) -> None:
        worker = "👩🏽\u200d🏭"

        shown = picture(of_materials({worker * 40: "1", "e\u0301" * 150: "2"}))

        for whole in (worker, "e\u0301"):
            (cut,) = {word.strip("\u2068\u2069") for word in shown.words if word.strip("\u2068").startswith(whole)}
            assert cut.endswith("…")
            assert cut[:-1] == whole * (len(cut[:-1]) // len(whole))

    def test_a_right_to_left_name_does_not_reorder_the_text_around_it(self) -> None:
        shown = picture(of_materials({"לבנה": "1"}))

        assert "\u2068לבנה\u2069" in shown.words
        assert shown.bars()[0].about.startswith("\u2068לבנה\u2069: €1")

    @tried
    @given(st.text(WIDE, min_size=1, max_size=60))
    def test_any_name_makes_a_file_that_reads_as_xml_and_holds_nothing_but_a_drawing(self, name: str) -> None:
        shown = picture(of_materials({name: "1"}, name="Sheet"))

        assert shown.dangers() == []
        assert len(shown.bars()) == 1


class TestForms:
    def test_starting_the_service_does_not_load_the_drawing_library(self) -> None:
        looked_for = "import service.cli.serve, sys; print('vl_convert' in sys.modules)"

        made = subprocess.run([sys.executable, "-c", looked_for], capture_output=True, text=True, check=True)

        assert made.stdout == "False\n"

    def test_nothing_is_fetched_whatever_a_specification_asks_for(self) -> None:
        bar = {"mark": "bar", "data": {"url": "http://127.0.0.1:9/data.json"}}
        chart = Chart(title="", heading="", subtitle=(), description="", left=0, body=bar)

        with pytest.raises(ValueError, match="External data url not allowed"):
            drawn(chart, ImageForm.SVG)

    def test_a_png_is_the_same_drawing_at_twice_the_size(self) -> None:
        statement = bricks()
        width, height = picture(statement).size

        image = cost_chart(statement, ImageForm.PNG, locale="en_IE")

        assert png_size(image) == (2 * width, 2 * height)

    def test_the_same_sheet_gives_the_same_bytes(self) -> None:
        for form in ImageForm:
            assert cost_chart(bricks(), form, locale="en_IE") == cost_chart(bricks(), form, locale="en_IE")

    def test_two_threads_at_once_draw_what_one_draws(self) -> None:
        statements = {name: bricks(name=name) for name in ("Brick", "Beam")}
        alone = {name: cost_chart(each, ImageForm.SVG, locale="en_IE") for name, each in statements.items()}
        found: dict[str, list[bytes]] = {name: [] for name in statements}

        def draw(name: str) -> None:
            found[name] += [cost_chart(statements[name], ImageForm.SVG, locale="en_IE") for _ in range(5)]

        threads = [threading.Thread(target=draw, args=(name,)) for name in statements]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert found == {name: [alone[name]] * 5 for name in statements}
