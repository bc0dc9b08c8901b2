"""The European Central Bank's euro foreign exchange reference rates, parsed strictly.

Source: European Central Bank, 'Euro foreign exchange reference rates', eurofxref-daily.xml and its histories: units of
a currency for one euro, published on working days at about 16:00 Central European Time.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any, NoReturn
from xml.etree.ElementTree import ParseError  # the error alone: what parses is defused
from xml.parsers.expat import errors as expat

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import XMLParser

from service.domain.currency.exchange_rates import FEED, DayRates
from service.domain.values.errors import UnknownCurrencyError
from service.domain.values.money import check_currency_on
from service.feeds.errors import Fault, FeedError
from service.feeds.patience import Patience

BASE = "EUR"
MIN_CURRENCIES = 15
"""Every day since 1999 has at least 27; with fewer than this, something is missing."""

_GESMES = "{http://www.gesmes.org/xml/2002-08-01}"
_EUROFXREF = "{http://www.ecb.int/vocabulary/2002-08-01/eurofxref}"
_ENVELOPE, _CUBE = f"{_GESMES}Envelope", f"{_EUROFXREF}Cube"
_HEADINGS = (f"{_GESMES}subject", f"{_GESMES}Sender", f"{_GESMES}name")
_RATE = re.compile(r"(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,12})?")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_CODE = re.compile(r"[A-Z]{3}")
_CUT_SHORT = {
    expat.codes[message]
    for message in (
        expat.XML_ERROR_NO_ELEMENTS,
        expat.XML_ERROR_UNCLOSED_TOKEN,
        expat.XML_ERROR_PARTIAL_CHAR,
        expat.XML_ERROR_UNCLOSED_CDATA_SECTION,
    )
}


class Span(StrEnum):
    """The period that a file covers."""

    LATEST = "latest"
    DAYS_90 = "90-days"
    HISTORY = "history"


_FILES = {
    Span.LATEST: ("eurofxref-daily.xml", 64 * 1024),
    Span.DAYS_90: ("eurofxref-hist-90d.xml", 1024 * 1024),
    Span.HISTORY: ("eurofxref-hist.xml", 32 * 1024 * 1024),
}
"""Name and greatest length of each file; they are about 2 kB, 0.1 MB and 9 MB long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """The contents of a file.

    Attributes:
        days: the rates of each day, oldest first.
        left_out: unknown currency codes, oldest first; a new currency must not block the others.
        conditions: header fields of a conditional request, which gets the file only if it has changed.
    """

    days: tuple[DayRates, ...]
    left_out: tuple[str, ...] = ()
    conditions: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceRates:
    """The feed, at an address that the operator configures.

    Attributes:
        base_address: address of its files, with a slash at the end.
        patience: time limits.
    """

    base_address: str
    patience: Patience = field(default_factory=Patience)

    def address_of(self, span: Span) -> str:
        """The address of the file."""
        return self.base_address + _FILES[span][0]

    def published(self, span: Span, today: date, conditions: Mapping[str, str]) -> Published | None:
        """The contents of the file; None if it has not changed.

        Raises:
            FeedError: if it cannot be fetched, or anything in it is wrong.
        """
        from service.feeds.fetching import fetched  # noqa: PLC0415 - slow to import, and seldom needed

        found = fetched(self.address_of(span), max_bytes=_FILES[span][1], conditions=conditions, patience=self.patience)
        return None if found is None else read(found.body, today, found.conditions)


def read(body: bytes, today: date, conditions: Mapping[str, str] | None = None) -> Published:
    """Parse the XML, and check every day and every rate.

    Raises:
        FeedError: if anything is wrong; then nothing of it is used.
    """
    reader = _Reader(today)
    parser: Any = XMLParser(target=reader, forbid_dtd=True)
    try:
        parser.feed(body)
        parser.close()
    except DefusedXmlException:
        raise FeedError(Fault.FORBIDDEN_XML, "it declares a document type or entities") from None
    except ParseError as error:
        if error.code in _CUT_SHORT:
            raise FeedError(Fault.TRUNCATED, "it breaks off before its end") from None
        raise FeedError(Fault.WRONG_CONTENT, "it is not well-formed XML") from None
    except (LookupError, ValueError):
        raise FeedError(Fault.WRONG_CONTENT, "its encoding is unknown") from None
    return reader.published(conditions or {})


class _Reader:
    """Handles the elements Envelope/Cube/Cube[@time]/Cube[@currency][@rate] one by one, without a tree."""

    def __init__(self, today: date) -> None:
        self._today = today
        self._path: list[str] = []
        self._days: dict[date, dict[str, Decimal]] = {}
        self._day = today
        self._left_out: dict[str, None] = {}

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Handle the start of an element."""
        self._path.append(tag)
        if tag in _HEADINGS:
            return
        match self._path:
            case [root] if root == _ENVELOPE:
                return
            case [_, one] if one == _CUBE:
                return
            case [_, _, two] if two == _CUBE:
                self._begin_day(attributes.get("time", ""))
            case [_, _, _, three] if three == _CUBE:
                self._add_rate(attributes.get("currency", ""), attributes.get("rate", ""))
            case _:
                self._refuse(Fault.WRONG_STRUCTURE, f"it has an element '{tag[-60:]}' in the wrong place")

    def end(self, _tag: str) -> None:
        """Handle the end of an element."""
        self._path.pop()

    def _refuse(self, fault: Fault, reason: str) -> NoReturn:
        raise FeedError(fault, reason)

    def _begin_day(self, text: str) -> None:
        try:
            if not _DAY.fullmatch(text):
                raise ValueError(text)
            self._day = date.fromisoformat(text)
        except ValueError:
            self._refuse(Fault.BAD_DAY, f"'{text[:40]}' is not a day")
        if self._day > self._today:
            self._refuse(Fault.FUTURE_DAY, f"{self._day} is after today, {self._today}")
        if self._day in self._days:
            self._refuse(Fault.DUPLICATE_DAY, f"{self._day} is in it twice")
        self._days[self._day] = {}

    def _add_rate(self, code: str, text: str) -> None:
        rates = self._days[self._day]
        if not _CODE.fullmatch(code) or code == BASE:
            self._refuse(Fault.BAD_CURRENCY, f"'{code[:40]}' on {self._day} is not another currency's code")
        if code in rates:
            self._refuse(Fault.DUPLICATE_CURRENCY, f"{code} is in it twice on {self._day}")
        if not _RATE.fullmatch(text) or not Decimal(text):
            self._refuse(Fault.BAD_RATE, f"'{text[:40]}' for {code} on {self._day} is not a rate")
        rates[code] = Decimal(text)

    def published(self, conditions: Mapping[str, str]) -> Published:
        """The days read; raises FeedError if there are none."""
        if not self._days:
            self._refuse(Fault.NO_DAY, "it has no day")
        days = tuple(self._checked(day) for day in sorted(self._days))
        return Published(days=days, left_out=tuple(self._left_out), conditions=conditions)

    def _checked(self, day: date) -> DayRates:
        found = self._days[day]
        known = {code: rate for code, rate in found.items() if self._is_known(code, day)}
        if len(known) < MIN_CURRENCIES:
            self._refuse(Fault.TOO_FEW_CURRENCIES, f"{day} has {len(known)} of at least {MIN_CURRENCIES} currencies")
        return DayRates(source=FEED, base=BASE, published_on=day, rates=known)

    def _is_known(self, code: str, day: date) -> bool:
        try:
            check_currency_on(code, day)
        except UnknownCurrencyError:
            self._left_out[code] = None
            return False
        return True
