"""Workings: computing a formula from the figures written in it gives the figure that is shown."""

from dataclasses import fields, replace
from decimal import ROUND_HALF_UP, Decimal, localcontext

import pytest
from hypothesis import given

from service.domain.costing.cost_statement import CostStatement, cost_statement
from service.domain.costing.rate_card import unit_rates
from service.domain.costing.rates import MaterialRate
from service.domain.currency.exchange_rates import DayRates
from service.domain.explaining.cost_workings import CostWorkings, cost_workings
from service.domain.explaining.formulas import formula
from service.domain.explaining.traced_facts import traced_conversion, with_traced_figures
from service.domain.explaining.workbook import Workbook, Working
from service.domain.making.explosion import bill_of_resources
from service.domain.making.learning import LearningCurve, LearningModel
from service.domain.values.errors import TooComplexError
from service.domain.values.money import Money
from service.domain.values.traced import Traced
from tests.domain.examples import TODAY, Shop, a_line, a_product, a_shop, an_operation, an_overhead, euros
from tests.domain.explaining.calculator import calculated
from tests.domain.strategies import batches, shops, tried


def statement_of(shop: Shop, quantity: int) -> CostStatement:
    return cost_statement(shop.sheet(quantity), rates_valid_from={})


def workings_of(shop: Shop, quantity: int) -> CostWorkings:
    convert = traced_conversion(shop.exchange.day_for, shop.currency)
    return cost_workings(statement_of(shop, quantity), shop.catalogue, shop.card, shop.pools, convert)


def all_of(workings: CostWorkings) -> list[Working]:
    return [each for section in workings.sections for each in section.workings]


def decimals_of(figure: Decimal) -> int:
    return max(-int(figure.as_tuple().exponent), 0)


def rounded(figure: Decimal, decimals: int) -> Decimal:
    with localcontext(prec=60):
        return figure.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)


class TestAPocketCalculatorFindsTheFigureThatIsShown:
    @tried
    @given(shops(("EUR", "USD", "JPY")), batches)
    def test_from_the_figures_written_in_every_formula(self, shop: Shop, quantity: int) -> None:
        for each in all_of(workings_of(shop, quantity)):
            assert rounded(calculated(each.with_figures), decimals_of(each.result)) == each.result, each

    @tried
    @given(shops(("JPY", "EUR")), batches)
    def test_formulas_contain_no_internal_names_or_placeholders(self, shop: Shop, quantity: int) -> None:
        workings = all_of(workings_of(shop, quantity))

        assert not [each.formula for each in workings if "_" in each.formula]
        assert not [each.with_figures for each in workings if "{" in each.with_figures]


class TestWorkingsMatchTheCosting:
    @tried
    @given(shops(("EUR", "USD")), batches)
    def test_written_figures_give_the_same_bill_and_the_same_rates_digit_for_digit(
        self, shop: Shop, quantity: int
    ) -> None:
        rates = {resource: with_traced_figures(rate) for resource, rate in shop.card.rates.items()}
        card = replace(shop.card, rates=rates)
        convert = traced_conversion(shop.exchange.day_for, shop.currency)

        assert bill_of_resources(shop.top, Traced(quantity), with_traced_figures(shop.catalogue)) == shop.bill(quantity)
        assert unit_rates(card, card.rates, shop.pools, convert) == shop.unit_rates()

    @tried
    @given(shops(("KWD",)), batches)
    def test_the_figure_on_the_sheet_is_the_result_rounded_or_one_unit_off_as_stated(
        self, shop: Shop, quantity: int
    ) -> None:
        for each in all_of(workings_of(shop, quantity)):
            if each.on_sheet is not None:
                beside = each.adjusted_by or Decimal(0)
                places = decimals_of(each.on_sheet)
                assert each.on_sheet - beside == rounded(each.result, places)
                assert beside in (0, Decimal(1).scaleb(-places), -Decimal(1).scaleb(-places))

    @tried
    @given(shops(), batches)
    def test_the_sums_are_the_sheets(self, shop: Shop, quantity: int) -> None:
        statement = statement_of(shop, quantity)
        sums = {
            **statement.cost_classes,
            **{each.name: getattr(statement.subtotals, each.name) for each in fields(statement.subtotals)},
        }
        sections = {section.title: section.workings for section in workings_of(shop, quantity).sections}

        for each in sections.get("Sums of the batch", ()):
            assert each.result == sums[each.name.replace(" ", "_")].per_batch.amount
        for each in sections.get("Sums of a piece", ()):
            assert each.result == sums[each.name.replace(" ", "_")].per_piece.amount


class TestAWorkingReads:
    def test_as_the_costing_computes(self) -> None:
        product = a_product(operations=[an_operation(yield_share="0.95", pieces_per_cycle=4)])
        found = {each.name: each for each in all_of(workings_of(a_shop(product), 250))}

        assert found["cycles"].formula == "⌈{good pieces in the batch} ÷ {pieces a cycle}⌉ ÷ {yield}"
        assert found["cycles"].with_figures == "⌈250 ÷ 4⌉ ÷ 0.95"
        assert found["machine minutes"].formula == "{setup minutes} + {run minutes}"

    def test_no_band_that_no_operation_draws_from(self) -> None:
        product = a_product(operations=[an_operation(band_shares={"day": "1"})])
        told = {each.of for each in all_of(workings_of(a_shop(product), 10))}

        assert "Grid, day" in told
        assert "Grid, night" not in told

    def test_terms_of_the_same_form_are_written_once_after_a_sum_sign(self) -> None:
        operations = [an_operation(name=name, yield_share="1") for name in ("pressing", "flattening")]
        workings = workings_of(a_shop(a_product(operations=operations)), 10)
        (batch,) = (section for section in workings.sections if section.title == "Quantities of the batch")
        found = {each.of: each for each in batch.workings}

        assert found["Sheet press"].formula == "(Σ {machine minutes}) ÷ 60"
        assert found["Sheet press"].with_figures == "(420 + 420) ÷ 60"
        assert found["Grid, day"].formula == "Σ ({electricity in kWh} × {share of the band})"

    def test_the_quantity_of_what_is_not_counted_in_pieces_and_its_throughput(self) -> None:
        """A sheet of 3 kg of flakes; flakes are shredded at 20 kg an hour."""
        line = a_line(process_loss_share="0.1", reclaim_share="0.25")
        shredding = an_operation(name="shredding", cycle_minutes="0", units_per_hour="20", yield_share="0.8")
        flakes = a_product(name="Flakes", unit="kg", bill_of_materials=[line], operations=[shredding])
        whole = a_product(bill_of_materials=[a_line(product="part-1", quantity_per_piece="3")], operations=[])
        waste = {"materials/hdpe": MaterialRate(price=euros("-0.1"), disposal_cost=euros("0.2"))}
        found = {(each.of, each.name): each for each in all_of(workings_of(a_shop(whole, flakes, terms=waste), 10))}

        assert found["Flakes", "issued"].formula == "{quantity a piece} × {good pieces in the batch}"
        assert found["shredding", "quantity started"].formula == "{issued} ÷ {yield}"
        assert found["shredding", "run minutes"].formula == "{quantity started} ÷ {throughput an hour} × 60"
        assert found["HDPE flakes", "in the good quantity"].formula == "{quantity per kg} × {issued}"
        disposed = found["HDPE flakes, disposal of waste", "amount"]
        assert (disposed.formula, disposed.result > 0) == ("{quantity} × {disposal cost}", True)

    def test_orders_and_setups_and_the_sums_of_a_kilogram(self) -> None:
        flakes = a_product(unit="kg", bill_of_materials=[a_line()], operations=[an_operation(pieces_per_cycle="2.5")])
        shop = a_shop(flakes, overheads={"desk": an_overhead("order", name="Desk"), "fit": an_overhead("setup")})
        workings = workings_of(shop, 10)
        found = {(each.of, each.name): each.formula for each in all_of(workings)}

        assert found["Desk", "amount"] == "{orders} × {overhead}"
        assert "{setups} × {overhead}" in found.values()
        assert found["pressing", "cycles"] == "⌈{quantity of the batch} ÷ {quantity a cycle}⌉ ÷ {yield}"
        assert found["Desk", "amount per kg"] == "{amount} ÷ {quantity of the batch}"
        assert [each.title for each in workings.sections][-3:] == ["Cost per kg", "Sums of the batch", "Sums per kg"]

    def test_materials_of_a_sub_assembly_beside_the_pieces_issued_of_it(self) -> None:
        part = a_product(name="Panel")
        whole = a_product(name="Bench", bill_of_materials=[a_line(product="part-1", quantity_per_piece="3")])
        found = {(each.of, each.name): each for each in all_of(workings_of(a_shop(whole, part), 10))}

        assert found["Panel", "issued"].unit == "piece"
        assert found["HDPE flakes", "issued"].unit == "kg"
        assert found["Panel", "in good pieces"].result == 30

    def test_the_learning_curve_in_the_signs_of_a_calculator(self) -> None:
        curve = LearningCurve(rate_share=Decimal("0.9"), pieces_before=Decimal(3))
        found = {each.name: each for each in all_of(workings_of(a_shop(replace(a_product(), learning_curve=curve)), 9))}

        assert found["learning exponent"].with_figures == "ln(0.9) ÷ ln(2)"
        assert found["learning factor"].with_figures.startswith("((3 + 9) ^ (1 + (−0.152003")

    def test_the_learning_curve_of_the_unit_as_a_sum_over_its_pieces(self) -> None:
        curve = LearningCurve(rate_share=Decimal("0.9"), pieces_before=Decimal(3), model=LearningModel.UNIT)
        found = {each.name: each for each in all_of(workings_of(a_shop(replace(a_product(), learning_curve=curve)), 9))}

        told = found["learning factor"].with_figures
        assert told.startswith("(Σ(i ^ (−0.152003")
        assert told.endswith(")), i from 3 + 1 to 3 + 9) ÷ 9")
        exponent = found["learning exponent"].result
        by_hand = sum((Decimal(piece) ** exponent for piece in range(4, 13)), Decimal(0)) / 9
        assert abs(by_hand - found["learning factor"].result) < Decimal("1E-6")

    def test_an_exchange_rate_by_its_currencies(self) -> None:
        rate = MaterialRate(price=Money(amount=Decimal("0.90"), currency="USD"))
        day = DayRates(source="manual", base="EUR", published_on=TODAY, rates={"USD": Decimal("1.08")})
        shop = replace(a_shop(terms={"materials/hdpe": rate}), days=(day,))
        found = {each.of: each for each in all_of(workings_of(shop, 10)) if each.name == "price"}

        assert found["HDPE flakes"].formula == "{price} ÷ {USD for 1 EUR}"
        assert found["HDPE flakes"].with_figures == "0.90 ÷ 1.08"

    def test_each_rate_says_since_when_it_is_valid(self) -> None:
        sections = workings_of(a_shop(), 10).sections

        assert {section.valid_from for section in sections if section.title == "Rate"} == {TODAY}
        assert {section.valid_from for section in sections if section.title != "Rate"} == {None}

    def test_too_many_workings_are_refused(self) -> None:
        lines = [a_line() for _ in range(1000)]
        part = a_product(bill_of_materials=lines, operations=[])
        whole = a_product(bill_of_materials=[*lines[1:], a_line(product="part-1")], operations=[])

        with pytest.raises(TooComplexError, match="2000"):
            workings_of(a_shop(whole, part), 1)


class TestTracedFigures:
    def test_omit_adding_0_and_multiplying_by_a_plain_1(self) -> None:
        figure = Traced(3, label="three")

        assert figure + 0 is figure
        assert 0 + figure is figure
        assert figure - 0 is figure
        assert figure * 1 is figure
        assert 1 * figure is figure
        assert figure / 1 is figure

    def test_subtracting_a_traced_0_from_a_plain_1_gives_a_plain_1(self) -> None:
        assert not isinstance(1 - Traced(0, label="loss"), Traced)

    def test_a_negative_figure_stands_in_parentheses_but_at_the_beginning(self) -> None:
        less, more = Traced(-3, label="less"), Traced(5, label="more")

        for reckoning, text in (
            (more + less, "5 + (−3)"),
            (less + more, "−3 + 5"),
            (more - (less + more), "5 − (−3 + 5)"),
            (-(less * more), "−(−3) × 5"),
            (-more + less, "−5 + (−3)"),
            (more + (less + more), "5 + (−3 + 5)"),
            (more / (more * less), "5 ÷ (5 × (−3))"),
            (2 / more, "2 ÷ 5"),
            (2 * more, "2 × 5"),
        ):
            assert isinstance(reckoning, Traced)
            assert formula(reckoning, lambda each: None if each.operator else Decimal(each)) == text
            assert rounded(calculated(text), 20) == rounded(reckoning, 20)

    def test_a_result_halfway_between_two_figures_is_shown_with_all_its_digits(self) -> None:
        book = Workbook()
        book.section("Halves")
        third = Traced(1, label="one") / Traced(3, label="three")
        book.note(third, "third", "")
        book.note(third * Traced(Decimal("0.375"), label="part"), "half", "", on_sheet=Decimal("0.13"))
        (section,) = book.sections()

        assert section.workings[1].with_figures == "0.333333 × 0.375"
        assert section.workings[1].result == Decimal("0.125")

    def test_a_figure_noted_before_its_parts_still_follows_from_them_however_different_in_size(self) -> None:
        book = Workbook()
        book.section("Sevenths")
        seven = Traced(7, label="seven")
        large, small = Traced(1_000_000, label="million") / seven, Traced(1, label="one") / seven
        book.note(large * small, "product", "")
        book.note(large, "large", "", on_sheet=Decimal("142857.142857"))
        book.note(small, "small", "")

        (section,) = book.sections()

        assert [each.name for each in section.workings] == ["product", "large", "small"]
        for each in section.workings:
            assert rounded(calculated(each.with_figures), decimals_of(each.result)) == each.result

    def test_a_large_figure_is_written_as_it_is(self) -> None:
        book = Workbook()
        book.section("Large")
        book.note(Traced(80_000_000_001, label="eighths") / 8, "eighth", "", on_sheet=Decimal("10000000000.13"))
        (section,) = book.sections()

        assert section.workings[0].result == Decimal("10000000000.125")
