"""A quotation on paper: its contents and its languages; no name and no number of lines breaks its layout."""

import io
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from defusedxml import ElementTree
from pypdf import PdfReader

from service.documents.quoting.quotation_page import quotation_page, quotation_pdf
from service.documents.quoting.quotation_paper import QuotationPaper, QuotationView
from service.documents.quoting.quotation_text import quotation_text
from service.documents.quoting.quotation_ubl import quotation_ubl
from service.documents.quoting.quotation_view import quotation_view
from service.domain.costing.rate_card import DatedRate
from service.domain.currency.exchange_rates import DayRates, ExchangeRates
from service.domain.quoting.figures import quotation_figures
from service.domain.quoting.life import Status
from service.domain.quoting.quotation import Acceptance, QuotationFigures, Remarks, SuppliedMaterial
from service.domain.safety.cautions import DeclaredUse
from service.domain.safety.hazards import cautions
from service.domain.scheduling.lead_time import LeadTime
from service.domain.selling.letterhead import letterhead_of
from service.domain.selling.seller import Seller
from service.domain.selling.taxes import Tax, TaxCategory, TaxRate
from service.domain.values.units import Unit
from service.encoding import decoded
from tests.domain.examples import TODAY, D, a_request, euros
from tests.domain.quoting.test_items import a_service
from tests.domain.quoting.test_quoted_batches import SHIPMENT, a_sheet_line, the_basis
from tests.support import builders

READY = LeadTime(
    starting_on=TODAY,
    is_rush=False,
    ready_on=date(2026, 12, 9),
    bottleneck="machines/press",
    bottleneck_name="Press",
    reason="",
    loads=(),
)
LONG = "Garden" * 33
HEBREW, ARABIC = "לבנה לגן", "طوب للحديقة"
FULL = {
    "customer": {
        "name": "Harbour Garden Trust",
        "address": "Pier 4\nPort Quillan",
        "contact": "The treasurer",
        "email": "treasurer@garden.example",
        "tax_number": "XX 123",
        "reference": "Beds 14 to 20",
    },
    "delivery": "To the gate.",
    "note": "Green as agreed.",
    "payment": {"due_days": 30, "advance_share": "0.3", "note": "By transfer."},
    "allowances": [{"reason": "community project", "tax": "vat", "amount": "5"}],
    "rush_charge": {"share": "0.1", "tax": "vat"},
    "minimum_order": {"amount": "9000", "tax": "vat"},
    "shipping": {"service": "post", "zone": "home", "tax": "vat"},
}
LINES = [
    a_sheet_line(
        policy=builders.policy("fixed_price", "3.17"),
        quantity_breaks=[1000, 50],
        tooling="charged_once",
        supplied_materials=["hdpe"],
        allowances=[{"reason": "regular customer", "share": "0.025"}],
        description="Sheet, green",
    ),
    a_sheet_line(quantity=1),
]


CONSUMER = {"allowances": [], "rush_charge": None, "minimum_order": None, "shipping": None}
"""What a small quotation has none of."""


def a_paper(lines: Any = None, status: Status = Status.ISSUED, locale: str = "en_IE", **changes: Any) -> QuotationPaper:
    request = a_request(**{**FULL, "lines": LINES if lines is None else lines, **changes})
    told = cautions((), [DeclaredUse.OUTDOOR], D(27))
    figures = quotation_figures(request, the_basis(request, shipment=SHIPMENT))
    return QuotationPaper(
        letterhead=letterhead_of(decoded(builders.seller(), Seller), locale, None),
        logo=builders.LOGO,
        reference="Q000042",
        status=status,
        quoted_on=TODAY,
        issued_on=None if status is Status.DRAFT else TODAY,
        valid_until=date(2026, 12, 25),
        acceptance=accepted(figures, *(line.quoted.quantity for line in figures.lines)),
        superseded_by="Q000043",
        request=request,
        figures=figures,
        remarks=Remarks(warnings=(), cautions=told, lead_time=READY),
    )


def accepted(figures: QuotationFigures, *quantities: Decimal) -> Acceptance:
    """These quantities, for twice the total."""
    payable = figures.totals.payable
    totals = replace(figures.totals, payable=replace(payable, amount=payable.amount * 2))
    return Acceptance(
        accepted_on=date(2026, 12, 1), quantities=quantities, reference="", note="", totals=totals, kept=figures.kept
    )


def under_two_taxes(category: TaxCategory = TaxCategory.EXPORT) -> QuotationPaper:
    """A quotation with everything that can be taxed, and a line and a charge under a second category without tax."""
    export = DatedRate(resource="taxes/export", valid_from=TODAY, terms=TaxRate(rate_share=D(0)))
    lines = [*LINES, a_sheet_line(quantity=3, tax="export", description="Sheet for abroad")]
    crate = {"reason": "crate for the ship", "tax": "export", "amount": "12"}
    request = a_request(**{**FULL, "lines": lines, "charges": [crate]})
    basis = the_basis(request, shipment=SHIPMENT)
    free = Tax(name="Export", category=category, exemption_reason="Leaves the country")
    basis = replace(
        basis,
        taxes={**basis.taxes, "export": free},
        card=replace(basis.card, rates={**basis.card.rates, "taxes/export": export}),
    )
    return replace(a_paper(), request=request, figures=quotation_figures(request, basis))


def paid_in_cash(price: str) -> QuotationPaper:
    """One sheet at this price in francs, and 21 % of tax."""
    request = a_request(
        lines=[a_sheet_line(quantity=1, policy=builders.policy("fixed_price", price))], currency="CHF", cash=True
    )
    francs = DayRates(source="manual", base="EUR", published_on=TODAY, rates={"CHF": D(1)})
    basis = the_basis(request, exchange=ExchangeRates(as_of=TODAY, days=(francs,)))
    return replace(a_paper(), request=request, figures=quotation_figures(request, basis))


def text_of(element: Element, path: str) -> str:
    found = element.find(path)
    assert found is not None, path
    return found.text or ""


def reader(view: QuotationView) -> PdfReader:
    return PdfReader(io.BytesIO(quotation_pdf(view)))


def pdf_text(view: QuotationView) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader(view).pages).split())


def visible(page: str) -> str:
    body = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", body).replace("&amp;", "&").split())


def in_all_forms(paper: QuotationPaper) -> dict[str, str]:
    """The customer's text in each form, with single spaces."""
    view = quotation_view(paper)
    return {
        "text": " ".join(quotation_text(view).split()),
        "page": visible(quotation_page(view)),
        "pdf": pdf_text(view),
        "xml": " ".join(quotation_ubl(paper, view).decode().split()),
    }


class TestEveryForm:
    @pytest.mark.parametrize(
        "told",
        [
            *("Q000042", "Kiln Lane Workshop", "Marrow Bay", "Harbour Garden Trust", "Port Quillan", "The treasurer"),
            *("treasurer@garden.example", "XX 123", "Beds 14 to 20", "Sheet, green", "regular customer"),
            *("community project", "To the gate.", "Green as agreed.", "By transfer.", "VAT 21 %", "Mould"),
            *("The yard", "+43 1 555 01", "desk@kiln.example", "https://kiln.example", "PLNKIE2D"),
            *("The order desk", "12 345/6789", "Goods stay ours until they are paid for."),
            "If ordered on 25 November 2026, it can be ready on 9 December 2026.",
            "30% of the total with the order: €3,392.23. Balance: €7,915.21.",
            "Payable within 30 days of the invoice.",
            "1 parcel by Parcel post, 5.6 kg with its packaging.",
            "Outdoors: sunlight ages plastic",
            "One piece weighs 27 kg, too heavy for one person.",
            "A price never implies that a product is fit for a use (outdoor, any other).",
        ],
    )
    def test_contains(self, told: str) -> None:
        for form, text in in_all_forms(a_paper()).items():
            assert told in text, form

    def test_for_a_consumer_has_prices_with_tax_and_the_tax_in_the_total(self) -> None:
        line = a_sheet_line(policy=builders.policy("fixed_price", "0.39"))
        paper = a_paper([line], **{**CONSUMER, "display": "tax_inclusive"})

        view = quotation_view(paper)
        forms = {"text": quotation_text(view), "page": visible(quotation_page(view)), "pdf": pdf_text(view)}

        for form, text in forms.items():
            told = " ".join(text.split())
            assert "All prices in EUR, with tax." in told, form
            assert "Included in €39.00: VAT 21 %, 21%" in told, form
            assert "without tax" not in told, form
            assert "21% of" not in told, form  # of what the rounded tax leaves, it may be another cent
            assert told.index("€39.00") < told.index("€6.77"), form

    @pytest.mark.parametrize(
        ("locale", "quantity"), [("en_IE", "2.5 hrs"), ("de_DE", "2,5 Std."), ("fr_FR", "2,5 h"), ("ja_JP", "2.5 時間")]
    )
    def test_tells_the_unit_of_what_is_no_product(self, locale: str, quantity: str) -> None:
        paper = a_paper([a_service(quantity_breaks=["10"]), a_sheet_line()], locale=locale)

        view, forms = quotation_view(paper), in_all_forms(paper)

        service, sheet = view.lines
        assert (" ".join(service.quoted.quantity.split()), service.code, sheet.code) == (quantity, "", "sheet")
        assert "Pieces" not in view.columns
        assert "Price a piece" not in view.columns
        assert " ".join(quantity.split()) in forms["page"]
        assert '<cbc:Quantity unitCode="HUR">2.5</cbc:Quantity>' in forms["xml"]
        assert forms["xml"].count("SellersItemIdentification") == 2  # of the sheet alone, opened and closed
        assert "()" not in forms["text"]

    @pytest.mark.parametrize(
        ("locale", "price", "per_100", "saving", "note"),
        [
            ("en_IE", "€1.06/kg", "€105.00 per 100 kg", "You save per kg: 0.9%", "You supply: X, 40 kg of 152.8 kg"),
            ("de_DE", "1,06 €/kg", "105,00 € je 100 kg", "Ersparnis je kg: 0,9 %", "X, 40 kg von 152,8 kg"),
            ("fr_FR", "1,06 €/kg", "105,00 € les 100 kg", "Vous économisez par kg : 0,9 %", "X, 40 kg sur 152,8 kg"),
            ("es_ES", "1,06 €/kg", "105,00 € por 100 kg", "Usted ahorra por kg: 0,9 %", "X, 40 kg de 152,8 kg"),
            ("nl_NL", "€ 1,06/kg", "€ 105,00 per 100 kg", "U bespaart per kg: 0,9%", "X, 40 kg van 152,8 kg"),
            ("pt_PT", "1,06 €/kg", "105,00 € por 100 kg", "Poupa por kg: 0,9%", "X, 40 kg de 152,8 kg"),
        ],
    )
    def test_tells_the_unit_of_a_product_that_is_not_counted(
        self, locale: str, price: str, per_100: str, saving: str, note: str
    ) -> None:
        paper = a_paper([a_sheet_line()], locale=locale, **CONSUMER)
        (line,) = paper.figures.lines
        quoted = replace(line.quoted, quantity=D("137.5"), unit_price=euros("1.06"))
        more = replace(quoted, unit_price=euros("105"), base_quantity=100, saving_share=D("0.00943"))
        brought = SuppliedMaterial(material="x", name="X", quantity=D(40), unit="kg", needed=D("152.8"))
        line = replace(line, unit=Unit.KILOGRAM, quoted=quoted, quantity_breaks=(more,), supplied=(brought,))

        view = quotation_view(replace(paper, figures=replace(paper.figures, lines=(line,))))

        (shown,) = view.lines
        (other,) = shown.others
        found = (shown.quoted.unit_price, other.unit_price, other.saving, shown.notes[0])
        assert [each.replace("\xa0", " ").replace("\u202f", " ") for each in found[:3]] == [price, per_100, saving]
        assert found[3].replace("\xa0", " ").endswith(note)
        assert "piece" not in " ".join((*view.columns, *found)).lower()
        assert shown.quoted.quantity.startswith("137")

    def test_has_the_code_of_every_unit(self) -> None:
        paper = a_paper([a_sheet_line()], **CONSUMER)
        lines = tuple(replace(paper.figures.lines[0], unit=unit) for unit in Unit)
        paper = replace(paper, figures=replace(paper.figures, lines=lines))

        xml = in_all_forms(paper)["xml"]

        found = re.findall(r'<cbc:BaseQuantity unitCode="(\w+)">', xml)
        assert found == ["H87", "KGM", "LTR", "MTR", "MTK", "MTQ", "HUR"]  # UN/ECE Recommendation No. 20

    def test_tells_what_of_a_unit_is_in_a_parcel(self) -> None:
        paper = a_paper()
        shipping = paper.figures.shipping
        assert shipping is not None
        parcels = tuple(replace(each, unit=Unit.KILOGRAM, quantity=D("12.5")) for each in shipping.parcels)
        figures = replace(paper.figures, shipping=replace(shipping, parcels=parcels))

        for form, text in in_all_forms(replace(paper, figures=figures)).items():
            assert "1 × 12.5 kg of brick: 610 × 410 × 420 mm, 5.6 kg each" in text.replace("\xa0", " "), form

    def test_tells_account_and_vat_number_for_people_in_groups_and_for_programs_without(self) -> None:
        forms = in_all_forms(a_paper())

        xml = forms.pop("xml")
        for form, text in forms.items():
            assert "Bank account of Kiln Lane: IBAN IE10 PLNK 9999 0000 0012 34" in text, form
            assert "GB 000 000 000" in text, form
        assert "IE10PLNK99990000001234" in xml
        assert "<cbc:CompanyID>GB000000000</cbc:CompanyID>" in xml

    def test_tells_the_sellers_country_only_in_a_document_for_another_one(self) -> None:
        assert "Austria" in quotation_view(a_paper()).seller_address
        assert "Österreich" not in quotation_view(a_paper(locale="de_AT")).seller_address

    def test_names_the_tax_of_each_amount_if_there_are_several(self) -> None:
        view = quotation_view(under_two_taxes())

        assert [line.notes[-1] for line in view.lines] == ["VAT 21 %, 21%"] * 2 + ["Export"]
        adjusted = {each.text: each.note for each in view.totals}
        assert adjusted["plus crate for the ship"] == "Export"
        assert adjusted["Export: €14.40"] == "Leaves the country"
        assert adjusted["Shipping"] == "VAT 21 %, 21%"
        assert "VAT 21 %, 21%" not in str(quotation_view(a_paper()))

    @pytest.mark.parametrize(
        ("locale", "category", "named", "total"),
        [
            ("en_IE", "S", "VAT 21%", "VAT 21% on €9,344.99"),
            ("de_DE", "S", "MwSt. 21 %", "MwSt. 21 % auf 9.344,99 €"),
            ("nl_NL", "Z", "Btw 0%", "Btw 0% over € 9.344,99"),
            ("es_ES", "L", "IGIC 21 %", "IGIC 21 % sobre 9.344,99 €"),
            ("es_ES", "M", "IPSI 21 %", "IPSI 21 % sobre 9.344,99 €"),
            ("de_DE", "E", "Von der Mehrwertsteuer befreit", "Von der Mehrwertsteuer befreit: 9.344,99 €"),
            ("en_IE", "AE", "VAT is due from the customer", "(reverse charge): €9,344.99"),
            ("en_IE", "K", "VAT-free supply within the EU", "VAT-free supply within the EU: €9,344.99"),
            ("fr_FR", "G", "Exportation exonérée de TVA", "Exportation exonérée de TVA : 9 344,99 €"),
            ("pt_PT", "O", "Não sujeito a IVA", "Não sujeito a IVA: 9 344,99 €"),
        ],
    )
    def test_calls_a_tax_without_a_name_by_its_category_and_rate(
        self, locale: str, category: str, named: str, total: str
    ) -> None:
        paper = a_paper(locale=locale)
        (subtotal,) = paper.figures.totals.tax_subtotals
        is_rated = category in ("S", "L", "M")
        unnamed = replace(
            subtotal,
            name="",
            category=category,
            rate_share=D("0.21") if is_rated else D(0),
            exemption_reason="" if is_rated or category == "Z" else "The law says so.",
        )
        totals = replace(paper.figures.totals, tax_subtotals=(unnamed,))
        paper = replace(paper, figures=replace(paper.figures, totals=totals))

        found = {form: text.replace("\u202f", " ").replace("\xa0", " ") for form, text in in_all_forms(paper).items()}

        assert all(total in found[form] for form in ("page", "pdf"))
        assert named in found["text"]
        assert f"<cbc:Name>{named}" in found["xml"]
        if unnamed.exemption_reason:
            assert all(unnamed.exemption_reason in text for text in found.values())
            assert not re.search(r"[^0-9]0 ?%", found["text"])

    def test_tells_every_reason_why_no_tax_is_due(self) -> None:
        paper = under_two_taxes()
        charges = tuple(
            replace(each, tax=replace(each.tax, exemption_reason="Leaves by ship"))
            if each.tax is not None and each.tax.code == "export"
            else each
            for each in paper.figures.charges
        )
        paper = replace(paper, figures=replace(paper.figures, charges=charges))

        found = in_all_forms(paper)

        assert all("Leaves the country; Leaves by ship" in text for text in found.values())

    def test_has_the_figures_of_the_quotation(self) -> None:
        paper = a_paper()
        totals, line = paper.figures.totals, paper.figures.lines[0]
        amounts = [
            totals.payable,
            totals.tax_total,
            totals.tax_exclusive,
            line.quoted.unit_price,
            line.quoted.net_amount,
        ]
        amounts += [each.net_amount for each in line.quantity_breaks]

        for form, text in in_all_forms(paper).items():
            for each in amounts:
                assert (f"{each.amount}" if form == "xml" else f"{each.amount:,}") in text, (form, each)

    def test_tells_the_price_of_the_pieces_that_it_is_for(self) -> None:
        paper = a_paper([a_sheet_line(quantity=550, base_quantity=100, quantity_breaks=[1000])])

        for form in ("text", "page", "pdf"):
            told = in_all_forms(paper)[form]
            assert told.count("€85.00 per 100") == 2, form
            assert "€467.50" in told, form  # 550 × 85 ÷ 100
            assert "a piece" not in told.replace("You save a piece", ""), form

    def test_tells_what_is_added_for_cash_before_the_total(self) -> None:
        view = quotation_view(paid_in_cash("0.03"))

        assert (view.totals[-1].text, view.totals[-1].figure) == ("Rounded for payment in cash", "CHF\xa00.01")
        assert view.total.figure == "CHF\xa00.05"
        assert "cash" not in str(quotation_view(paid_in_cash("0.04")))

    def test_does_not_show_the_workshops_costs_and_profits(self) -> None:
        paper = a_paper()
        kept, line = paper.figures.kept, paper.figures.lines[0].quoted
        secrets = {kept.full_cost, kept.profit, kept.contribution, line.kept.profit}

        for form, text in in_all_forms(paper).items():
            for each in secrets:
                for shown in (f"{each.amount:,}", f"{each.amount}"):
                    assert not re.search(rf"(?<![0-9,.]){re.escape(shown)}(?![0-9])", text), (form, shown)

    @pytest.mark.parametrize(
        ("status", "told"),
        [
            ("draft", "Draft. This is not an offer yet."),
            ("expired", "Expired: the prices held until 25 December 2026."),
            ("declined", "Declined. This offer holds no longer."),
            ("superseded", "Superseded by Q000043. This offer holds no longer."),
            ("accepted", "Accepted on 1 December 2026."),
            ("completed", "Accepted on 1 December 2026."),
        ],
    )
    def test_states_its_status_first(self, status: str, told: str) -> None:
        view = quotation_view(a_paper(status=Status(status)))

        for form, text in in_all_forms(a_paper(status=Status(status))).items():
            assert told in text, form
        assert view.is_binding is (status in ("accepted", "completed"))
        assert visible(quotation_page(view)).index(told) < visible(quotation_page(view)).index("Kiln Lane Workshop")

    def test_says_which_other_quantities_were_accepted_and_their_total(self) -> None:
        quoted = a_paper(status=Status.ACCEPTED)
        paper = replace(quoted, acceptance=accepted(quoted.figures, D(1000), D(1)))
        total = quoted.figures.totals.payable.amount

        for form, text in in_all_forms(paper).items():
            told = " ".join(text.split())
            assert "with other quantities than those in the total below: 1. Sheet, green: 1,000" in told, form
            assert f"The total accepted is €{total * 2:,}." in told, form
            assert form == "xml" or f"€{total:,}" in told, form

    def test_of_an_issued_quotation_does_not_mention_its_status(self) -> None:
        view = quotation_view(a_paper())

        assert (view.state, view.is_binding) == ("", True)
        assert 'role="status"' not in quotation_page(view)

    def test_of_a_revision_says_what_it_replaces(self) -> None:
        paper = replace(a_paper(), revision=2, revises="Q000041")

        for form in ("text", "page", "pdf"):
            assert "2, replaces Q000041" in in_all_forms(paper)[form]

    def test_of_a_minimal_quotation_has_no_empty_headings(self) -> None:
        bare = a_paper(
            [a_sheet_line()],
            customer={"name": "Trust"},
            delivery="",
            note="",
            payment={},
            allowances=[],
            rush_charge=None,
            minimum_order=None,
            shipping=None,
        )
        paper = replace(
            bare,
            letterhead=replace(bare.letterhead, account=None, terms=""),
            remarks=Remarks(warnings=(), cautions=()),
            figures=replace(bare.figures, shipping=None),
        )

        view = quotation_view(paper)

        assert (view.sections, view.cautions, view.customer) == ((), (), ("Trust",))
        assert "Please note" not in visible(quotation_page(view))
        assert quotation_ubl(paper, view)

    def test_says_when_an_invoice_is_due_at_once(self) -> None:
        assert "Payable when the invoice arrives." in pdf_text(quotation_view(a_paper(payment={"due_days": 0})))

    @pytest.mark.parametrize(("needed", "told"), [("0.97", "1 piece"), ("1", "1 piece"), ("12.01", "13 pieces")])
    def test_names_the_whole_pieces_that_the_customer_brings(self, needed: str, told: str) -> None:
        paper = a_paper()
        (supplied,) = paper.figures.lines[0].supplied
        line = replace(paper.figures.lines[0], supplied=(replace(supplied, unit="piece", quantity=D(needed)),))
        paper = replace(paper, figures=replace(paper.figures, lines=(line,)))

        assert f"You supply: HDPE flakes, {told}" in in_all_forms(paper)["pdf"]


class TestLanguages:
    @pytest.mark.parametrize(
        ("locale", "word", "total", "day"),
        [
            ("de_DE", "Angebot", "11.307,44 €", "25. November 2026"),
            ("fr_FR", "Devis", "11\u202f307,44 €", "25 novembre 2026"),
            ("es_ES", "Presupuesto", "11.307,44 €", "25 de noviembre de 2026"),
            ("nl_NL", "Offerte", "€ 11.307,44", "25 november 2026"),
            ("pt_PT", "Orçamento", "11\u00a0307,44 €", "25 de novembro de 2026"),
            ("de_CH", "Angebot", "EUR 11’307.44", "25. November 2026"),
            ("ja_JP", "Quotation", "11,307.44", "2026年11月25日"),
        ],
    )
    def test_have_their_words_numbers_and_days(self, locale: str, word: str, total: str, day: str) -> None:
        view = quotation_view(a_paper(locale=locale))
        text = visible(quotation_page(view)).replace("\u00a0", " ")

        assert (view.word, view.total.figure.replace("\u00a0", " ").endswith(total.replace("\u00a0", " "))) == (
            word,
            True,
        )
        assert day in text
        assert f'<html lang="{view.language}" dir="ltr">' in quotation_page(view)
        assert reader(view).trailer["/Root"]["/Lang"].startswith(view.language)

    def test_may_be_another_than_the_quotations_own(self) -> None:
        assert quotation_view(a_paper(locale="de_DE"), "nl_NL").word == "Offerte"

    @pytest.mark.parametrize("locale", ["ar_EG", "he_IL"])
    def test_without_a_catalogue_are_english_with_the_figures_of_the_locale_isolated(self, locale: str) -> None:
        view = quotation_view(a_paper(locale=locale))

        assert view.total.figure.startswith("\u2068")
        assert '<html lang="en" dir="ltr">' in quotation_page(view)
        assert reader(view).pages


class TestSize:
    def test_of_200_lines_goes_over_pages_with_a_head_on_each(self) -> None:
        lines = [a_sheet_line(description=f"Sheet of shade {place}") for place in range(200)]
        view = quotation_view(a_paper(lines, shipping=None))

        pages = [page.extract_text() for page in reader(view).pages]

        assert len(pages) > 4
        assert all("Description" in text and "Price a piece" in text for text in pages[:-2])
        assert all(f"{place} / {len(pages)}" in text for place, text in enumerate(pages, start=1))
        together = " ".join(pages)
        assert all(f"Sheet of shade {place}" in together for place in range(200))

    @pytest.mark.parametrize("name", [LONG, HEBREW, ARABIC, "你好" * 50, "<b>&amp;</b> #panic() \u202e", "a" * 200])
    def test_of_any_name_breaks_nothing(self, name: str) -> None:
        paper = a_paper(
            [a_sheet_line(description=name)], customer={"name": name, "address": f"{name}\n{name}"}, note=f"{name} " * 9
        )
        view = quotation_view(paper)
        found = reader(view)

        (left, bottom, right, top) = map(float, found.pages[0].mediabox)
        assert (right - left, top - bottom) == pytest.approx((595.28, 841.89), abs=0.1)
        assert "<b>" not in quotation_page(view)
        assert ElementTree.fromstring(quotation_ubl(paper, view)) is not None

    def test_embeds_every_font(self) -> None:
        paper = a_paper([a_sheet_line(description=f"{HEBREW} {ARABIC} Ελληνικά")])

        fonts = [
            font.get_object()
            for page in reader(quotation_view(paper)).pages
            for font in page["/Resources"]["/Font"].values()
        ]

        assert len(fonts) > 1
        for font in fonts:
            (descendant,) = font["/DescendantFonts"]
            descriptor = descendant.get_object()["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)
            assert "/ToUnicode" in font

    def test_is_the_same_to_the_byte(self) -> None:
        view = quotation_view(a_paper())

        assert quotation_pdf(view) == quotation_pdf(view)


CBC, CAC = (
    f"{{urn:oasis:names:specification:ubl:schema:xsd:Common{kind}Components-2}}" for kind in ("Basic", "Aggregate")
)
ORDER = {
    "Quotation": "UBLVersionID ID IssueDate Note PricingCurrencyCode LineCountNumeric ValidityPeriod "
    "RequestForQuotationDocumentReference SellerSupplierParty BuyerCustomerParty PaymentMeans TransactionConditions "
    "AllowanceCharge "
    "TaxTotal QuotedMonetaryTotal QuotationLine",
    "Party": "WebsiteURI EndpointID PartyName PostalAddress PartyTaxScheme PartyLegalEntity Contact",
    "PostalAddress": "StreetName AdditionalStreetName CityName PostalZone CountrySubentity AddressLine Country",
    "PaymentMeans": "PaymentMeansCode PayeeFinancialAccount",
    "PayeeFinancialAccount": "ID Name FinancialInstitutionBranch",
    "PartyTaxScheme": "CompanyID TaxScheme",
    "Contact": "Name Telephone ElectronicMail",
    "AllowanceCharge": "ChargeIndicator AllowanceChargeReason Amount TaxCategory",
    "TaxTotal": "TaxAmount TaxSubtotal",
    "TaxSubtotal": "TaxableAmount TaxAmount TaxCategory",
    "TaxCategory": "ID Name Percent TaxExemptionReason TaxScheme",
    "ClassifiedTaxCategory": "ID Name Percent TaxExemptionReason TaxScheme",
    "QuotedMonetaryTotal": "LineExtensionAmount TaxExclusiveAmount TaxInclusiveAmount AllowanceTotalAmount "
    "ChargeTotalAmount PayableRoundingAmount PayableAmount",
    "QuotationLine": "ID Quantity LineExtensionAmount LineItem AlternativeLineItem",
    "LineItem": "ID Quantity LineExtensionAmount AllowanceCharge Price Item",
    "AlternativeLineItem": "ID Quantity LineExtensionAmount AllowanceCharge Price Item",
    "Price": "PriceAmount BaseQuantity",
    "Item": "Name SellersItemIdentification ClassifiedTaxCategory",
}
"""OASIS, Universal Business Language Version 2.1, 2013, Quotation: the order of the elements used here, from memory.
For the document itself, the order and the number of each element follow the draft schema of 2010."""
REPEATED = {"Note", "AllowanceCharge", "TaxTotal", "QuotationLine"}
"""Elements of the document itself that may occur more than once."""


def local(element: Element) -> str:
    return element.tag.rpartition("}")[2]


class TestUbl:
    @pytest.fixture
    def paper(self) -> QuotationPaper:
        return a_paper()

    @pytest.fixture
    def root(self, paper: QuotationPaper) -> Element:
        found: Element = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))
        return found

    def test_has_its_elements_in_the_order_of_the_standard(self, root: Element) -> None:
        tried = set()
        for element in root.iter():
            if (name := local(element)) in ORDER:
                children, order = [local(child) for child in element], ORDER[name].split()
                assert children == sorted(children, key=order.index), name
                tried.add(name)
        assert tried == set(ORDER)

    def test_repeats_only_elements_that_the_standard_lets_repeat(self, root: Element) -> None:
        children = [local(child) for child in root if local(child) not in REPEATED]

        assert len(children) == len(set(children))

    def test_states_every_condition(self, root: Element, paper: QuotationPaper) -> None:
        told = [each.text or "" for each in root.iterfind(f"{CAC}TransactionConditions/{CBC}Description")]

        sections = quotation_view(paper).sections
        assert len(sections) > 2
        assert [each.partition(":")[0] for each in told] == [section.title for section in sections]

    def test_has_what_the_standard_requires(self, root: Element) -> None:
        for path in (
            f"{CBC}IssueDate",
            f"{CAC}SellerSupplierParty",
            f"{CAC}QuotedMonetaryTotal",
            f"{CAC}QuotationLine",
        ):
            assert root.find(path) is not None, path
        for line in root.iterfind(f"{CAC}QuotationLine"):
            assert line.find(f"{CAC}LineItem/{CAC}Item") is not None

    def test_has_the_totals_to_the_cent_with_their_currency(self, root: Element, paper: QuotationPaper) -> None:
        totals = paper.figures.totals
        total = root.find(f"{CAC}QuotedMonetaryTotal")
        assert total is not None
        for name, money in (
            ("LineExtensionAmount", totals.line_total),
            ("TaxExclusiveAmount", totals.tax_exclusive),
            ("TaxInclusiveAmount", totals.tax_inclusive),
            ("PayableAmount", totals.payable),
        ):
            found = total.find(f"{CBC}{name}")
            assert found is not None
            assert (Decimal(found.text or ""), found.get("currencyID")) == (money.amount, money.currency)
        rates = [each.text for each in root.iterfind(f"{CAC}TaxTotal/{CAC}TaxSubtotal/{CAC}TaxCategory/{CBC}Percent")]
        assert rates == ["21"]

    def test_tells_the_pieces_that_a_price_is_for(self) -> None:
        paper = a_paper([a_sheet_line(base_quantity=100, quantity_breaks=[5]), a_sheet_line()])
        root = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))

        told = [[child.text for child in price] for price in root.iter(f"{CAC}Price")]

        assert told == [["85.00", "100"], ["85.00", "100"], ["0.85", "1"]]

    def test_tells_what_cash_rounding_adds_if_it_adds_anything(self) -> None:
        def told(paper: QuotationPaper) -> list[str | None]:
            root = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))
            names = ("TaxInclusiveAmount", "PayableRoundingAmount", "PayableAmount")
            return [root.findtext(f"{CAC}QuotedMonetaryTotal/{CBC}{name}") for name in names]

        assert told(paid_in_cash("0.03")) == ["0.04", "0.01", "0.05"]
        assert told(paid_in_cash("0.04")) == ["0.05", None, "0.05"]

    def test_adds_up_under_each_tax_category(self) -> None:
        """EN 16931, BR-S-8 and BR-G-8: lines, allowances and charges add up to the base of their category."""
        paper = under_two_taxes()
        root = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))

        sums: dict[str, Decimal] = {}
        for line in root.iterfind(f"{CAC}QuotationLine/{CAC}LineItem"):
            category = text_of(line, f"{CAC}Item/{CAC}ClassifiedTaxCategory/{CBC}ID")
            sums[category] = sums.get(category, D(0)) + D(text_of(line, f"{CBC}LineExtensionAmount"))
        for each in root.iterfind(f"{CAC}AllowanceCharge"):
            sign = 1 if text_of(each, f"{CBC}ChargeIndicator") == "true" else -1
            category = text_of(each, f"{CAC}TaxCategory/{CBC}ID")
            sums[category] = sums.get(category, D(0)) + sign * D(text_of(each, f"{CBC}Amount"))
        assert len(sums) == 2
        assert sums == {
            text_of(each, f"{CAC}TaxCategory/{CBC}ID"): D(text_of(each, f"{CBC}TaxableAmount"))
            for each in root.iterfind(f"{CAC}TaxTotal/{CAC}TaxSubtotal")
        }

    @pytest.mark.parametrize(("category", "rates"), [(TaxCategory.EXPORT, ["0"]), (TaxCategory.OUT_OF_SCOPE, [])])
    def test_has_a_rate_except_for_what_is_out_of_scope(self, category: TaxCategory, rates: list[str]) -> None:
        """EN 16931, BR-O-5."""
        paper = under_two_taxes(category)
        root = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))

        found = [each for each in root.iter() if local(each).endswith("TaxCategory")]
        free = [each for each in found if text_of(each, f"{CBC}ID") == category.value]
        assert len(free) >= 3
        for each in free:
            assert [percent.text for percent in each.iterfind(f"{CBC}Percent")] == rates

    def test_says_in_the_customers_language_what_is_charged(self) -> None:
        paper = a_paper(locale="de_DE")
        root = ElementTree.fromstring(quotation_ubl(paper, quotation_view(paper)))

        reasons = [each.text for each in root.iterfind(f"{CAC}AllowanceCharge/{CBC}AllowanceChargeReason")]
        assert reasons == [
            "community project",
            "Zuschlag für kurzfristige Fertigung",
            "Mindermengenzuschlag bis zum Mindestbestellwert",
            "Versand",
        ]

    def test_offers_other_batch_sizes_as_alternatives(self, root: Element) -> None:
        quantities = [each.text for each in root.iterfind(f"{CAC}QuotationLine/{CAC}AlternativeLineItem/{CBC}Quantity")]

        assert quantities == ["1000", "50"]
