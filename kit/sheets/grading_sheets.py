"""The grading sheets: one for each firing and grader, its rows spread evenly over full pages."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import pandas as pd

from kit.record import grading_order, planned_grades
from kit.series import Series, Settings, cautions_for
from kit.sheets.paper import MARGIN_MM, Paper, scale_key

_WIDEST_BOX_MM, _LEAST_BOX_MM = 6.5, 5.0
_NOTE_MM, _PATCH_MM, _RECIPE_MM, _GAP_MM = 15.0, 14.0, 37.0, 2.5
_BETWEEN_MM = 5.0


@dataclass(frozen=True)
class GradingLayout:
    """How the rows of a grading sheet lie on the paper.

    Parameters
    ----------
    columns : int
        One or two rows of patches side by side.
    landscape : bool
    box_mm : float
        Width of the box of one step.
    """

    columns: int
    landscape: bool
    box_mm: float


def grading_data(series: Series, paper: Paper, tiles: Collection[int]) -> dict[str, Any]:
    """Gather what the grading sheets of some tiles say."""
    settings = series.settings
    plan = planned_grades(series)
    rows = plan[plan["tile"].isin(tiles)].set_index(["firing", "patch"])
    laid = grading_layout(settings, paper)
    return {
        "blind": settings.blind,
        "parts": [
            {
                "firing": int(firing),
                "grader": grader,
                "lines": _lines(rows.loc[firing], grading_order(series, int(firing), grader)),
            }
            for firing in sorted(set(rows.index.get_level_values("firing")))
            for grader in (settings.graders or ("",))
        ],
        "scales": [scale_key(scale, settings) for scale in settings.scales],
        "columns": laid.columns,
        "box-mm": laid.box_mm,
        "cautions": [vars(c) for c in cautions_for("grade")],
    }


def grading_layout(settings: Settings, paper: Paper) -> GradingLayout:
    """Choose two columns where the boxes stay large enough to cross, else one, else a long row."""
    upright, long = paper.width_mm - 2 * MARGIN_MM, paper.height_mm - 2 * MARGIN_MM
    boxes = sum(len(scale.steps) for scale in settings.scales)
    beside = _PATCH_MM + _NOTE_MM + _GAP_MM * (len(settings.scales) + 1)
    beside += 0 if settings.blind else _RECIPE_MM

    def box(room: float) -> float:
        return min(_WIDEST_BOX_MM, (room - beside) / boxes)

    halves = (upright - _BETWEEN_MM) / 2
    if box(halves) >= _LEAST_BOX_MM:
        return GradingLayout(2, False, box(halves))
    if box(upright) >= _LEAST_BOX_MM:
        return GradingLayout(1, False, box(upright))
    return GradingLayout(1, True, box(long))


def _lines(rows: pd.DataFrame, order: list[str]) -> list[dict[str, Any]]:
    """Rows of a sheet, below a heading for each session that their tiles are made in."""
    mine = rows.loc[[patch for patch in order if patch in rows.index]]
    lines: list[dict[str, Any]] = []
    for session, own in mine.groupby("session", sort=True):
        lines.append({"session": int(session)})
        lines += [
            {"patch": str(row.Index), "recipe": f"{row.overlay} over {row.base}"}
            for row in own.itertuples()
        ]
    return lines
