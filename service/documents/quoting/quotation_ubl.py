"""A quotation as UBL 2.1, for the customer's programs.

Source: OASIS, Universal Business Language Version 2.1, 2013, document type Quotation (the order of the
document's elements as in the draft schema of 2010, that of the parts from memory); unit codes of UN/ECE Recommendation
No 20; tax categories of UNTDID 5305; means of payment of UNTDID 4461.
"""

from collections.abc import Iterable
from decimal import Decimal
from xml.etree.ElementTree import Element, SubElement, tostring  # makes and writes; nothing is parsed

from service.documents.drawing.drawing import literal
from service.documents.quoting.quotation_paper import QuotationPaper, QuotationView
from service.documents.quoting.quotation_writing import reason_for, tax_name
from service.documents.writing.labels import Labels, labels_for
from service.domain.quoting.quotation import QuotedAdjustment, QuotedLine, QuotedQuantity, QuotedTax, QuotedTaxSubtotal
from service.domain.selling.letterhead import Letterhead
from service.domain.selling.postal_address import PostalAddress
from service.domain.selling.seller import BankAccount
from service.domain.selling.taxes import TaxCategory
from service.domain.values.exact import exactly, plain
from service.domain.values.money import Money

_ROOT = "urn:oasis:names:specification:ubl:schema:xsd:Quotation-2"
_BASIC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
_AGGREGATE = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
_VAT, _OTHER_TAX = "VAT", "TAX"
_CREDIT_TRANSFER = "30"
_PER_CENT = Decimal(100)
_PERCENT_DECIMALS = 9


@exactly
def quotation_ubl(paper: QuotationPaper, view: QuotationView) -> bytes:
    """The quotation as XML: figures from the paper, words from its view."""
    root = Element("Quotation", {"xmlns": _ROOT, "xmlns:cbc": _BASIC, "xmlns:cac": _AGGREGATE})
    _head(root, paper, view)
    _parties(root, paper)
    _payment(root, paper.letterhead.account)
    words = labels_for(view.locale)
    _conditions(root, view, words)
    _adjustments(root, paper.figures.allowances, paper.figures.charges, words)
    _totals(root, paper, words)
    for number, line in enumerate(paper.figures.lines, start=1):
        _line(root, number, line, words)
    made: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
    return made


def _group(parent: Element, name: str) -> Element:
    return SubElement(parent, f"cac:{name}")


def _add(parent: Element, name: str, text: str, **attributes: str) -> None:
    """Add a text without characters that XML does not allow; nothing if it is empty."""
    if text:
        SubElement(parent, f"cbc:{name}", attributes).text = literal(text)


def _money(parent: Element, name: str, money: Money) -> None:
    _add(parent, name, f"{money.amount:f}", currencyID=money.currency)


def _head(root: Element, paper: QuotationPaper, view: QuotationView) -> None:
    _add(root, "UBLVersionID", "2.1")
    _add(root, "ID", paper.reference)
    _add(root, "IssueDate", (paper.issued_on or paper.quoted_on).isoformat())
    for note in (view.state, view.intro, *(f"{each.text} [{each.note}]" for each in view.cautions)):
        _add(root, "Note", note)
    _add(root, "PricingCurrencyCode", paper.figures.currency)
    _add(root, "LineCountNumeric", str(len(paper.figures.lines)))
    _add(_group(root, "ValidityPeriod"), "EndDate", paper.valid_until.isoformat())
    if paper.request.customer.reference:
        _add(_group(root, "RequestForQuotationDocumentReference"), "ID", paper.request.customer.reference)


def _parties(root: Element, paper: QuotationPaper) -> None:
    customer = paper.request.customer
    _seller(_group(_group(root, "SellerSupplierParty"), "Party"), paper.letterhead)
    buyer = _group(_group(root, "BuyerCustomerParty"), "Party")
    _named(buyer, customer.name, customer.address)
    _taxed(buyer, customer.tax_number, _VAT)
    _contact(buyer, customer.contact, "", customer.email)


def _seller(party: Element, letterhead: Letterhead) -> None:
    """The seller (BG-4): names, address (BG-5), contact (BG-6)."""
    _add(party, "WebsiteURI", letterhead.url)
    if (electronic := letterhead.electronic_address) is not None:
        _add(party, "EndpointID", electronic.address, schemeID=electronic.scheme)
    _named(party, letterhead.seller, letterhead.seller_address, letterhead.address)
    _taxed(party, letterhead.compact_vat_number, _VAT)
    _taxed(party, letterhead.tax_number, _OTHER_TAX)
    if letterhead.address is not None:
        _add(_group(party, "PartyLegalEntity"), "RegistrationName", letterhead.seller)
    _contact(party, letterhead.contact, letterhead.telephone, letterhead.email)


def _taxed(party: Element, number: str, scheme: str) -> None:
    if number:
        found = _group(party, "PartyTaxScheme")
        _add(found, "CompanyID", number)
        _add(_group(found, "TaxScheme"), "ID", scheme)


def _contact(party: Element, name: str, telephone: str, email: str) -> None:
    if name or telephone or email:
        contact = _group(party, "Contact")
        _add(contact, "Name", name)
        _add(contact, "Telephone", telephone)
        _add(contact, "ElectronicMail", email)


def _payment(root: Element, account: BankAccount | None) -> None:
    """The account that the customer may pay to (BG-17)."""
    if account is None:
        return
    means = _group(root, "PaymentMeans")
    _add(means, "PaymentMeansCode", _CREDIT_TRANSFER)
    payee = _group(means, "PayeeFinancialAccount")
    _add(payee, "ID", account.compact_iban)
    _add(payee, "Name", account.holder)
    if account.bic:
        _add(_group(payee, "FinancialInstitutionBranch"), "ID", account.bic)


def _conditions(root: Element, view: QuotationView, words: Labels) -> None:
    """All sections in one element: a quotation may have only one."""
    if view.sections:
        conditions = _group(root, "TransactionConditions")
        for section in view.sections:
            _add(conditions, "Description", f"{section.title}{words.colon}{' '.join(section.paragraphs)}")


def _named(party: Element, name: str, address: str, parts: PostalAddress | None = None) -> None:
    """A party's name and its address: in parts where they are told, else in lines."""
    _add(_group(party, "PartyName"), "Name", name)
    if parts is not None and (parts.city or parts.post_code or parts.country):
        _in_parts(_group(party, "PostalAddress"), parts)
    elif lines := [line for line in address.splitlines() if line.strip()]:
        postal = _group(party, "PostalAddress")
        for line in lines:
            _add(_group(postal, "AddressLine"), "Line", line)


def _in_parts(postal: Element, parts: PostalAddress) -> None:
    street, further, *more = (*parts.street_lines, "", "")
    _add(postal, "StreetName", street)
    _add(postal, "AdditionalStreetName", further)
    _add(postal, "CityName", parts.city)
    _add(postal, "PostalZone", parts.post_code)
    _add(postal, "CountrySubentity", parts.subdivision)
    for line in filter(None, more):
        _add(_group(postal, "AddressLine"), "Line", line)
    if parts.country is not None:
        _add(_group(postal, "Country"), "IdentificationCode", parts.country)


def _adjustments(
    parent: Element, allowances: Iterable[QuotedAdjustment], charges: Iterable[QuotedAdjustment], words: Labels
) -> None:
    for is_charge, adjustments in (("false", allowances), ("true", charges)):
        for each in adjustments:
            found = _group(parent, "AllowanceCharge")
            _add(found, "ChargeIndicator", is_charge)
            _add(found, "AllowanceChargeReason", reason_for(each, words))
            _money(found, "Amount", each.amount)
            if each.tax is not None:
                _category(found, "TaxCategory", each.tax, words)


def _category(parent: Element, name: str, tax: QuotedTax | QuotedTaxSubtotal, words: Labels) -> None:
    found = _group(parent, name)
    _add(found, "ID", tax.category)
    _add(found, "Name", tax.name or tax_name(tax, words))
    if tax.category != TaxCategory.OUT_OF_SCOPE:  # has no rate (BR-O-5)
        _add(found, "Percent", f"{plain(tax.rate_share * _PER_CENT, _PERCENT_DECIMALS):f}")
    _add(found, "TaxExemptionReason", tax.exemption_reason)
    _add(_group(found, "TaxScheme"), "ID", "VAT")


def _totals(root: Element, paper: QuotationPaper, words: Labels) -> None:
    tax, totals = _group(root, "TaxTotal"), paper.figures.totals
    _money(tax, "TaxAmount", totals.tax_total)
    for each in paper.tax_subtotals:
        subtotal = _group(tax, "TaxSubtotal")
        _money(subtotal, "TaxableAmount", each.taxable_amount)
        _money(subtotal, "TaxAmount", each.tax_amount)
        _category(subtotal, "TaxCategory", each, words)
    total = _group(root, "QuotedMonetaryTotal")
    for name, money in (
        ("LineExtensionAmount", totals.line_total),
        ("TaxExclusiveAmount", totals.tax_exclusive),
        ("TaxInclusiveAmount", totals.tax_inclusive),
        ("AllowanceTotalAmount", totals.allowance_total),
        ("ChargeTotalAmount", totals.charge_total),
        ("PayableRoundingAmount", totals.rounding),
        ("PayableAmount", totals.payable),
    ):
        if money is not None:
            _money(total, name, money)


def _line(root: Element, number: int, line: QuotedLine, words: Labels) -> None:
    found = _group(root, "QuotationLine")
    _add(found, "ID", str(number))
    _add(found, "Quantity", f"{line.quoted.quantity:f}", unitCode=line.unit.traits.code)
    _money(found, "LineExtensionAmount", line.quoted.net_amount)
    _item(found, "LineItem", f"{number}", line, line.quoted, words)
    for place, other in enumerate(line.quantity_breaks, start=1):
        _item(found, "AlternativeLineItem", f"{number}.{place}", line, other, words)


def _item(parent: Element, name: str, number: str, line: QuotedLine, quoted: QuotedQuantity, words: Labels) -> None:
    found = _group(parent, name)
    _add(found, "ID", number)
    _add(found, "Quantity", f"{quoted.quantity:f}", unitCode=line.unit.traits.code)
    _money(found, "LineExtensionAmount", quoted.net_amount)
    _adjustments(found, quoted.allowances, quoted.charges, words)
    price = _group(found, "Price")
    _money(price, "PriceAmount", quoted.unit_price)
    _add(price, "BaseQuantity", str(quoted.base_quantity), unitCode=line.unit.traits.code)
    item = _group(found, "Item")
    _add(item, "Name", line.description)
    if line.product is not None:
        _add(_group(item, "SellersItemIdentification"), "ID", line.product)
    _category(item, "ClassifiedTaxCategory", line.tax, words)
