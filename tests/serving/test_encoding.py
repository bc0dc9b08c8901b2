"""Values to JSON and back: new values are checked, stored ones are read as they were stored."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from service.domain.making.products import Operation
from service.domain.making.resources import Material, MaterialUse
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded, encoded, from_text, to_text
from tests.support import builders


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """A value that got two more fields after some were stored."""

    name: str
    notes: tuple[str, ...] = field(default_factory=tuple)
    share: Decimal = Decimal(1)


def test_a_stored_value_is_read_although_a_rule_has_become_stricter_since() -> None:
    body = builders.operation(yield_share="1.5")

    with pytest.raises(InvalidValuesError):
        decoded(body, Operation)
    stored = from_text(to_text(body), Operation)

    assert stored.yield_share == Decimal("1.5")


def test_a_value_stored_before_a_field_existed_takes_the_fields_default() -> None:
    assert from_text('{"name":"a"}', Later) == Later(name="a")


def test_words_of_a_fixed_set_are_read_as_enum_members() -> None:
    stored = from_text('{"name":"Carton","unit":"piece","use":"packaging"}', Material)

    assert stored.use is MaterialUse.PACKAGING


def test_decimals_days_and_moments_are_plain_strings() -> None:
    values = (Decimal("1E+3"), Decimal("-0.50"), date(2026, 11, 25), datetime(2026, 11, 25, 9, 5, tzinfo=UTC))

    assert [encoded(value) for value in values] == ["1000", "-0.50", "2026-11-25", "2026-11-25T09:05:00Z"]
