"""The grading sheets: one for each firing and grader."""

from collections.abc import Collection
from typing import Any

import pandas as pd

from kit.record import grading_order, planned_grades
from kit.series import Series, cautions_for
from kit.sheets.paper import MARGIN_MM, Paper

_WIDEST_BOX_MM = 6.5
_NOTE_MM = 34.0


def grading_data(series: Series, paper: Paper, tiles: Collection[int]) -> dict[str, Any]:
    """Gather what the grading sheets of some tiles say."""
    settings = series.settings
    plan = planned_grades(series)
    rows = plan[plan["tile"].isin(tiles)].set_index(["firing", "patch"])
    parts = [
        {
            "firing": int(firing),
            "grader": grader,
            "sessions": _sessions(rows.loc[firing], grading_order(series, int(firing), grader)),
        }
        for firing in sorted(set(rows.index.get_level_values("firing")))
        for grader in (settings.graders or ("",))
    ]
    width = paper.height_mm if lies_on_its_side(series) else paper.width_mm
    recipe = 0.0 if settings.blind else 37.0
    boxes = sum(len(scale.steps) for scale in settings.scales)
    gaps = 2.8 * (len(settings.scales) + 1)
    room = width - 2 * MARGIN_MM - _NOTE_MM - 20 - recipe - gaps
    return {
        "blind": settings.blind,
        "parts": parts,
        "scales": [{**vars(scale), "steps": list(scale.steps)} for scale in settings.scales],
        "box-mm": min(_WIDEST_BOX_MM, room / boxes),
        "cautions": [vars(c) for c in cautions_for("grade")],
    }


def _sessions(rows: pd.DataFrame, order: list[str]) -> list[dict[str, Any]]:
    """Group the rows of a sheet by the session that their tile is made in."""
    mine = rows.loc[[patch for patch in order if patch in rows.index]]
    return [
        {
            "session": int(session),
            "rows": [
                {"patch": str(row.Index), "recipe": f"{row.overlay} over {row.base}"}
                for row in own.itertuples()
            ],
        }
        for session, own in mine.groupby("session", sort=True)
    ]


def lies_on_its_side(series: Series) -> bool:
    """Whether there are so many scales that the sheet must lie on its side."""
    return len(series.settings.scales) > 3
