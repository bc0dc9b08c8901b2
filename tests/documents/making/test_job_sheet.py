"""A job sheet on paper: rounded as somebody weighs and times, with boxes to tick and blanks, without money."""

import io
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from pypdf import PdfReader

from service.documents.making.job_sheet_page import job_sheet_page, job_sheet_pdf
from service.documents.making.job_sheet_paper import JobSheetView
from service.documents.making.job_sheet_view import job_sheet_view
from service.documents.writing.typesetting import paper_locale
from service.domain.making.explosion import bill_of_resources
from service.domain.making.job_sheet import job_sheet
from service.domain.making.plausibility import cautions_of
from service.domain.making.products import Product
from service.domain.safety.cautions import DeclaredUse
from tests.documents.nasty_texts import NASTY_TEXTS
from tests.domain.examples import TODAY, a_catalogue, a_line, a_material, a_product, an_operation, bench_work

MATERIALS = {
    "hdpe": a_material(),
    "pigment": a_material(name="Pigment"),
    "glitter": a_material(name="Glitter"),
    "screw": a_material(name="Screw", unit="piece", polymer=None),
    "tape": a_material(name="Tape", unit="m", polymer=None),
}


def a_product_of_everything(**changes: Any) -> Product:
    lines = [
        a_line(quantity_per_piece="1.23456", process_loss_share="0.02", reclaim_share="0.5"),
        a_line(material="pigment", quantity_per_piece="0.0051"),
        a_line(material="glitter", quantity_per_piece="0", quantity_per_batch="0.00303"),
        a_line(material="screw", quantity_per_piece="2.5", operation="trimming"),
        a_line(material="tape", quantity_per_piece="0.07", quantity_per_batch="0.001", operation="trimming"),
    ]
    pressing = an_operation(warm_up_minutes="45", pieces_per_cycle=2, tool="mould", cycle_minutes="7")
    facts = {"mass_kg": "30", "declared_uses": [DeclaredUse.TOY.value], **changes}
    return a_product(bill_of_materials=lines, operations=[pressing, bench_work(cycle_minutes="1")], **facts)


def view_of(*products: Product, quantity: int | Decimal = 101, locale: str = "en_IE", **changes: Any) -> JobSheetView:
    catalogue = a_catalogue(*(products or (a_product_of_everything(),)), **{"materials": MATERIALS, **changes})
    bill = bill_of_resources("sheet", quantity, catalogue)
    return job_sheet_view(
        job_sheet(bill, catalogue),
        cautions_of([bill], catalogue),
        seller="Marrow Bay Plastics",
        locale=locale,
        printed_on=TODAY,
    )


def pdf_text(view: JobSheetView) -> str:
    pages = PdfReader(io.BytesIO(job_sheet_pdf(view))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split()).replace("\u00a0", " ")


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


class TestWhatItSays:
    def test_is_rounded_up_as_a_scale_a_rule_or_a_count_shows_it(self) -> None:
        """101 ÷ 0.95 = 106.3 started: 133.93 kg of flakes, 542.2 g and 3.03 g in grams, 253 screws, 7.08 m of tape."""
        (part,) = view_of().parts

        assert [(each.name, plain(each.quantity), each.where) for each in part.fetched] == [
            ("HDPE flakes", "134 kg", "pressing"),
            ("Pigment", "543 g", "pressing"),
            ("Glitter", "3.1 g", "pressing"),
            ("Screw", "253 pieces", "trimming"),
            ("Tape", "7.08 m", "trimming"),
        ]

    def test_tells_each_step_with_times_people_pieces_and_what_comes_back(self) -> None:
        pressing, trimming = view_of().parts[0].steps

        assert pressing.title == "1. pressing"
        assert [(each.text, plain(each.figure), each.note) for each in pressing.facts] == [
            ("Machine", "Sheet press", ""),
            ("Mould or tool", "Mould", ""),
            ("Warm up", "45 min", ""),
            ("Set up", "20 min", ""),
            ("Run", "6:16 h", "54 cycles of 2 pieces"),
            ("Electricity", "45.1 kWh", ""),
            ("Operator", "1:54 h", "1 for setting up, 0.25 during the run"),
            ("Pieces to start", "107", "for 101 good ones"),
            ("Goes in", "134 kg", "HDPE flakes"),
            ("Goes in", "543 g", "Pigment"),
            ("Goes in", "3.1 g", "Glitter"),
            ("Comes back as regrind", "4.62 kg", "HDPE flakes"),
            ("Waste to dispose of", "4.65 kg", "HDPE flakes, Pigment, Glitter"),
        ]
        assert "Meter before, kWh" in pressing.blanks
        assert "Meter before, kWh" not in trimming.blanks

    def test_warns_of_the_work_and_of_heavy_pieces_and_not_of_uses(self) -> None:
        found = " ".join(each.text for each in view_of().cautions)

        assert "too heavy for one person" in found
        assert "hot plastic and hot tools burn" in found
        assert "Toy:" not in found
        assert all(each.note for each in view_of().cautions)

    def test_has_the_parts_of_a_product_each_with_its_steps(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="2")], operations=[])
        foot = a_product(
            name="Foot", bill_of_materials=[a_line(quantity_per_batch="1", reclaim_share="1")], operations=[]
        )

        parts = view_of(whole, foot).parts

        assert [part.title for part in parts] == ["Foot: 202 pieces", "Sheet: 101 pieces"]
        assert [plain(each.figure) for each in parts[0].returned] == ["1 kg"]
        assert parts[1].fetched[0].where == ""

    def test_repeats_the_warm_up_of_a_long_run_and_says_what_runs_beside(self) -> None:
        work = an_operation(warm_up_minutes="30", runs_with_previous=True, processing_temperature_c="190")
        press = replace(a_catalogue().machines["press"], minutes_on_one_warm_up=480)

        (step,) = view_of(a_product(operations=[work]), machines={"press": press}).parts[0].steps

        facts = {each.text: plain(each.figure) for each in step.facts}
        assert (facts["Warm up"], facts["Temperature"]) == ("9 × 30 min", "190 °C")
        assert step.note == "Runs while the step before it still runs."

    def test_of_kilograms_is_weighed_and_timed_by_the_hour(self) -> None:
        """137.5 ÷ 0.95 = 144.74 kg started at 20 kg an hour; the die wears by cycles of 2.5 kg, 55 ÷ 0.95 of them."""
        line = a_line(quantity_per_piece="1", process_loss_share="0.1", reclaim_share="0.5", reclaimed_as="pigment")
        extruding = an_operation(cycle_minutes="0", units_per_hour="20", pieces_per_cycle="2.5", tool="mould")
        kneading = an_operation(name="kneading", pieces_per_cycle="25", setup_minutes="0", yield_share="1")
        mix = a_product(unit="kg", bill_of_materials=[line], operations=[kneading, extruding])

        view = view_of(mix, quantity=Decimal("137.5"))

        assert (view.facts[1].text, view.facts[1].figure) == ("Quantity of the batch", "137.5 kg")
        assert view.blanks[:2] == ("Good quantity, kg", "Scrap, kg")
        facts = [(each.text, plain(each.figure), plain(each.note)) for each in view.parts[0].steps[1].facts]
        assert ("Run", "7:15 h", "20 kg an hour, 58 cycles of 2.5 kg") in facts
        assert facts[-3:] == [
            ("To start", "144.8 kg", "for 137.5 kg good"),
            ("Comes back as regrind", "3.62 kg", "Pigment, from HDPE flakes"),
            ("Waste to dispose of", "3.62 kg", "HDPE flakes"),
        ]
        assert [each.note for each in view.parts[0].steps[0].facts if each.text == "Run"] == ["6 cycles of 25 kg"]

    @pytest.mark.parametrize(
        ("unit", "quantity", "start", "good"),
        [
            ("hour", "2.5", "2:38 h", "Good quantity, hrs"),
            ("m3", "0.1234", "0.13 m³", "Good quantity, m³"),
            ("m", "0.5", "0.53 m", "Good quantity, m"),
            ("kg", "0.5", "527 g", "Good quantity, kg"),
        ],
    )
    def test_rounds_each_unit_up_as_it_is_measured(self, unit: str, quantity: str, start: str, good: str) -> None:
        work = an_operation(cycle_minutes="0", units_per_hour="20")
        product = a_product(unit=unit, bill_of_materials=[], operations=[work])

        (step,) = view_of(product, quantity=Decimal(quantity).quantize(Decimal("0.001"))).parts[0].steps

        (told,) = [plain(each.figure) for each in step.facts if each.text == "To start"]
        assert (told, step.blanks[2]) == (start, good)

    def test_of_pieces_timed_by_the_hour_counts_them(self) -> None:
        work = an_operation(cycle_minutes="0", units_per_hour="20")

        (step,) = view_of(a_product(operations=[work])).parts[0].steps

        assert [each.note for each in step.facts if each.text == "Run"] == ["20 pieces an hour"]

    def test_without_steps_has_a_heading_for_waste(self) -> None:
        line = a_line(quantity_per_batch="4", reclaim_share="0.25")

        view = view_of(a_product(bill_of_materials=[line], operations=[]))

        (waste,) = view.parts[0].wasted
        assert (view.wasted_title, waste.text, plain(waste.figure)) == (
            "What has to be disposed of",
            "Waste to dispose of",
            "3 kg",
        )
        assert view.wasted_title in job_sheet_page(view)
        assert view.wasted_title in pdf_text(view)

    def test_in_german_has_its_words_and_figures(self) -> None:
        view = view_of(locale="de_DE")

        assert (view.word, view.facts[1].figure) == ("Arbeitsauftrag", "101")
        assert plain(view.parts[0].fetched[-1].quantity) == "7,08 m"


class TestForms:
    @pytest.mark.parametrize("locale", ["en_IE", "de_DE", "ar_EG", "ja_JP"])
    def test_say_the_same_without_any_money(self, locale: str) -> None:
        view = view_of(locale=paper_locale(locale))

        page, pdf = plain(job_sheet_page(view)), pdf_text(view)

        for told in (view.word, view.state, "543", "HDPE flakes", view.cautions_title):
            assert told in page
            assert told in pdf
        assert "EUR" not in page + pdf
        assert "€" not in page + pdf

    def test_take_any_name(self) -> None:
        texts = list(NASTY_TEXTS.values())
        operations = [an_operation(name=text) for text in texts]

        assert job_sheet_pdf(view_of(a_product(name=texts[0], operations=operations))).startswith(b"%PDF-")
