"""Figures of answers in the digits that people read; the answers themselves have every digit."""

from collections.abc import Iterable, Mapping
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal

NOTHING = "-"
"""Where there is no figure."""
_MORE_DECIMALS = 4
"""An amount for a unit has so many decimals more than the minor unit."""
_FOUR_DECIMALS = frozenset({"CLF", "UYW"})
"""Currencies whose minor unit has four decimals (ISO 4217:2015, list one); no other has more than three."""
_QUANTITY_DECIMALS, _RATE_DECIMALS, _LEAST_DIGITS = 3, 4, 3


def share(text: str | None) -> str:
    """A share of one as a percentage, in tenths of a percent as on paper."""
    return NOTHING if text is None else f"{_short(Decimal(text) * 100, 1)} %"


def saved_share(text: str) -> str:
    """A saving as a percentage, in tenths of a percent rounded down as on paper, so that it is never overstated."""
    return share(f"{Decimal(text).quantize(Decimal('0.001'), ROUND_FLOOR)}")


def stated_share(text: str) -> str:
    """A share that somebody stated, as a percentage with all its digits."""
    return f"{(Decimal(text) * 100).normalize():f} %"


PIECE = "piece"
_SEVERAL = {PIECE: "pieces", "m2": "m²", "m3": "m³", "hour": "hours"}


def several(unit: str) -> str:
    """What stands behind a number of a unit."""
    return _SEVERAL.get(unit, unit)


def one_of(unit: str) -> str:
    """What stands behind "per": piece, kg, m², hour."""
    return unit if unit in (PIECE, "hour") else several(unit)


def counted(figure: str | Decimal | int, unit: str) -> str:
    """A quantity in its unit: 1 piece, 12 pieces, 12.5 kg."""
    number = Decimal(figure)
    return f"{_short(number, _QUANTITY_DECIMALS)} {one_of(unit) if number == 1 else several(unit)}"


def per_pieces(price: str, base_quantity: int, unit: str = PIECE) -> str:
    """A price, with what it is for unless that is a piece: 1.06 EUR per kg, 106 EUR per 100 kg, 12 EUR per 100."""
    if unit == PIECE:
        return price if base_quantity == 1 else f"{price} per {base_quantity}"
    return f"{price} per {one_of(unit) if base_quantity == 1 else counted(base_quantity, unit)}"


def whole(text: str) -> str:
    """Minutes, as a whole number."""
    return str(_rounded(Decimal(text), 0))


def whole_up(text: str) -> str:
    """Pieces that reach a volume: the first whole number that does."""
    return f"{Decimal(text).to_integral_value(ROUND_CEILING):f}"


def whole_down(text: str) -> str:
    """Pieces within a limit: the last whole number that is."""
    return f"{Decimal(text).to_integral_value(ROUND_FLOOR):f}"


def quantity(text: str) -> str:
    """A physical quantity, with up to three decimals."""
    return _short(Decimal(text), _QUANTITY_DECIMALS)


def hours(text: str) -> str:
    """Hours, with up to one decimal."""
    return _short(Decimal(text), 1)


def rate(text: str) -> str:
    """The cost of a unit, such as a kilowatt-hour, with up to four decimals."""
    return _short(Decimal(text), _RATE_DECIMALS)


def amount(text: str, currency: str) -> str:
    """An amount at the minor unit; one for a unit with more of its decimals if it has fewer than three digits."""
    figure, given, decimals = Decimal(text), _decimals(text), minor_unit_decimals(text, currency)
    missing = _LEAST_DIGITS - 1 - figure.adjusted() if figure else 0
    return f"{_rounded(figure, min(given, max(decimals, missing)))}"


def as_exact_as(text: str, other: str) -> str:
    """An amount with as many decimals as another one that is shown."""
    return f"{_rounded(Decimal(text), _decimals(other))}"


def money(found: Mapping[str, str] | None) -> str:
    """An amount with its currency."""
    return NOTHING if found is None else f"{amount(found['amount'], found['currency'])} {found['currency']}"


def steps(first: str, deductions: Iterable[str], currency: str) -> list[str]:
    """Deductions from an amount at the minor unit, such that what is left after each is rounded right.

    A deduction may differ by one from its own rounding, and the column adds up.
    """
    left = Decimal(first)
    decimals, shown = minor_unit_decimals(first, currency), list[str]()
    for each in deductions:
        before, left = _rounded(left, decimals), left + Decimal(each)
        shown.append(f"{_rounded(left, decimals) - before}")
    return shown


def minor_unit_decimals(text: str, currency: str) -> int:
    """Decimals of the currency's minor unit, from an amount of an answer."""
    given = _decimals(text)
    is_for_a_unit = given > _MORE_DECIMALS or (given == _MORE_DECIMALS and currency not in _FOUR_DECIMALS)
    return given - _MORE_DECIMALS if is_for_a_unit else given


def _decimals(text: str) -> int:
    return len(text.partition(".")[2])


def _rounded(figure: Decimal, decimals: int) -> Decimal:
    """Rounded half up; a result of nothing has no minus."""
    rounded = figure.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return rounded or abs(rounded)


def _short(figure: Decimal, decimals: int) -> str:
    """Rounded, but never to nothing, without trailing zeros."""
    kept = max(decimals, -figure.adjusted() if figure else 0)
    return f"{_rounded(figure, kept).normalize():f}"
