"""Linear equations solved to the digits of the exact arithmetic."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from service.domain.values.exact import exactly, snapped


@exactly
def solution(rows: Sequence[Sequence[Fraction | int]], right: Sequence[Fraction | int]) -> list[Fraction] | None:
    """What solves as many equations as there are unknowns, to 28 digits; None where not exactly one thing does.

    Fractions would be exact to the end, but they grow with every step.

    >>> solution([[Fraction(1), Fraction(1)], [Fraction(1), Fraction(-1)]], [Fraction(5), Fraction(1)])
    [Fraction(3, 1), Fraction(2, 1)]

    Source: Gauss–Jordan elimination, with the greatest pivot of each column.
    """
    table = [[_decimal(each) for each in (*row, value)] for row, value in zip(rows, right, strict=True)]
    if any(len(row) != len(table) + 1 for row in table):
        return None
    for place in range(len(table)):
        pivot = max(range(place, len(table)), key=lambda row: abs(table[row][place]))  # used at once
        if not table[pivot][place]:
            return None
        table[place], table[pivot] = table[pivot], table[place]
        first = table[place][place]
        table[place] = own = [each / first for each in table[place]]
        for row, others in enumerate(table):
            if row != place and (factor := others[place]):
                table[row] = [each - factor * mine if mine else each for each, mine in zip(others, own, strict=True)]
    return [Fraction(snapped(row[-1])) for row in table]


def _decimal(figure: Fraction | int) -> Decimal:
    return Decimal(figure.numerator) / Decimal(figure.denominator)
