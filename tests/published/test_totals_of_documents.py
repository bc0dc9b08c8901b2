"""Published documents under EN 16931: the domain computes their totals; so does a quotation that can express them."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import flask
import pytest

from service.domain.quoting.document_totals import AppliedTax, DocumentAdjustment, DocumentLine, document_totals
from service.domain.selling.taxes import TaxCategory
from tests.conftest import make_client
from tests.published.examples import DAY, amount, buy, make
from tests.support.builders import policy, quotation
from tests.support.contract import Contract


def tax(per_cent: str, category: str = "S") -> AppliedTax:
    return AppliedTax(category=TaxCategory(category), rate_share=Decimal(per_cent) / 100)


EXEMPT = tax("0", "E")


@dataclass(frozen=True, kw_only=True)
class Line:
    """A published line with its net amount."""

    quantity: str
    price: str
    tax: AppliedTax
    net: str
    base_quantity: str = "1"
    allowance: str = "0"
    charge: str = "0"


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Published totals; taxes are (base, tax) by category and rate."""

    line_total: str
    taxes: dict[AppliedTax, tuple[str, str]]
    tax_total: str
    tax_inclusive: str
    allowance_total: str = "0"
    charge_total: str = "0"
    tax_exclusive: str


@dataclass(frozen=True, kw_only=True)
class Document:
    """A published document."""

    currency: str
    lines: tuple[Line, ...]
    totals: Totals
    payable: str
    allowances: tuple[tuple[str, AppliedTax], ...] = ()
    charges: tuple[tuple[str, AppliedTax], ...] = ()
    prepaid: str = "0"

    @property
    def nets(self) -> list[Decimal]:
        return [Decimal(line.net) for line in self.lines]

    @property
    def decimals(self) -> dict[str, Any]:
        """The totals as decimals."""
        return {
            name: {key: tuple(map(Decimal, pair)) for key, pair in value.items()}
            if isinstance(value, dict)
            else Decimal(value)
            for name, value in ((name, getattr(self.totals, name)) for name in Totals.__dataclass_fields__)
        }


@dataclass(frozen=True, kw_only=True)
class Found:
    """The service's figures for a document."""

    nets: list[Decimal]
    totals: dict[str, Any]
    payable: Decimal


def adjustments(published: Iterable[tuple[str, AppliedTax]]) -> list[DocumentAdjustment]:
    return [DocumentAdjustment(amount=Decimal(figure), tax=applied) for figure, applied in published]


def added_up(document: Document) -> Found:
    """The figures of the domain's document totals."""
    found = document_totals(
        [
            DocumentLine(
                quantity=Decimal(line.quantity),
                net_price=Decimal(line.price),
                base_quantity=Decimal(line.base_quantity),
                allowances=(Decimal(line.allowance),),
                charges=(Decimal(line.charge),),
                tax=line.tax,
            )
            for line in document.lines
        ],
        currency=document.currency,
        allowances=adjustments(document.allowances),
        charges=adjustments(document.charges),
        prepaid=Decimal(document.prepaid),
    )
    totals: dict[str, Any] = {name: getattr(found, name) for name in document.decimals if name != "taxes"}
    taxes = {subtotal.tax: (subtotal.taxable_amount, subtotal.tax_amount) for subtotal in found.tax_subtotals}
    return Found(nets=list(found.line_nets), totals={**totals, "taxes": taxes}, payable=found.payable)


class Quoting:
    """Enters a published document as a quotation with fixed prices, and returns its figures."""

    def __init__(self, app: flask.Flask, contract: Contract) -> None:
        self.app, self.contract = app, contract

    def __call__(self, document: Document, **changes: Any) -> Found:
        client = make_client(self.app, self.contract, currency=document.currency)
        buy(client, "goods", "0.01", document.currency)
        make(client, "goods", {"goods": "1"})
        stated = [line.tax for line in document.lines]
        codes = {applied: f"tax-{place}" for place, applied in enumerate(dict.fromkeys(stated + _named(document)))}
        for applied, code in codes.items():
            reason = {"exemption_reason": "as published"} if applied.category is TaxCategory.EXEMPT else {}
            facts = {"name": code, "category": applied.category.value, **reason}
            client.register(f"taxes/{code}", facts, **{DAY: {"rate_share": str(applied.rate_share)}})
        response = client.post("quotations", _request(document, codes) | changes)
        assert response.status_code == 201, response.json
        figures = response.json["figures"]
        return _found(figures["lines"], figures["totals"])


def _named(document: Document) -> list[AppliedTax]:
    return [applied for _, applied in (*document.allowances, *document.charges)]


def _amounts(figure: str) -> list[dict[str, str]]:
    return [{"reason": "as published", "amount": figure}] if figure != "0" else []


def _request(document: Document, codes: dict[AppliedTax, str]) -> dict[str, Any]:
    lines = [
        {
            "product": "goods",
            "quantity": int(line.quantity),
            "tax": codes[line.tax],
            "policy": policy("fixed_price", str(Decimal(line.price) / Decimal(line.base_quantity))),
            "allowances": _amounts(line.allowance),
            "charges": _amounts(line.charge),
        }
        for line in document.lines
    ]
    whole = {
        member: [
            {"reason": "as published", "amount": figure, "tax": codes[applied]}
            for figure, applied in getattr(document, member)
        ]
        for member in ("allowances", "charges")
    }
    return quotation(lines=lines, quoted_on=DAY, **whole)


def _found(lines: list[Any], totals: Any) -> Found:
    named = {name: amount(totals[name]) for name in Totals.__dataclass_fields__ if name != "taxes"}
    taxes = {
        AppliedTax(category=TaxCategory(each["category"]), rate_share=Decimal(each["rate_share"])): (
            amount(each["taxable_amount"]),
            amount(each["tax_amount"]),
        )
        for each in totals["tax_subtotals"]
    }
    return Found(
        nets=[amount(line["quoted"]["net_amount"]) for line in lines],
        totals={**named, "taxes": taxes},
        payable=amount(totals["payable"]),
    )


@pytest.fixture
def quote(app: flask.Flask, contract: Contract) -> Quoting:
    return Quoting(app, contract)


class Published:
    """Checks of every published document; each class below is one document and names its source."""

    document: Document

    def test_its_totals_come_out(self) -> None:
        found = added_up(self.document)

        assert found.nets == self.document.nets
        assert found.totals == self.document.decimals
        assert found.payable == Decimal(self.document.payable)


class Quotable(Published):
    """Checks of a published document that a quotation can express; a quotation has no amount already paid."""

    def test_a_quotation_of_it_comes_to_the_same_totals(self, quote: Quoting) -> None:
        found = quote(self.document)

        assert found.nets == self.document.nets
        assert found.totals == self.document.decimals
        assert found.payable == Decimal(self.document.totals.tax_inclusive)


class TestAllowancesChargesAndABaseQuantity(Quotable):
    """Peppol BIS Billing 3, rules/examples/Allowance-example.xml, OpenPeppol AISBL, commit 78d7f7d (2025-05-29).

    The first and last lines carry a charge of 1 and allowances of 101. A quotation has prices per piece: the second
    line's 200 for two is entered as 100 for one.
    """

    document = Document(
        currency="EUR",
        lines=(
            Line(quantity="10", price="410", allowance="101", charge="1", net="4000.00", tax=tax("25")),
            Line(quantity="10", price="200", base_quantity="2", net="1000.00", tax=EXEMPT),
            Line(quantity="10", price="100", allowance="101", charge="1", net="900.00", tax=tax("25")),
        ),
        allowances=(("200", tax("25")),),
        charges=(("200", tax("25")),),
        prepaid="1000",
        totals=Totals(
            line_total="5900.00",
            allowance_total="200",
            charge_total="200",
            tax_exclusive="5900",
            taxes={tax("25"): ("4900.00", "1225.00"), EXEMPT: ("1000.00", "0")},
            tax_total="1225.00",
            tax_inclusive="7125",
        ),
        payable="6125.00",
    )


class TestADiscountThatIsTaken(Published):
    """'VAT on prompt payment discounts', Clayton & Brewill, 11 May 2015 (the rule: HMRC Brief 49/2014): of 1,000 less a
    tenth the tax of 20 % is 180, not 200."""

    document = Document(
        currency="GBP",
        lines=(Line(quantity="1", price="1000", net="1000", tax=tax("20")),),
        allowances=(("100", tax("20")),),
        totals=Totals(
            line_total="1000",
            allowance_total="100",
            tax_exclusive="900",
            taxes={tax("20"): ("900", "180")},
            tax_total="180",
            tax_inclusive="1080",
        ),
        payable="1080",
    )


class TestNegativeLineAndACharge(Published):
    """Peppol BIS Billing 3, rules/examples/base-example.xml, OpenPeppol AISBL, commit 78d7f7d (2025-05-29)."""

    document = Document(
        currency="EUR",
        lines=(
            Line(quantity="7", price="400", net="2800", tax=tax("25")),
            Line(quantity="-3", price="500", net="-1500", tax=tax("25")),
        ),
        charges=(("25", tax("25")),),
        totals=Totals(
            line_total="1300",
            charge_total="25",
            tax_exclusive="1325",
            taxes={tax("25"): ("1325", "331.25")},
            tax_total="331.25",
            tax_inclusive="1656.25",
        ),
        payable="1656.25",
    )


class TestWholeDocumentNegative(Published):
    """Peppol BIS Billing 3, rules/examples/base-negative-inv-correction.xml, OpenPeppol AISBL, commit 78d7f7d
    (2025-05-29)."""

    document = Document(
        currency="EUR",
        lines=(
            Line(quantity="-7", price="400", net="-2800", tax=tax("25")),
            Line(quantity="3", price="500", net="1500", tax=tax("25")),
        ),
        charges=(("-25", tax("25")),),
        totals=Totals(
            line_total="-1300",
            charge_total="-25",
            tax_exclusive="-1325",
            taxes={tax("25"): ("-1325", "-331.25")},
            tax_total="-331.25",
            tax_inclusive="-1656.25",
        ),
        payable="-1656.25",
    )


def _at(per_cent: str, *lines: tuple[str, str, str]) -> tuple[Line, ...]:
    return tuple(Line(quantity=count, price=price, net=net, tax=tax(per_cent)) for count, price, net in lines)


class TestTwentyLinesAtTwoRates(Published):
    """EN 16931 validation artefacts, ubl/examples/ubl-tc434-example1.xml, European Commission, commit b6c9e06
    (2026-04-14).

    The file's last line has the quantity 6 with a net of −109.98: here the quantity is negative instead. 10.9938 and
    9.7377 are rounded half up.
    """

    document = Document(
        currency="EUR",
        lines=(
            *_at(
                "6",
                ("2", "9.95", "19.90"),
                ("1", "9.85", "9.85"),
                ("1", "8.29", "8.29"),
                ("2", "7.23", "14.46"),
                ("1", "35.00", "35.00"),
                ("1", "35.00", "35.00"),
                ("1", "10.65", "10.65"),
                ("1", "1.55", "1.55"),
                ("3", "4.79", "14.37"),
                ("1", "8.29", "8.29"),
                ("2", "8.29", "16.58"),
                ("1", "9.95", "9.95"),
                ("2", "1.65", "3.30"),
            ),
            *_at("21", ("1", "10.80", "10.80")),
            *_at("6", ("1", "3.90", "3.90")),
            *_at("21", ("2", "3.80", "7.60"), ("2", "4.67", "9.34"), ("1", "18.63", "18.63")),
            *_at("6", ("6", "17.02", "102.12"), ("-6", "18.33", "-109.98")),
        ),
        totals=Totals(
            line_total="229.60",
            tax_exclusive="229.60",
            taxes={tax("6"): ("183.23", "10.99"), tax("21"): ("46.37", "9.74")},
            tax_total="20.73",
            tax_inclusive="250.33",
        ),
        payable="250.33",
    )


class TestThreeCategoriesOneNegative(Published):
    """EN 16931 validation artefacts, ubl/examples/ubl-tc434-example2.xml, European Commission, commit b6c9e06
    (2026-04-14).

    The file states the quantity 2 and a net of 1,273 on its first line, at a price of 1,273: here the quantity is 1.
    25 % of 1,460.50 is 365.125, an exact tie: half up makes it 365.13, half even would make it 365.12.
    """

    document = Document(
        currency="NOK",
        lines=(
            Line(quantity="1", price="1273.00", net="1273.00", tax=tax("25")),
            Line(quantity="-1", price="3.96", net="-3.96", tax=tax("15")),
            Line(quantity="2", price="2.48", net="4.96", tax=tax("15")),
            Line(quantity="-1", price="25.00", net="-25.00", tax=EXEMPT),
            Line(quantity="250", price="0.75", net="187.50", tax=tax("25")),
        ),
        allowances=(("100.00", tax("25")),),
        charges=(("100.00", tax("25")),),
        prepaid="1000.00",
        totals=Totals(
            line_total="1436.50",
            allowance_total="100.00",
            charge_total="100.00",
            tax_exclusive="1436.50",
            taxes={tax("25"): ("1460.50", "365.13"), tax("15"): ("1.00", "0.15"), EXEMPT: ("-25.00", "0.00")},
            tax_total="365.28",
            tax_inclusive="1801.78",
        ),
        payable="801.78",
    )


class TestItsTieOnAQuotation(Quotable):
    """Only the lines at 25 % of ubl-tc434-example2.xml (above): the tie of BR-CO-17 without the negative lines."""

    document = Document(
        currency="NOK",
        lines=(
            Line(quantity="1", price="1273.00", net="1273.00", tax=tax("25")),
            Line(quantity="250", price="0.75", net="187.50", tax=tax("25")),
        ),
        allowances=(("100.00", tax("25")),),
        charges=(("100.00", tax("25")),),
        totals=Totals(
            line_total="1460.50",
            allowance_total="100.00",
            charge_total="100.00",
            tax_exclusive="1460.50",
            taxes={tax("25"): ("1460.50", "365.13")},
            tax_total="365.13",
            tax_inclusive="1825.63",
        ),
        payable="1825.63",
    )


class TestTwoRatesInKroner(Quotable):
    """EN 16931 validation artefacts, ubl/examples/ubl-tc434-example5.xml, European Commission, commit b6c9e06
    (2026-04-14)."""

    document = Document(
        currency="DKK",
        lines=(
            Line(quantity="1000", price="1.00", net="1000.00", tax=tax("25")),
            Line(quantity="100", price="5.00", net="500.00", tax=tax("25")),
            Line(quantity="500", price="5.00", net="2500.00", tax=tax("12")),
        ),
        allowances=(("150.00", tax("25")),),
        charges=(("150.00", tax("25")),),
        prepaid="2337.50",
        totals=Totals(
            line_total="4000.00",
            allowance_total="150.00",
            charge_total="150.00",
            tax_exclusive="4000.00",
            taxes={tax("25"): ("1500.00", "375.00"), tax("12"): ("2500.00", "300.00")},
            tax_total="675.00",
            tax_inclusive="4675.00",
        ),
        payable="2337.50",
    )

    def test_as_shares_the_allowance_and_the_charge_are_ten_per_cent_of_1_500(self, quote: Quoting) -> None:
        tenth = {"reason": "as published", "share": "0.10", "tax": "tax-0"}

        found = quote(self.document, allowances=[tenth], charges=[tenth])

        assert found.totals == self.document.decimals


class TestOneLineAtOneRate(Quotable):
    """EN 16931 validation artefacts, ubl/examples/ubl-tc434-example9.xml, European Commission, commit b6c9e06
    (2026-04-14)."""

    document = Document(
        currency="EUR",
        lines=(Line(quantity="3", price="49.00", net="147.00", tax=tax("21")),),
        totals=Totals(
            line_total="147.00",
            tax_exclusive="147.00",
            taxes={tax("21"): ("147.00", "30.87")},
            tax_total="30.87",
            tax_inclusive="177.87",
        ),
        payable="177.87",
    )


class TestPriceOfFourDecimals(Published):
    """EN 16931 validation artefacts, ubl/examples/sample-discount-price.xml, European Commission, commit b6c9e06
    (2026-04-14).

    A quotation has prices in whole minor units of the currency, and cannot express it.
    """

    document = Document(
        currency="EUR",
        lines=(Line(quantity="100.000", price="0.1212", net="12.12", tax=tax("25")),),
        totals=Totals(
            line_total="12.12",
            tax_exclusive="12.12",
            taxes={tax("25"): ("12.12", "3.03")},
            tax_total="3.03",
            tax_inclusive="15.15",
        ),
        payable="15.15",
    )


class TestThreeRatesAndAnExemptPairThatCancels(Quotable):
    """EN 16931 validation artefacts, ubl/examples/issue116.xml, European Commission, commit b6c9e06 (2026-04-14)."""

    document = Document(
        currency="SEK",
        lines=(
            Line(quantity="1", price="100", net="100", tax=tax("6")),
            Line(quantity="1", price="50", net="50", tax=tax("12")),
            Line(quantity="1", price="150", net="150", tax=tax("12")),
            Line(quantity="1", price="400", net="400", tax=tax("25")),
        ),
        allowances=(("1", EXEMPT),),
        charges=(("1", EXEMPT),),
        totals=Totals(
            line_total="700",
            allowance_total="1",
            charge_total="1",
            tax_exclusive="700",
            taxes={tax("6"): ("100", "6"), tax("12"): ("200", "24"), tax("25"): ("400", "100"), EXEMPT: ("0", "0")},
            tax_total="130",
            tax_inclusive="830",
        ),
        payable="830",
    )


class TestPrepaidTax(Quotable):
    """EN 16931 validation artefacts, ubl/examples, the Italian example of a split payment (TD01), European
    Commission, commit b6c9e06 (2026-04-14).

    Its category is B (transferred tax), which the service does not have: the figures are entered under category S.
    """

    document = Document(
        currency="EUR",
        lines=(Line(quantity="20", price="62.30", net="1246.00", tax=tax("22")),),
        prepaid="274.12",
        totals=Totals(
            line_total="1246.00",
            tax_exclusive="1246.00",
            taxes={tax("22"): ("1246.00", "274.12")},
            tax_total="274.12",
            tax_inclusive="1520.12",
        ),
        payable="1246.00",
    )


class TestQuotationOfTheStandard(Quotable):
    """UBL-Quotation-2.1-Example.xml, OASIS UBL TC, xml/ of the UBL 2.1 standard, 2013.

    The example puts the tax into TaxExclusiveAmount; the amount without tax is its line total.
    """

    document = Document(
        currency="DKK",
        lines=(
            Line(quantity="35", price="4300.00", net="150500.00", tax=tax("25")),
            Line(quantity="35", price="1250.00", net="43750.00", tax=tax("25")),
            Line(quantity="35", price="50.00", net="1750.00", tax=tax("25")),
            Line(quantity="35", price="50.00", net="1750.00", tax=tax("25")),
        ),
        totals=Totals(
            line_total="197750.00",
            tax_exclusive="197750.00",
            taxes={tax("25"): ("197750.00", "49437.50")},
            tax_total="49437.50",
            tax_inclusive="247187.50",
        ),
        payable="247187.50",
    )


class TestTaxBeforeCashRounding(Quotable):
    """Phasing out the penny, the Canada Revenue Agency's example of screws, Lexology, 2013: a hundred at 1.79, 13 %.

    179.00 and 23.27 are printed; the total is their sum. Its cash rounding to 202.25 is not tested here.
    """

    document = Document(
        currency="CAD",
        lines=(Line(quantity="100", price="1.79", net="179.00", tax=tax("13")),),
        totals=Totals(
            line_total="179.00",
            tax_exclusive="179.00",
            taxes={tax("13"): ("179.00", "23.27")},
            tax_total="23.27",
            tax_inclusive="202.27",
        ),
        payable="202.27",
    )


class TestCategoriesWithoutTax:
    """EN 16931-1:2017, rules BR-Z-05, BR-E-05 and BR-E-10: no rate under Z or E, and a reason under E."""

    @pytest.mark.parametrize("category", ["Z", "E"])
    def test_a_quotation_charges_no_tax_under_it(self, quote: Quoting, category: str) -> None:
        untaxed = tax("0", category)
        document = Document(
            currency="EUR",
            lines=(
                Line(quantity="3", price="49.00", net="147.00", tax=untaxed),
                Line(quantity="3", price="49.00", net="147.00", tax=tax("21")),
            ),
            totals=Totals(
                line_total="294.00",
                tax_exclusive="294.00",
                taxes={untaxed: ("147.00", "0.00"), tax("21"): ("147.00", "30.87")},
                tax_total="30.87",
                tax_inclusive="324.87",
            ),
            payable="324.87",
        )

        found = quote(document)

        assert found.totals == document.decimals

    @pytest.mark.parametrize(("category", "reason"), [("Z", ""), ("E", "as published")])
    def test_a_rate_under_it_is_refused(self, app: flask.Flask, contract: Contract, category: str, reason: str) -> None:
        client = make_client(app, contract)
        client.register("taxes/none", {"name": "none", "category": category, "exemption_reason": reason})

        response = client.put(f"taxes/none/rates/{DAY}", {"rate_share": "0.21"})

        assert response.status_code == 422
        assert [error["pointer"] for error in response.json["errors"]] == ["/rate_share"]

    def test_an_exemption_without_a_reason_is_refused(self, app: flask.Flask, contract: Contract) -> None:
        response = make_client(app, contract).put("taxes/exempt", {"name": "exempt", "category": "E"})

        assert response.status_code == 422
        assert [error["pointer"] for error in response.json["errors"]] == ["/exemption_reason"]
