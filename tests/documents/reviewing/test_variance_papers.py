"""Variances on paper and as a picture: they lead from one cost to the other, in every language."""

import ast
import inspect
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from babel.messages.pofile import read_po

from service.documents.drawing.drawing import ImageForm
from service.documents.reviewing import period_view as period_view_module
from service.documents.reviewing import variance_chart as chart_module
from service.documents.reviewing import variance_view as view_module
from service.documents.reviewing import variance_writing as writing_module
from service.documents.reviewing.period_view import period_chart, period_view, product_chart, product_view
from service.documents.reviewing.variance_chart import GREATEST
from service.documents.reviewing.variance_page import variance_page, variance_pdf
from service.documents.reviewing.variance_paper import VarianceView
from service.documents.reviewing.variance_view import batch_chart, variance_view
from service.documents.writing.formats import formatted_amount
from service.documents.writing.labels import CATALOGUES, LANGUAGES
from service.domain.making import explosion
from service.domain.records import plausibility
from service.domain.reviewing import comparison, earned, period, what_happened
from service.domain.reviewing import period_review as review_module
from service.domain.reviewing import statement as statement_module
from service.domain.reviewing.earned import BorneCost, ProductOfOrder, earned_by_batch
from service.domain.reviewing.period import FixedBudget, fixed_variances, summed_together
from service.domain.reviewing.period_review import Days, PeriodReview, period_review, summed_statement
from service.domain.reviewing.statement import VarianceStatement
from service.domain.reviewing.variance_kinds import VarianceKind
from service.domain.values import units
from service.domain.values.units import Unit
from tests.documents.nasty_texts import NASTY_TEXTS
from tests.documents.pictures import Picture, png_size
from tests.domain.examples import a_line, a_material, a_product, a_shop
from tests.domain.records.recorded import a_record
from tests.domain.reviewing.reviewed import compared, stated
from tests.support.builders import money

TRANSLATED = LANGUAGES[1:]
COUNTED: dict[str, Any] = {
    "units_started": "24",
    "materials": [{"material": "hdpe", "issued": "260", "paid": money("250")}],
    "operations": [{"operation": "pressing", "minutes": "900"}],
    "labour": [{"labour_grade": "operator", "hours": "3"}],
}


@cache
def a_statement(name: str = "Sheet") -> VarianceStatement:
    return stated(a_shop(a_product(name=name)), a_record(**COUNTED))


def view_of(statement: VarianceStatement, unit: Unit = Unit.PIECE, locale: str = "en_IE") -> VarianceView:
    return variance_view("B-1", statement, unit, seller="Kiln Lane", locale=locale)


def wanted() -> set[str]:
    """Every message that the documents look up, read from the source code and from the kinds of variances."""
    found = {text for kind in VarianceKind for text in (kind.traits.label, kind.traits.text)}
    found |= {statement_module._ADVERSE, statement_module._FAVOURABLE, *explosion._LOST.values()}
    found |= {statement_module._MORE_OF_FIXED, statement_module._LESS_OF_FIXED, *what_happened._PAID_TO_TAKE.values()}
    found |= {*what_happened._BY_SHARES.values()}
    for module, called in (
        (view_module, "words"),
        (period_view_module, "words"),
        (writing_module, "words"),
        (chart_module, "labels"),
        (statement_module, "Message"),
        (period, "Message"),
        (review_module, "Message"),
        (earned, "Message"),
        (what_happened, "Message"),
        (units, "Message"),
        (plausibility, "Message"),
    ):
        for call in ast.walk(ast.parse(inspect.getsource(module))):
            if isinstance(call, ast.Call) and getattr(call.func, "attr", getattr(call.func, "id", "")) == called:
                found |= {call.args[0].value} if isinstance(call.args[0], ast.Constant) else set()
    found |= set(re.findall(r'Message\("([^"]+)"\)', inspect.getsource(comparison)))
    return {*found, "{name}, fixed charges"}


class TestWords:
    @pytest.mark.parametrize("language", TRANSLATED)
    def test_are_all_translated_with_their_placeholders_and_none_is_unused(self, language: str) -> None:
        with (CATALOGUES / "variances" / f"{language}.po").open("rb") as file:
            found = {str(each.id): str(each.string) for each in read_po(file, locale=language) if each.id}

        assert set(found) == wanted()
        for english, translated in found.items():
            assert translated
            assert sorted(re.findall(r"{\w+}", english)) == sorted(re.findall(r"{\w+}", translated)), english

    def test_are_of_the_language_of_the_locale(self) -> None:
        view = view_of(a_statement(), locale="de_DE")

        assert view.title == "Los B-1: Sheet"
        assert re.fullmatch(
            r"Das Los kostete [\d,.]+ EUR mehr, als die 20 Stück, die herauskamen, hätten kosten sollen", *view.answer
        )
        assert "HDPE" in view.rows[0].note
        assert {row.text.partition(": ")[0] for row in view.rows} >= {"Materialpreis", "Ausbeute"}

    def test_are_of_the_unit_in_which_the_product_is_counted(self) -> None:
        facts = {each.text: each.figure for each in view_of(a_statement(), Unit.KILOGRAM).facts}

        assert facts["Good quantity"] == "20 kg"
        assert "Cost, per kg" in facts

    def test_name_the_unit_of_the_product_in_every_sentence(self) -> None:
        by_the_kilogram = a_shop(a_product(unit="kg", mass_kg=None))

        view = view_of(stated(by_the_kilogram, a_record(units_started="24")), Unit.KILOGRAM, "de_DE")

        assert view.answer[0].endswith("mehr, als die 20 kg, die herauskamen, hätten kosten sollen")
        assert view.rows[0].note.startswith("Der Ausschuss war 4 kg, nicht 1,053")


class TestAPaper:
    def test_leads_from_what_it_should_have_cost_to_what_it_cost(self) -> None:
        statement = a_statement()
        page, pdf = variance_page(view_of(statement)), variance_pdf(view_of(statement))

        for each in (statement.standard_cost, statement.actual_cost, *(cause.amount for cause in statement.variances)):
            assert formatted_amount(each, "en_IE") in page
        assert page.count("<tr") == 1 + 1 + len(statement.variances) + 1
        assert "taken from stock" not in page
        assert "electricity" in page
        assert pdf.startswith(b"%PDF-")
        assert pdf == variance_pdf(view_of(statement))

    @pytest.mark.parametrize("text", list(NASTY_TEXTS.values())[:3])
    def test_takes_any_text(self, text: str) -> None:
        assert variance_pdf(view_of(a_statement(text), locale="he_IL")).startswith(b"%PDF-")
        assert "<script>" not in variance_page(view_of(a_statement(text)))

    def test_of_a_batch_of_which_all_is_lost_has_no_cost_of_a_piece(self) -> None:
        lost = stated(a_shop(), a_record(good_units="0", units_started="20"))

        view = view_of(lost)

        assert [each.text for each in view.facts] == ["Product", "Made on", "Good pieces"]
        assert view.answer[0].startswith("Nothing good came out")


class TestAPicture:
    def test_has_a_bar_for_each_cause_that_begins_where_the_one_before_it_ends(self) -> None:
        statement = a_statement()

        picture = Picture(batch_chart("B-1", statement, ImageForm.SVG, locale="en_IE"))

        bars, amounts = picture.bars(), [cause.amount.amount for cause in statement.variances]
        assert len(bars) == len(amounts) > 3
        scale = bars[0].width / float(abs(amounts[0]))
        at = bars[0].x if amounts[0] > 0 else bars[0].x + bars[0].width
        for bar, amount in zip(bars, amounts, strict=True):
            assert bar.width == pytest.approx(float(abs(amount)) * scale, abs=0.02)
            assert (bar.x if amount > 0 else bar.x + bar.width) == pytest.approx(at, abs=0.02)
            at += float(amount) * scale
        assert len(picture.points()) == 2

    def test_adds_up_small_causes_and_is_described(self) -> None:
        codes = [f"m{place}" for place in range(GREATEST + 4)]
        product = a_product(bill_of_materials=[a_line(material=code) for code in codes], operations=[])
        shop = a_shop(product, materials={code: a_material() for code in codes})
        issued = [{"material": code, "issued": "99", "paid": money("150")} for code in codes]

        picture = Picture(batch_chart("B-1", stated(shop, a_record(materials=issued)), ImageForm.SVG, locale="en_IE"))

        assert any("other causes" in each for each in picture.words)
        assert len(picture.bars()) == GREATEST + 1
        assert picture.description.count("; ") > GREATEST

    def test_of_a_batch_as_estimated_is_empty_but_for_its_costs_and_is_a_png_too(self) -> None:
        as_estimated = stated(a_shop(), a_record())

        picture = Picture(batch_chart("B-1", as_estimated, ImageForm.SVG, locale="en_IE"))
        png = batch_chart("B-1", as_estimated, ImageForm.PNG, locale="en_IE")

        assert picture.bars() == []
        assert png_size(png) == tuple(2 * each for each in picture.size)
        assert as_estimated.variance.amount == 0


class TestManyBatches:
    BATCHES = (
        compared(a_shop(), a_record(**COUNTED)),
        replace(compared(a_shop(), a_record(**COUNTED)), product="beam", name="Beam", made_on=date(2026, 10, 2)),
    )
    PERIOD = Days(date(2026, 10, 1), date(2026, 11, 25))

    @classmethod
    def review(cls) -> PeriodReview:
        absorbed = cls.BATCHES[0].absorbed[0]
        budget = FixedBudget(resource=absorbed.resource, name=absorbed.name, budget=Decimal(900), incurred=Decimal(950))
        return period_review(cls.PERIOD, "EUR", cls.BATCHES, [], fixed_variances([budget], cls.BATCHES))

    def test_of_a_product_lead_from_cost_to_cost(self) -> None:
        (beam, _) = sorted(self.review().products, key=lambda each: each.product)

        view = product_view(beam, date(2026, 12, 1), seller="Kiln Lane", locale="en_IE")

        assert (view.title, view.day) == ("Batches: Beam", (2026, 10, 2))
        assert {each.text: each.figure for each in view.facts} == {
            "Product": "beam",
            "Recorded batches": "1",
            "Made": "2 October 2026",
        }
        assert (view.standard.amount, view.actual.amount) == tuple(
            formatted_amount(each, "en_IE") for each in (beam.standard_cost, beam.actual_cost)
        )
        assert variance_pdf(view).startswith(b"%PDF-")
        picture = Picture(product_chart(beam, ImageForm.SVG, locale="en_IE"))
        assert len(picture.bars()) == len(beam.variances)

    def test_of_which_there_is_none_are_told_so(self) -> None:
        none = replace(summed_together([]), product="beam", name="Beam", currency="EUR")

        view = product_view(summed_statement(none), date(2026, 12, 1), seller="Kiln Lane", locale="de_DE")

        assert (view.answer, view.day) == (("Kein Los ist erfasst",), (2026, 12, 1))
        assert variance_pdf(view).startswith(b"%PDF-")

    def test_of_a_period_have_a_table_of_products_and_one_of_fixed_cost_that_adds_up(self) -> None:
        review = self.review()
        view = period_view(review, seller="Kiln Lane", locale="en_IE")
        page = variance_page(view)

        products, fixed = view.tables
        assert [row[0].text for row in products.rows] == ["Beam", "Sheet"]
        total = review.fixed_total
        assert [cell.text for cell in fixed.rows[-1][1:]] == [
            "€900.00",
            "+€50.00",
            formatted_amount(total.applied, "en_IE"),
            f"+{formatted_amount(total.efficiency, 'en_IE')}",
            formatted_amount(total.capacity, "en_IE"),
        ]
        assert view.title == "Batches: 1 October 2026 to 25 November 2026"
        assert "What these days cost however much is made" in page
        assert variance_pdf(view).startswith(b"%PDF-")
        assert period_chart(review, ImageForm.PNG, locale="fr_FR").startswith(b"\x89PNG")

    @pytest.mark.parametrize("locale", ["de_DE", "fr_FR", "nl_NL", "es_ES", "pt_PT"])
    def test_are_told_in_the_language_of_the_locale(self, locale: str) -> None:
        view = period_view(self.review(), seller="Kiln Lane", locale=locale)

        for text in (view.title, *view.answer, *(table.title for table in view.tables), *view.tables[1].columns):
            assert not re.search(r"\b(batch|batches|should|what|these|days)\b", text, re.IGNORECASE), text

    def test_that_were_made_for_quotations_say_what_they_earned(self) -> None:
        order = ProductOfOrder(
            quotation="Q000007",
            ordered=Decimal(40),
            made=Decimal(20),
            batches=1,
            net_once=Decimal(0),
            net_amount=Decimal(4000),
            quoted_cost=Decimal(3000),
        )
        first, _ = self.BATCHES
        cost = BorneCost(taken=Decimal("1600.10"), once=Decimal(0), brought=Decimal(0), is_otherwise=True)
        sold = earned_by_batch(order, Decimal(20), cost, "EUR")
        one = period_review(self.PERIOD, "EUR", [replace(first, earned=sold)], [], []).products[0]

        view = product_view(one, date(2026, 12, 1), seller="Kiln Lane", locale="de_DE")

        assert view.answer[1] == (
            "Ein Los wurde für ein Angebot gefertigt: Es bringt 2.000,00 EUR und kostete 1.600,10, mit Werkzeugen und "
            "beigestelltem Material wie angeboten, das lässt 399,90; nach dem Angebot wären es 500,00"
        )
        assert [each.figure for each in view.facts[-3:]] == ["1", "399,90\xa0€", "500,00\xa0€"]
