"""Linear equations solved in exact fractions."""

from collections.abc import Sequence
from fractions import Fraction


def solution(rows: Sequence[Sequence[Fraction]], right: Sequence[Fraction]) -> list[Fraction] | None:
    """What solves as many equations as there are unknowns; None where not exactly one thing does.

    >>> solution([[Fraction(1), Fraction(1)], [Fraction(1), Fraction(-1)]], [Fraction(5), Fraction(1)])
    [Fraction(3, 1), Fraction(2, 1)]

    Source: Gauss–Jordan elimination.
    """
    table = [[*row, each] for row, each in zip(rows, right, strict=True)]
    if any(len(row) != len(table) + 1 for row in table):
        return None
    for place in range(len(table)):
        pivot = next((row for row in range(place, len(table)) if table[row][place]), None)
        if pivot is None:
            return None
        table[place], table[pivot] = table[pivot], table[place]
        first = table[place][place]
        table[place] = [each / first for each in table[place]]
        for row, others in enumerate(table):
            if row != place and (factor := others[place]):
                table[row] = [each - factor * own for each, own in zip(others, table[place], strict=True)]
    return [row[-1] for row in table]
