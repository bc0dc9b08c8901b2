"""Student's t: how far from an estimate the truth may be, by how many batches it rests on."""

from bisect import bisect_right
from decimal import Decimal

_FREE = (*range(1, 31), 40, 50, 60, 70, 80, 90, 100)
_QUANTILES = (
    *("12.706", "4.303", "3.182", "2.776", "2.571", "2.447", "2.365", "2.306", "2.262", "2.228"),
    *("2.201", "2.179", "2.160", "2.145", "2.131", "2.120", "2.110", "2.101", "2.093", "2.086"),
    *("2.080", "2.074", "2.069", "2.064", "2.060", "2.056", "2.052", "2.048", "2.045", "2.042"),
    *("2.021", "2.009", "2.000", "1.994", "1.990", "1.987", "1.984"),
)
_T = tuple(map(Decimal, _QUANTILES))


def t_of_95_per_cent(degrees_of_freedom: int) -> Decimal:
    """The two-sided 95 % quantile of Student's t; between two that are tabulated, and above 100, the wider one.

    >>> t_of_95_per_cent(1), t_of_95_per_cent(45), t_of_95_per_cent(5000)
    (Decimal('12.706'), Decimal('2.021'), Decimal('1.984'))

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2, column 0.975.

    Args:
        degrees_of_freedom: at least 1.
    """
    return _T[bisect_right(_FREE, degrees_of_freedom) - 1]
