"""A price list as CSV and as structured data: reading it back gives exactly what was written."""

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.documents.listing.price_list import COLUMNS, price_list_csv, price_list_json_ld
from service.domain.listing.price_list import PriceListEntry
from service.domain.listing.unit_price import Measure, UnitPrice
from service.domain.values.money import Money
from service.domain.values.units import Unit
from tests.documents.entries import a_caution, beam, entries
from tests.domain.examples import euros
from tests.domain.strategies import tried

Writer = Callable[[Iterable[PriceListEntry]], Iterator[bytes]]

FIELD = r'(?:"(?:[^"]|"")*"|[^",\r\n]*)'
RECORD = rf"{FIELD}(?:,{FIELD})*\r\n"


def written(*listed: PriceListEntry) -> str:
    return b"".join(price_list_csv(listed)).decode()


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def unguarded(cell: str) -> str:
    """The text of a cell without the apostrophe in front, removed as the documentation describes."""
    return cell[1:] if re.match(r"'+[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]", cell) else cell


def shown(value: Any) -> str:
    """The expected text of a member's cell."""
    if value is None:
        return ""
    if isinstance(value, UnitPrice):
        value = value.price
    if isinstance(value, Money):
        value = value.amount
    if isinstance(value, tuple):
        value = " | ".join(each.text for each in value)
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


class TestCsv:
    @tried
    @given(st.lists(entries(), max_size=4))
    def test_is_what_rfc_4180_allows_with_a_header_and_a_record_for_each_entry(
        self, listed: list[PriceListEntry]
    ) -> None:
        text = written(*listed)

        assert re.fullmatch(rf"(?:{RECORD}){{{len(listed) + 1}}}", text)
        assert text.startswith(",".join(COLUMNS) + "\r\n")

    @tried
    @given(entries())
    def test_gives_every_member_back_to_the_letter(self, entry: PriceListEntry) -> None:
        (record,) = read(written(entry))

        for member in fields(entry):
            assert unguarded(record[member.name]) == shown(getattr(entry, member.name))
        assert record["unit_price_measure"] == ("" if entry.unit_price is None else entry.unit_price.measure)

    @tried
    @given(entries())
    def test_gives_a_spreadsheet_nothing_to_run(self, entry: PriceListEntry) -> None:
        (record,) = read(written(entry))

        numbers = {name for name, cell in record.items() if re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", cell)}
        assert [
            name
            for name in COLUMNS
            if name not in numbers and record[name][:1] in tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
        ] == []

    def test_has_a_column_for_every_member_and_the_measure_of_the_unit_price(self) -> None:
        members = [member.name for member in fields(PriceListEntry)]
        members.insert(members.index("unit_price") + 1, "unit_price_measure")

        assert list(COLUMNS) == members

    @pytest.mark.parametrize(
        ("name", "cell"),
        [
            ("brick", "brick"),
            ("'t Hof", "'t Hof"),
            ("=1+1", "'=1+1"),
            ("'=1+1", "''=1+1"),
            ("-5 °C brick", "'-5 °C brick"),
            ("\ttab", "'\ttab"),
            ("1 = 1", "1 = 1"),
            ('3" beam, grey', '3" beam, grey'),
        ],
    )
    def test_marks_a_text_that_would_run_and_leaves_any_other_alone(self, name: str, cell: str) -> None:
        (record,) = read(written(beam(name=name)))

        assert record["name"] == cell

    def test_never_marks_a_number(self) -> None:
        (record,) = read(written(beam(margin_share=Decimal("-0.05"), mass_kg=Decimal("1E+2"))))

        assert (record["margin_share"], record["mass_kg"]) == ("-0.05", "100")

    def test_is_a_header_where_nothing_is_listed(self) -> None:
        assert written() == ",".join(COLUMNS) + "\r\n"


class TestJsonLd:
    @tried
    @given(entries())
    def test_can_be_embedded_in_a_page(self, entry: PriceListEntry) -> None:
        assert b"<" not in b"".join(price_list_json_ld([entry]))

    def test_is_an_empty_graph_where_nothing_is_listed(self) -> None:
        assert json.loads(b"".join(price_list_json_ld([]))) == {"@context": "https://schema.org", "@graph": []}

    def test_of_a_beam(self) -> None:
        unit_price = UnitPrice(measure=Measure.METRE, content=Decimal(2), price=euros("6.15"), formula="")
        entry = beam(
            price=euros("12.30"),
            unit_price=unit_price,
            shipping_weight_kg=Decimal("5.20"),
            cautions=(a_caution("Not a toy."),),
        )

        (product,) = json.loads(b"".join(price_list_json_ld([entry])))["@graph"]

        of_a_metre = product["offers"]["priceSpecification"][1]
        assert (of_a_metre["price"], of_a_metre["referenceQuantity"]["unitCode"]) == ("6.15", "MTR")
        assert product["offers"]["shippingDetails"]["weight"]["value"] == "5.20"
        assert product["additionalProperty"] == [{"@type": "PropertyValue", "name": "caution", "value": "Not a toy."}]

    def test_says_how_many_pieces_a_price_is_for_if_they_are_several(self) -> None:
        of_one, of_many = (beam(price=euros("12.30"), base_quantity=base) for base in (1, 100))

        one, many = (each["offers"] for each in json.loads(b"".join(price_list_json_ld([of_one, of_many])))["@graph"])

        hundred = {"@type": "QuantitativeValue", "value": "100", "unitCode": "H87"}
        assert many.pop("eligibleQuantity") == hundred
        assert many["priceSpecification"][0].pop("referenceQuantity") == hundred
        assert many == one

    @pytest.mark.parametrize(("base", "of"), [(1, "1"), (100, "100")])
    def test_says_the_unit_of_what_is_not_sold_by_the_piece(self, base: int, of: str) -> None:
        flakes = beam(price=euros("1.06"), base_quantity=base, unit=Unit.KILOGRAM)

        (product,) = json.loads(b"".join(price_list_json_ld([flakes])))["@graph"]

        quantity = {"@type": "QuantitativeValue", "value": of, "unitCode": "KGM"}
        assert product["offers"]["eligibleQuantity"] == quantity
        assert product["offers"]["priceSpecification"][0]["referenceQuantity"] == quantity


@pytest.mark.parametrize("write", [price_list_csv, price_list_json_ld], ids=["csv", "json-ld"])
def test_an_entry_is_written_before_the_next_is_read(write: Writer) -> None:
    asked = []

    def listed() -> Iterator[PriceListEntry]:
        for number in range(3):
            asked.append(number)
            yield beam(listing=f"beam-{number}")

    chunks = write(listed())

    assert next(chunks)
    assert asked == []
    assert next(chunks)
    assert asked == [0]
    assert list(chunks)
    assert asked == [0, 1, 2]
