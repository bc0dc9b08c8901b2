r"""Set what the workshop's papers say of it: name, address, bank account, logo and so on.

    pugmill workshop set                                      shows what they say; changes nothing
    pugmill workshop set --street '3 Sieve Lane' --post-code 1010 \
        --city 'Port Quillan' --country AT
    pugmill workshop set --iban 'IE10 PLNK 9999 0000 0012 34' \
        --logo logo.svg --terms terms.txt
    pugmill workshop set --telephone '' --logo ''             takes both off the papers

What is not named stays as it is. Quotations that are issued keep what they say; drafts get it when they are issued.
"""

import base64
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from service.client.command import Options, option, owners_command
from service.client.ends import RefusedError
from service.client.http import Service
from service.client.text.terminal import isolated

ADDRESS = "/v1/workshop"
_WHERE, _HOW = "Address, in the parts that electronic documents need", "Papers"
_WHO, _PAID = "Who to ask, and how", "Taxes and payment"
_MEMBERS = {
    "name": ("name",),
    "street": ("address", "street"),
    "post_code": ("address", "post_code"),
    "city": ("address", "city"),
    "subdivision": ("address", "subdivision"),
    "country": ("address", "country"),
    "contact": ("contact",),
    "telephone": ("telephone",),
    "email": ("email",),
    "web": ("url",),
    "vat_number": ("vat_number",),
    "tax_number": ("tax_number",),
    "iban": ("account", "iban"),
    "bic": ("account", "bic"),
    "account_holder": ("account", "holder"),
    "logo": ("logo",),
    "locale": ("locale",),
    "time_zone": ("time_zone",),
    "terms": ("terms",),
    "foot": ("foot",),
}
"""The member of the service's body that each option sets."""
_NULL_IF_EMPTY = {"country", "logo"}
_MOST_BYTES = 100_000
"""Of a logo, as the service takes it; a longer file is not even read."""


@owners_command(__doc__)
@option("--name", metavar="TEXT", help="Name, as on a quotation.")
@option("--street", section=_WHERE, metavar="TEXT", help="What stands above the town; \\n for a new line.")
@option("--post-code", section=_WHERE, metavar="TEXT", help="Post code.")
@option("--city", section=_WHERE, metavar="TEXT", help="Town.")
@option("--subdivision", section=_WHERE, metavar="TEXT", help="State or province, where letters have it.")
@option("--country", section=_WHERE, metavar="CODE", help="Country, for instance IE.")
@option("--contact", section=_WHO, metavar="TEXT", help="Whom to ask for.")
@option("--telephone", section=_WHO, metavar="TEXT", help="Where to call.")
@option("--email", section=_WHO, metavar="TEXT", help="Where to write.")
@option("--web", section=_WHO, metavar="ADDRESS", help="Web site.")
@option("--vat-number", section=_PAID, metavar="TEXT", help="VAT number, with the country in front.")
@option("--tax-number", section=_PAID, metavar="TEXT", help="Another number for taxes.")
@option("--iban", section=_PAID, metavar="TEXT", help="Account that customers pay to; '' for none.")
@option("--bic", section=_PAID, metavar="TEXT", help="BIC of the bank.")
@option("--account-holder", section=_PAID, metavar="TEXT", help="Who has the account, if not the workshop's name.")
@option("--logo", section=_HOW, metavar="FILE", help="A PNG or an SVG; '' for none.")
@option("--locale", section=_HOW, metavar="LOCALE", help="Language and notation of its papers, for instance en_IE.")
@option("--time-zone", section=_HOW, metavar="ZONE", help="IANA time zone; decides what today is.")
@option("--terms", section=_HOW, metavar="FILE", help="A text file with the terms of sale; '' for none.")
@option("--foot", section=_HOW, metavar="TEXT", help="What stands at the foot of every page; \\n for a new line.")
def set_workshop(service: Service, options: Options) -> None:
    """Change what the options name, and show what the papers say."""
    answer = service.send("GET", ADDRESS)
    there = answer.json()
    wanted = there
    for name, value in _given(options):
        wanted = _with(wanted, _MEMBERS[name], value)
    if wanted != there:
        there = service.send("PUT", ADDRESS, wanted, headers={"If-Match": answer.headers["ETag"]}).json()
    print("\n".join(_told(there)))


def _given(options: Options) -> Iterator[tuple[str, Any]]:
    """The options given, each with the value of its member."""
    for name in _MEMBERS:
        value = getattr(options, name)
        if value is None:
            continue
        if value == "" and name in _NULL_IF_EMPTY:
            yield name, None
        elif value and name == "logo":
            yield name, _logo(value)
        elif value and name == "terms":
            yield name, _text(value)
        else:
            yield name, value.replace("\\n", "\n")


def _content(name: str, most: int = -1) -> bytes:
    try:
        with Path(name).open("rb") as file:
            return file.read(most)
    except OSError as error:
        raise RefusedError(f"{name} cannot be read: {error.strerror}") from None


def _logo(name: str) -> str:
    content = _content(name, _MOST_BYTES + 1)
    if len(content) > _MOST_BYTES:
        raise RefusedError(f"{name} is longer than {_MOST_BYTES:,} bytes; make the picture smaller")
    return base64.b64encode(content).decode()


def _text(name: str) -> str:
    try:
        return _content(name).decode("utf-8-sig").replace("\r\n", "\n").strip()
    except UnicodeDecodeError:
        raise RefusedError(f"{name} is not a text in UTF-8") from None


def _with(members: dict[str, Any], path: tuple[str, ...], value: Any) -> dict[str, Any]:
    """The members with one of them changed; an account without a number is none."""
    name, *rest = path
    if path == ("account", "iban") and not value:
        return {**members, "account": None}
    return {**members, name: _with(members[name] or {}, tuple(rest), value) if rest else value}


def _told(seller: dict[str, Any]) -> Iterator[str]:
    """What the papers say, one line for each member that says something."""
    told = {
        **{option: seller[path[0]] for option, path in _MEMBERS.items() if len(path) == 1},
        **{option: (seller[path[0]] or {}).get(path[1]) for option, path in _MEMBERS.items() if len(path) > 1},
        "logo": seller["logo"] and f"a picture of {len(base64.b64decode(seller['logo'])):,} bytes",
    }
    width = max(map(len, told))
    for name in _MEMBERS:
        if value := told[name]:
            first, *more = isolated(value).splitlines()
            yield f"{name.replace('_', ' ').ljust(width)}  {first}"
            yield from (f"{'':{width}}  {line}" for line in more)
