"""The seller: the workshop as its customers know it, with all that its papers say of it.

Sources: EN 16931-1:2017, seller (BG-4), its address (BG-5) and contact (BG-6), credit transfer (BG-17).
"""

from collections.abc import Iterator
from typing import Annotated

from stdnum import bic, iban
from stdnum.eu import vat
from stdnum.exceptions import InvalidChecksum, ValidationError

from service.domain.selling.logo import Logo
from service.domain.selling.postal_address import NO_ADDRESS, PostalAddress, country_problem
from service.domain.values.declared import CurrencyCode, Line, Name, Paragraph, Text, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.forms import EmailAddress, LocaleCode, TimeZone, WebAddress, email_problem

_EMAIL = "EM"
"""The scheme of an electronic address that is an e-mail address."""
_GREECE = "EL"
"""What Greek VAT numbers begin with, in place of GR."""


def iban_problem(number: str) -> str | None:
    """What is wrong with an IBAN, which may be in groups.

    Source: ISO 13616-1, check digits by ISO/IEC 7064 (MOD 97-10), and the length that each country has.
    """
    try:
        iban.validate(number)
    except InvalidChecksum:
        return "is no IBAN: its check digits do not fit, so a character is wrong or missing; read it again"
    except ValidationError:
        return "is no IBAN of its country, whose accounts have another form or length; read it again"
    return None


def _bic_problem(code: str) -> str | None:
    return None if not code or bic.is_valid(code) else "must be a BIC of 8 or 11 characters, such as ABCDIE2DXXX"


def vat_number_problem(number: str) -> str | None:
    """What is wrong with a VAT number, which begins with the country (BR-CO-9); of the EU's its check digits too."""
    if not number:
        return None
    prefix = number[:2]
    if prefix == _GREECE or (prefix.isupper() and prefix.lower() in vat.MEMBER_STATES):
        return None if vat.is_valid(number) else f"is no VAT number of {prefix}: a character is wrong or missing"
    if country_problem(prefix) is None and any(character.isdecimal() for character in number):
        return None
    return "must begin with its country, such as IE; a number without one is a tax_number"


@declared
class BankAccount:
    """The account that customers pay to.

    Attributes:
        iban: its number (BT-84), in groups or not.
        bic: of the bank (BT-86), where customers abroad need it.
        holder: who has it (BT-85), if that is not the workshop's name.
    """

    iban: Annotated[str, Text(max_length=50), iban_problem]
    bic: Annotated[str, Text(max_length=11, min_length=0), _bic_problem] = ""
    holder: Line = ""

    @property
    def compact_iban(self) -> str:
        """The IBAN without spaces, for programs."""
        return str(iban.compact(self.iban))

    @property
    def grouped_iban(self) -> str:
        """The IBAN in groups of four, for people."""
        return str(iban.format(self.iban))


@declared
class ElectronicAddress:
    """Where the workshop receives electronic documents (BT-34).

    Attributes:
        scheme: of the address, a code of the list Electronic Address Scheme (EAS), for instance "0088" for a GLN.
        address: of the workshop in this scheme.
    """

    scheme: Annotated[
        str, Text(max_length=4, min_length=2, pattern=r"[0-9A-Z]{2,4}", form="a code such as 0088, or EM for e-mail")
    ]
    address: Name

    def problems(self) -> Iterator[InvalidValueError]:
        """An e-mail address has its own form; those of other schemes are theirs."""
        if self.scheme == _EMAIL and (problem := email_problem(self.address)):
            yield InvalidValueError(("address",), problem)


@declared
class Seller:
    """The workshop as its customers know it, and how its papers are written.

    Attributes:
        name: as on a quotation (BT-27).
        address: where it is.
        contact: whom to ask for (BT-41).
        telephone: where to call (BT-42).
        email: where to write (BT-43).
        url: address of its web site.
        vat_number: with the country in front (BT-31); empty if it has none.
        tax_number: under which it is registered for taxes otherwise (BT-32).
        electronic_address: where it receives electronic documents.
        account: what customers pay to.
        logo: a PNG or an SVG in base64, without line breaks; of at most 100,000 bytes and 2,000 × 2,000 pixels.
        locale: CLDR locale of its documents, such as "en_IE"; stays as it is if left out.
        time_zone: IANA name; decides what today is; stays as it is if left out.
        currency: of its costs, an ISO 4217 code. It cannot be changed: leave it out, or send what is there.
        terms: of sale, on every quotation.
        foot: what stands at the foot of every page.
    """

    name: Name
    address: PostalAddress = NO_ADDRESS
    contact: Line = ""
    telephone: Line = ""
    email: EmailAddress = ""
    url: WebAddress = ""
    vat_number: Annotated[str, Text(max_length=40, min_length=0), vat_number_problem] = ""
    tax_number: Line = ""
    electronic_address: ElectronicAddress | None = None
    account: BankAccount | None = None
    logo: Logo | None = None
    locale: LocaleCode | None = None
    time_zone: TimeZone | None = None
    currency: CurrencyCode | None = None
    terms: Paragraph = ""
    foot: Annotated[str, Text(max_length=400, min_length=0, lines=True)] = ""

    def currency_problems(self, currency: str) -> Iterator[InvalidValueError]:
        """A problem if it names another currency than the workshop's."""
        if self.currency not in (None, currency):
            reason = f"cannot be changed: all that the workshop has stored is in {currency}; make another workshop"
            yield InvalidValueError(("currency",), reason)
