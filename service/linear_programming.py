"""Proposals for integer linear programmes, by HiGHS. It computes in floats; callers check the result exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isfinite
from typing import Any

_TOLERANCE = 1e-9
_OPTIONS = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "parallel": "off",
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.0,
    "mip_feasibility_tolerance": _TOLERANCE,
    "primal_feasibility_tolerance": _TOLERANCE,
    "dual_feasibility_tolerance": _TOLERANCE,
    "mip_max_nodes": 200,
    "time_limit": 10.0,  # more than any programme has needed; after it, the best solution found counts
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A solution by the solver; optimal and feasible only within its tolerance.

    Attributes:
        amounts: whole amount of each column.
        row_values: dual values: gain from one more unit of each row's limit, if fractions were allowed; some 13 digits.
    """

    amounts: tuple[int, ...]
    row_values: tuple[Fraction, ...]


def propose(
    gains: Sequence[Fraction], rows: Sequence[Sequence[Fraction]], limits: Sequence[Fraction], most: Sequence[int]
) -> Proposal | None:
    """Whole amounts of each column with the greatest total gain, within the limits of rows and columns.

    The same programme gets the same proposal: one thread, one seed, a bounded number of nodes. Returns None if the
    solver is not installed, or has no finite answer.

    Args:
        gains: gain of one unit of each column.
        rows: what one unit of each column takes, for each row.
        limits: limit of each row.
        most: greatest amount of each column.
    """
    try:
        import highspy  # noqa: PLC0415  # brings numpy; for those alone whose machines are the limit
    except ImportError:
        return None
    # The same as Highs, but without its callbacks, which print to standard output.
    solver: Any = highspy._Highs()  # type: ignore[attr-defined]
    for name, option in _OPTIONS.items():
        solver.setOptionValue(name, option)
    model = _model(highspy, gains, rows, limits, most)
    solver.passModel(model)
    solver.run()
    relaxed = solver.getSolution()
    model.integrality_ = [highspy.HighsVarType.kInteger] * len(gains)
    solver.passModel(model)
    solver.run()
    amounts, duals = solver.getSolution().col_value or relaxed.col_value, relaxed.row_dual
    if not (amounts and duals and all(map(isfinite, [*amounts, *duals]))):
        return None
    values = (Fraction(dual if dual > _TOLERANCE else 0) * max(gains) for dual in duals)
    return Proposal(
        amounts=tuple(map(round, amounts)),
        row_values=tuple(value / max(row) for value, row in zip(values, rows, strict=True)),
    )


def _model(
    highspy: Any,
    gains: Sequence[Fraction],
    rows: Sequence[Sequence[Fraction]],
    limits: Sequence[Fraction],
    most: Sequence[int],
) -> Any:
    """The programme in floats; each row and the gains are scaled by their greatest figure."""
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(gains), len(rows)
    model.sense_ = highspy.ObjSense.kMaximize
    greatest = max(gains)
    model.col_cost_ = [float(gain / greatest) for gain in gains]
    model.col_lower_, model.col_upper_ = [0.0] * len(gains), [float(each) for each in most]
    scales = [max(row) for row in rows]
    model.row_lower_ = [-highspy.kHighsInf] * len(rows)
    model.row_upper_ = [float(limit / scale) for limit, scale in zip(limits, scales, strict=True)]
    scaled = [[each / scale for each in row] for row, scale in zip(rows, scales, strict=True)]
    entries = [[(place, float(each)) for place, each in enumerate(row) if each] for row in scaled]
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = [sum(map(len, entries[:row])) for row in range(len(rows) + 1)]
    model.a_matrix_.index_ = [place for row in entries for place, _ in row]
    model.a_matrix_.value_ = [value for row in entries for _, value in row]
    return model
