"""Reading the feed's files strictly: a valid file is read to the digit, an invalid one is refused whole."""

from datetime import date
from decimal import Decimal

import pytest

from service.domain.currency.exchange_rates import FEED
from service.feeds.errors import Fault, FeedError
from service.feeds.reference_rates import MIN_CURRENCIES, read
from tests.domain.examples import TODAY
from tests.support.feed import HEAD, RATES, TAIL, day_of, entities, with_rates, xml_of

YESTERDAY = day_of(1, TODAY)
GOOD = xml_of({YESTERDAY: RATES})
NS = "http://www.gesmes.org/xml/2002-08-01"


def replaced(old: str, new: str, count: int = 1) -> bytes:
    """The good file with `old` replaced by `new`."""
    assert old.encode() in GOOD
    return GOOD.replace(old.encode(), new.encode(), count)


def bomb() -> bytes:
    """Nested entities that would expand to a billion laughs."""
    return replaced("<gesmes:Envelope", f"<!DOCTYPE x [{entities('i')}]><gesmes:Envelope").replace(b"Reference", b"&i;")


FAULTS: dict[str, tuple[bytes, Fault]] = {
    "nothing": (b"", Fault.TRUNCATED),
    "half a file": (GOOD[: len(GOOD) // 2], Fault.TRUNCATED),
    "all but the last tag": (GOOD.replace(b"</gesmes:Envelope>", b""), Fault.TRUNCATED),
    "half a tag at the end": (GOOD.rstrip()[:-3], Fault.TRUNCATED),
    "a page": (b"<html><head><title>Sorry</title></head></html>", Fault.WRONG_STRUCTURE),
    "a page with a document type": (b"<!DOCTYPE html><html></html>", Fault.FORBIDDEN_XML),
    "plain text": (b"Service unavailable", Fault.WRONG_CONTENT),
    "JSON": (b'{"rates": {}}', Fault.WRONG_CONTENT),
    "bytes of no text": (b"\x00\xff\x1f\x8b" * 100, Fault.WRONG_CONTENT),
    "an unknown encoding": (replaced('encoding="UTF-8"', 'encoding="rot13"'), Fault.WRONG_CONTENT),
    "something after the end": (GOOD + b"<more/>", Fault.WRONG_CONTENT),
    "entities that explode": (bomb(), Fault.FORBIDDEN_XML),
    "an entity of a file": (
        replaced("<gesmes:Envelope", '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]><gesmes:Envelope'),
        Fault.FORBIDDEN_XML,
    ),
    "a document type elsewhere": (
        replaced("<gesmes:Envelope", '<!DOCTYPE x SYSTEM "http://192.0.2.1/x.dtd"><gesmes:Envelope'),
        Fault.FORBIDDEN_XML,
    ),
    "another namespace": (replaced("/2002-08-01/eurofxref", "/2002-08-01/other"), Fault.WRONG_STRUCTURE),
    "another namespace of the envelope": (replaced(NS, "http://elsewhere.example/"), Fault.WRONG_STRUCTURE),
    "no namespace": (GOOD.replace(b"gesmes:", b"").replace(b"xmlns", b"x"), Fault.WRONG_CONTENT),
    "an element too deep": (replaced('rate="1.0772"/>', 'rate="1.0772"><Cube/></Cube>'), Fault.WRONG_STRUCTURE),
    "another element": (replaced("<Cube time", "<Ball/><Cube time"), Fault.WRONG_STRUCTURE),
    "levels without end": (HEAD.encode() + b"<Cube>" * 100_000, Fault.BAD_DAY),
    "no day": (f"{HEAD}{TAIL}".encode(), Fault.NO_DAY),
    "a thirteenth month": (xml_of({"2026-13-01": RATES}), Fault.BAD_DAY),
    "a day without dashes": (xml_of({"20261124": RATES}), Fault.BAD_DAY),
    "a day in other digits": (xml_of({"٢٠٢٦-11-24": RATES}), Fault.BAD_DAY),
    "no day's name": (replaced(f'time="{YESTERDAY}"', ""), Fault.BAD_DAY),
    "tomorrow": (xml_of({day_of(-1, TODAY): RATES, YESTERDAY: RATES}), Fault.FUTURE_DAY),
    "a day twice": (replaced("</Cube></gesmes", f'<Cube time="{YESTERDAY}"/></Cube></gesmes'), Fault.DUPLICATE_DAY),
    "a currency twice": (replaced('currency="JPY"', 'currency="USD"'), Fault.DUPLICATE_CURRENCY),
    "the base": (replaced('currency="JPY"', 'currency="EUR"'), Fault.BAD_CURRENCY),
    "a code that is none": (replaced('currency="JPY"', 'currency="yen"'), Fault.BAD_CURRENCY),
    "a rate of nothing in particular": (replaced('currency="JPY"', ""), Fault.BAD_CURRENCY),
    "zero": (replaced("1.0772", "0"), Fault.BAD_RATE),
    "zero in decimals": (replaced("1.0772", "0.0000"), Fault.BAD_RATE),
    "a negative rate": (replaced("1.0772", "-1.0772"), Fault.BAD_RATE),
    "NaN": (replaced("1.0772", "NaN"), Fault.BAD_RATE),
    "Infinity": (replaced("1.0772", "Infinity"), Fault.BAD_RATE),
    "an exponent": (replaced("1.0772", "1e20000000"), Fault.BAD_RATE),
    "a decimal comma": (replaced("1.0772", "1,0772"), Fault.BAD_RATE),
    "a rate that is not available": (replaced("1.0772", "N/A"), Fault.BAD_RATE),
    "an empty rate": (replaced("1.0772", ""), Fault.BAD_RATE),
    "5,000 digits": (replaced("1.0772", "9" * 5000), Fault.BAD_RATE),
    "a day with too few": (
        xml_of({YESTERDAY: dict(list(RATES.items())[: MIN_CURRENCIES - 1])}),
        Fault.TOO_FEW_CURRENCIES,
    ),
    "an empty day among others": (xml_of({YESTERDAY: RATES, day_of(2, TODAY): {}}), Fault.TOO_FEW_CURRENCIES),
}


@pytest.mark.parametrize(("body", "fault"), FAULTS.values(), ids=FAULTS.keys())
def test_an_invalid_file_is_refused_by_the_name_of_its_fault(body: bytes, fault: Fault) -> None:
    with pytest.raises(FeedError) as error:
        read(body, TODAY)

    assert error.value.fault is fault
    assert len(str(error.value)) < 200


def test_a_file_as_published_is_read_to_the_digit() -> None:
    (day,) = read(GOOD, TODAY).days

    assert (day.source, day.base, day.published_on) == (FEED, "EUR", date.fromisoformat(YESTERDAY))
    assert {code: str(rate) for code, rate in day.rates.items()} == RATES


def test_days_come_oldest_first_in_whatever_order_they_stand() -> None:
    days = read(xml_of({day_of(back, TODAY): RATES for back in (3, 0, 2)}), TODAY).days

    assert [(TODAY - day.published_on).days for day in days] == [3, 2, 0]


def test_the_least_number_of_currencies_is_enough() -> None:
    fewest = dict(list(RATES.items())[:MIN_CURRENCIES])

    assert len(read(xml_of({YESTERDAY: fewest}), TODAY).days[0].rates) == MIN_CURRENCIES


def test_an_unknown_currency_is_left_out_and_stops_no_other() -> None:
    found = read(xml_of({YESTERDAY: with_rates(ZZZ="3.1")}), TODAY)

    assert found.left_out == ("ZZZ",)
    assert set(found.days[0].rates) == set(RATES)


def test_a_currency_that_has_ended_is_read_until_its_last_day_and_left_out_afterwards() -> None:
    found = read(xml_of({"2022-12-30": with_rates(HRK="7.5365"), "2023-01-16": with_rates(HRK="7.5")}), TODAY)

    before, after = found.days
    assert before.rates["HRK"] == Decimal("7.5365")
    assert "HRK" not in after.rates
    assert found.left_out == ("HRK",)
