"""Proposals for whole-number linear programmes, by HiGHS: floats stay in here, and whoever asks checks them exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

_OPTIONS = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "parallel": "off",
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.0,
    "mip_feasibility_tolerance": 1e-9,
    "primal_feasibility_tolerance": 1e-9,
    "dual_feasibility_tolerance": 1e-9,
    "mip_max_nodes": 200,
    "time_limit": 10.0,  # beyond any that was met; who is not ready by then gives the best found
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What the solver thinks; nothing of it is exact but the whole numbers themselves.

    Attributes:
        amounts: of each column, in whole numbers.
        basic: columns that the programme without whole numbers leaves between their limits.
        tight: rows that it uses up.
    """

    amounts: tuple[int, ...]
    basic: tuple[int, ...]
    tight: tuple[int, ...]


def propose(
    gains: Sequence[Fraction], rows: Sequence[Sequence[Fraction]], limits: Sequence[Fraction], most: Sequence[int]
) -> Proposal:
    """Whole amounts from 0 to the most of each column, with the greatest gain, each row within its limit.

    The same programme has the same proposal: one thread, one seed, and the search is bounded by its nodes.

    Args:
        gains: of one of each column.
        rows: what one of each column takes.
        limits: of each row.
        most: of each column.
    """
    import highspy  # noqa: PLC0415  # brings numpy; for those alone whose machines are the limit

    # The same as Highs without its callbacks, which announce themselves on standard output.
    solver: Any = highspy._Highs()  # type: ignore[attr-defined]
    for name, option in _OPTIONS.items():
        solver.setOptionValue(name, option)
    model = _model(highspy, gains, rows, limits, most)
    solver.passModel(model)
    solver.run()
    basis, relaxed = solver.getBasis(), solver.getSolution().col_value
    is_basic = highspy.HighsBasisStatus.kBasic
    basic = tuple(place for place, status in enumerate(basis.col_status) if status == is_basic)
    tight = tuple(place for place, status in enumerate(basis.row_status) if status != is_basic)
    model.integrality_ = [highspy.HighsVarType.kInteger] * len(gains)
    solver.passModel(model)
    solver.run()
    values = solver.getSolution().col_value or relaxed
    return Proposal(amounts=tuple(round(value) for value in values), basic=basic, tight=tight)


def _model(
    highspy: Any,
    gains: Sequence[Fraction],
    rows: Sequence[Sequence[Fraction]],
    limits: Sequence[Fraction],
    most: Sequence[int],
) -> Any:
    """The programme in floats, each row and the gains divided by their greatest figure."""
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
