"""Consecutive bands of a quantity, without gap or overlap."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.domain.values.errors import InvalidValueError, Path

Band = tuple[Decimal, Decimal | None]
"""Above the first figure, up to and including the second; without an upper end if that is None."""


def band_problems(bands: Sequence[Band], path: Path, names: tuple[str, str]) -> Iterator[InvalidValueError]:
    """Gaps, overlaps and misplaced open ends of bands that should cover everything above 0 exactly once.

    Args:
        bands: in rising order; only the last may have no upper end.
        names: of the members for the lower and the upper end, for instance ("above_kg", "up_to_kg").
    """
    lower, upper = names
    end: Decimal | None = Decimal(0)
    for index, (above, up_to) in enumerate(bands):
        place = (*path, index)
        if end is not None and above != end:
            yield InvalidValueError((*place, lower), _break(above, end, upper, is_first=index == 0))
        if up_to is None:
            if index < len(bands) - 1:
                yield InvalidValueError((*place, upper), "may be left out in the last entry only")
        elif up_to <= above:
            yield InvalidValueError((*place, upper), f"must be more than {lower}, which is {above:f}")
        end = up_to


def _break(above: Decimal, end: Decimal, upper: str, *, is_first: bool) -> str:
    if is_first:
        return "must be 0 in the first entry"
    kind = "leaves a gap after" if above > end else "overlaps"
    return f"{kind} the entry before it: must be {end:f}, where that one ends ({upper})"
