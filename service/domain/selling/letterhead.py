"""Who quotes: the seller as it stands on a quotation, and stays there."""

from dataclasses import dataclass

from service.domain.selling.postal_address import PostalAddress
from service.domain.selling.seller import BankAccount, ElectronicAddress, Seller
from service.domain.values.shown import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Letterhead:
    """Who quotes, as it stood when the quotation was made, and when it was issued.

    Attributes:
        seller: the workshop's name.
        seller_address: as it stands on a letter, lines separated by line breaks.
        locale: of the document, a CLDR locale.
        address: the same address in parts; null in quotations from before parts were told.
        contact: whom to ask for.
        telephone: where to call.
        email: where to write.
        url: address of the web site.
        vat_number: with the country in front.
        tax_number: under which the workshop is registered for taxes otherwise.
        electronic_address: where it receives electronic documents.
        account: what customers pay to.
        terms: of sale.
        foot: what stands at the foot of every page.
        logo: SHA-256 of the logo, hexadecimal; null if it has none.
    """

    seller: str
    seller_address: str
    locale: str
    address: PostalAddress | None = None
    contact: str = ""
    telephone: str = ""
    email: str = ""
    url: str = ""
    vat_number: str = ""
    tax_number: str = ""
    electronic_address: ElectronicAddress | None = None
    account: BankAccount | None = None
    terms: str = ""
    foot: str = ""
    logo: str | None = None

    @property
    def compact_vat_number(self) -> str:
        """The VAT number without spaces and marks, for programs."""
        return "".join(filter(str.isalnum, self.vat_number))


def letterhead_of(seller: Seller, locale: str | None, logo: str | None) -> Letterhead:
    """The letterhead of a quotation.

    Args:
        seller: the workshop now.
        locale: of the document; the workshop's if left out.
        logo: digest of the seller's logo.
    """
    locale = locale or seller.locale or "en"
    lines = "\n".join(seller.address.lines())
    return shown(Letterhead, "", seller, seller=seller.name, seller_address=lines, locale=locale, logo=logo)
