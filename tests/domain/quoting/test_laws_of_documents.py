"""Laws of documents: totals, quotations, and what is stored with them."""

import json
from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.currency.exchange_rates import DayRates
from service.domain.quoting.basis import EDITION, QuotationBasis
from service.domain.quoting.document_totals import DocumentAdjustment, DocumentLine, document_totals
from service.domain.quoting.figures import quotation_figures
from service.domain.quoting.quotation import QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.register import COLLECTIONS
from service.domain.safety.cautions import Caution, Concern
from service.domain.selling.taxes import Tax, TaxCategory, TaxRate
from service.domain.values.errors import InvalidValuesError
from service.domain.values.message import PlausibilityWarning
from service.encoding import decoded, encoded, from_text, to_text
from service.store.registering import registrations  # noqa: F401 - teaches the encoding which terms a dated rate has
from tests.domain.declared_values import any_of
from tests.domain.examples import TODAY, Shop
from tests.domain.strategies import (
    CURRENCIES,
    document_adjustments,
    document_lines,
    figures,
    quotation_requests,
    shops,
    tried,
)
from tests.support.profiles import examples

Document = tuple[str, list[DocumentLine], list[DocumentAdjustment], list[DocumentAdjustment]]


@st.composite
def documents(draw: st.DrawFn) -> Document:
    """A currency, lines, and allowances and charges on the whole document."""
    currency = draw(st.sampled_from(list(CURRENCIES)))
    decimals = CURRENCIES[currency]
    lines = draw(st.lists(document_lines(decimals), min_size=1, max_size=5))
    return currency, lines, draw(document_adjustments(decimals)), draw(document_adjustments(decimals))


def rounded_half_up(exact: Fraction, decimals: int) -> Decimal:
    """Rounds the exact fraction half up, away from 0."""
    units = (abs(exact) * 10**decimals + Fraction(1, 2)).__floor__()
    return Decimal(units if exact >= 0 else -units).scaleb(-decimals)


class TestTotals:
    """EN 16931-1:2017, business rules BR-CO-10 to BR-CO-17."""

    @given(documents(), figures("0", "90", 2))
    def test_are_what_the_rules_say(self, document: Document, prepaid: Decimal) -> None:
        currency, lines, allowances, charges = document
        minor = CURRENCIES[currency]

        totals = document_totals(lines, currency=currency, allowances=allowances, charges=charges, prepaid=prepaid)

        for line, net in zip(lines, totals.line_nets, strict=True):
            gross = Fraction(line.net_price) * Fraction(line.quantity) / Fraction(line.base_quantity)
            assert net == rounded_half_up(gross, minor) - sum(line.allowances) + sum(line.charges)
        assert totals.line_total == sum(totals.line_nets)  # BR-CO-10
        assert totals.allowance_total == sum(each.amount for each in allowances)  # BR-CO-11
        assert totals.charge_total == sum(each.amount for each in charges)  # BR-CO-12
        assert totals.tax_exclusive == totals.line_total - totals.allowance_total + totals.charge_total  # BR-CO-13
        assert totals.tax_total == sum(each.tax_amount for each in totals.tax_subtotals)  # BR-CO-14
        assert totals.tax_inclusive == totals.tax_exclusive + totals.tax_total  # BR-CO-15
        assert totals.payable == totals.tax_inclusive - prepaid  # BR-CO-16
        for subtotal in totals.tax_subtotals:  # BR-CO-17
            exact = Fraction(subtotal.taxable_amount) * Fraction(subtotal.tax.rate_share)
            assert subtotal.tax_amount == rounded_half_up(exact, minor)

    @given(documents())
    def test_take_the_taxes_out_of_the_sum_where_it_contains_them(self, document: Document) -> None:
        currency, lines, allowances, charges = document

        totals = document_totals(lines, currency=currency, allowances=allowances, charges=charges, contains_tax=True)

        assert totals.tax_inclusive == totals.line_total - totals.allowance_total + totals.charge_total
        assert totals.tax_inclusive == totals.tax_exclusive + totals.tax_total  # BR-CO-15
        for each in totals.tax_subtotals:
            rate, contained = Fraction(each.tax.rate_share), Fraction(each.taxable_amount + each.tax_amount)
            assert each.tax_amount == rounded_half_up(contained * rate / (1 + rate), CURRENCIES[currency])

    @given(documents())
    def test_tax_every_line_allowance_and_charge_once_under_its_own_category_and_rate(self, document: Document) -> None:
        currency, lines, allowances, charges = document

        totals = document_totals(lines, currency=currency, allowances=allowances, charges=charges)

        assert len({each.tax for each in totals.tax_subtotals}) == len(totals.tax_subtotals)
        assert sum(each.taxable_amount for each in totals.tax_subtotals) == totals.tax_exclusive
        for subtotal in totals.tax_subtotals:
            under = sum(net for line, net in zip(lines, totals.line_nets, strict=True) if line.tax == subtotal.tax)
            under -= sum(each.amount for each in allowances if each.tax == subtotal.tax)
            under += sum(each.amount for each in charges if each.tax == subtotal.tax)
            assert subtotal.taxable_amount == under

    @given(documents())
    def test_never_carry_more_digits_than_the_minor_unit(self, document: Document) -> None:
        currency, lines, allowances, charges = document

        totals = document_totals(lines, currency=currency, allowances=allowances, charges=charges)

        unit = Decimal(1).scaleb(-CURRENCIES[currency])
        for amount in (totals.payable, totals.tax_total, *totals.line_nets):
            assert amount == amount.quantize(unit, ROUND_HALF_UP)


TAXES = {
    "vat": (Tax(name="VAT 21 %"), TaxRate(rate_share=Decimal("0.21"))),
    "reduced": (Tax(name="VAT 5.5 %"), TaxRate(rate_share=Decimal("0.055"))),
}


def basis_of(shop: Shop, request: QuotationRequest, edition: int) -> QuotationBasis:
    """What a quotation of this workshop is computed from."""
    rates = {
        f"taxes/{code}": DatedRate(resource=f"taxes/{code}", valid_from=TODAY, terms=rate)
        for code, (_, rate) in TAXES.items()
    }
    batches = dict.fromkeys((line.product, quantity) for line in request.lines for quantity in line.quantities)
    return QuotationBasis(
        as_of=TODAY,
        currency=shop.currency,
        card=RateCard(as_of=TODAY, currency=shop.currency, rates={**shop.card.rates, **rates}),
        exchange=shop.exchange,
        pools=shop.pools,
        taxes={code: tax for code, (tax, _) in TAXES.items()},
        bills=tuple(shop.bill(quantity, code) for code, quantity in batches),
        edition=edition,
    )


@st.composite
def quotations(draw: st.DrawFn) -> tuple[QuotationRequest, QuotationBasis]:
    currency = draw(st.sampled_from(list(CURRENCIES)))
    foreign = "JPY" if currency == "EUR" else "EUR"
    shop = draw(shops((currency, foreign)))
    request = draw(quotation_requests(list(shop.catalogue.products), CURRENCIES[currency]))
    return request, basis_of(shop, request, draw(st.integers(1, EDITION)))


def figures_of(request: QuotationRequest, basis: QuotationBasis) -> QuotationFigures | str:
    """The figures, or the error's text if the allowances take off more than there is."""
    try:
        return quotation_figures(request, basis)
    except InvalidValuesError as error:
        if "take off more than" not in str(error):
            raise
        return str(error)


class TestAQuotation:
    @tried
    @given(quotations())
    def test_recomputed_from_what_was_stored_with_it_is_equal_to_the_last_digit(
        self, quotation: tuple[QuotationRequest, QuotationBasis]
    ) -> None:
        request, basis = quotation

        again = figures_of(from_text(to_text(request), QuotationRequest), from_text(to_text(basis), QuotationBasis))

        assert again == figures_of(request, basis)

    @tried
    @given(quotations())
    def test_its_basis_and_its_figures_are_read_back_as_they_were_written(
        self, quotation: tuple[QuotationRequest, QuotationBasis]
    ) -> None:
        request, basis = quotation
        found = figures_of(request, basis)

        assert from_text(to_text(request), QuotationRequest) == request
        assert from_text(to_text(basis), QuotationBasis) == basis
        if not isinstance(found, str):
            assert from_text(to_text(found), QuotationFigures) == found

    @tried
    @given(quotations())
    def test_states_every_amount_at_the_minor_unit_and_adds_up(
        self, quotation: tuple[QuotationRequest, QuotationBasis]
    ) -> None:
        request, basis = quotation
        found = figures_of(request, basis)
        if isinstance(found, str):
            return

        minor, totals = CURRENCIES[basis.currency], found.totals
        for line, asked in zip(found.lines, request.lines, strict=True):
            quoted = line.quoted
            taken_off = sum(each.amount.amount for each in quoted.allowances)
            added = sum(each.amount.amount for each in quoted.charges)
            gross = rounded_half_up(Fraction(quoted.unit_price.amount) * asked.quantity / asked.base_quantity, minor)
            assert quoted.net_amount.amount == gross - taken_off + added
            assert -quoted.unit_price.amount.as_tuple().exponent == minor
            assert -quoted.net_amount.amount.as_tuple().exponent == minor
            assert -quoted.unit_full_cost.amount.as_tuple().exponent == minor + 4
        assert totals.line_total.amount == sum(line.quoted.net_amount.amount for line in found.lines)
        assert totals.payable == totals.tax_inclusive == totals.tax_exclusive + totals.tax_total
        assert -totals.payable.amount.as_tuple().exponent == minor
        assert found.kept.profit + found.kept.full_cost == totals.tax_exclusive
        assert found.kept.contribution + found.kept.variable_cost == totals.tax_exclusive


STORED = [
    *(collection.facts for collection in COLLECTIONS.values()),
    *(collection.terms for collection in COLLECTIONS.values() if collection.terms is not None),
    DayRates,
    QuotationRequest,
]


class TestEncoding:
    @examples(30, *HealthCheck)
    @pytest.mark.parametrize("declared_class", STORED, ids=lambda each: each.__name__)
    @given(data=st.data())
    def test_decodes_to_whatever_was_encoded(self, declared_class: type[Any], data: st.DataObject) -> None:
        value = data.draw(any_of(declared_class))

        text = json.dumps(encoded(value))

        assert decoded(json.loads(text), declared_class) == value
        assert from_text(to_text(value), declared_class) == value

    @given(st.dates(), st.sampled_from([name for name, each in COLLECTIONS.items() if each.terms]), st.data())
    @examples(30, *HealthCheck)
    def test_knows_the_terms_of_a_dated_rate_by_its_resource(
        self, valid_from: date, collection: str, data: st.DataObject
    ) -> None:
        terms = data.draw(any_of(COLLECTIONS[collection].terms))
        rate = DatedRate(resource=f"{collection}/x", valid_from=valid_from, terms=terms)

        assert from_text(to_text(rate), DatedRate) == rate

    @given(st.lists(st.text(max_size=9), min_size=4, max_size=4), st.sampled_from(Concern))
    def test_gives_back_warnings_and_cautions(self, texts: list[str], concern: Concern) -> None:
        code, product, text, source = texts
        remarks = Remarks(
            warnings=(PlausibilityWarning(code=code, product=product, text=text, source=source),),
            cautions=(replace(a_caution(concern), text=text),),
        )

        assert from_text(to_text(remarks), Remarks) == remarks

    @given(st.sampled_from(TaxCategory))
    def test_keeps_every_tax_category(self, category: TaxCategory) -> None:
        tax = Tax(name="tax", category=category, exemption_reason="as the law says")

        assert from_text(to_text(tax), Tax) == tax


def a_caution(concern: Concern) -> Caution:
    return Caution(code="hot-work", concerns=concern, text="hot", source="a handbook")
