"""The pair chart for the wall: every base by every overlay, readable in black and white."""

from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import Misuse
from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.series import DEFERENCE, FAMILIES, cautions_for, write_whole, writing
from kit.sheets.paper import MARGIN_MM, checked_paper, typeset

_WIDEST_CELL_MM = 12.0
_HEADING_MM = 34.0
_NEEDED = (
    "base", "overlay", "base_family", "overlay_family", "patches", "fine_edge",
    "broken_through", "verdict",
)  # fmt: skip
_MARKS = {FINE_EDGE: "disc", BROKEN_THROUGH: "dots", SOFT_EDGE: "cross", NOT_KNOWN: "none"}


def write_wall_chart(
    pairs: pd.DataFrame, path: Path | str, title: str, paper: str = "a4", rule: str = ""
) -> Path:
    """Write the page that `wall_chart` sets."""
    path = Path(path)
    content = wall_chart(pairs, title, paper, rule)
    with writing(path.parent):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, content)
    return path


def wall_chart(pairs: pd.DataFrame, title: str, paper: str = "a4", rule: str = "") -> bytes:
    """Set the pair chart as one PDF page for the wall.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    title : str
    paper : {'a4', 'us-letter'}
    rule : str
        What the verdicts hold for, in words: sifter, coat, firings and confidence.

    Raises
    ------
    Misuse
        When a column is missing or there are no pairs.
    """
    missing = [name for name in _NEEDED if name not in pairs]
    if missing or pairs.empty:
        raise Misuse(f"The wall chart needs a pair table; it lacks {', '.join(missing) or 'rows'}.")
    on = checked_paper(paper)
    bases = _grouped(pairs, "base")
    overlays = _grouped(pairs, "overlay")
    across = (on.width_mm - 2 * MARGIN_MM - _HEADING_MM) / len(overlays)
    down = (on.height_mm - 110.0) / len(bases)
    cells = pairs.set_index(["base", "overlay"])
    data = {
        "series": title,
        "series-title": title,
        "rule": rule,
        "deference": DEFERENCE,
        "bases": bases,
        "overlays": overlays,
        "cell": min(_WIDEST_CELL_MM, across, down),
        "heading": _HEADING_MM,
        "cells": [
            [_cell(cells, base["name"], overlay["name"]) for overlay in overlays] for base in bases
        ],
        "cautions": [vars(c) for c in cautions_for("use")],
    }
    return typeset("wall_chart", data, on)


def _grouped(pairs: pd.DataFrame, role: str) -> list[dict[str, Any]]:
    """Colours of a role, family by family, in the order they come in."""
    colours = pairs[[role, f"{role}_family"]].drop_duplicates()
    return [
        {"name": name, "family": family, "first": i == 0}
        for family in FAMILIES
        for i, name in enumerate(colours.loc[colours[f"{role}_family"] == family, role])
    ]


def _cell(cells: pd.DataFrame, base: str, overlay: str) -> dict[str, Any]:
    if (base, overlay) not in cells.index:
        return {"mark": "none", "chance": "", "fired": False}
    row = cells.loc[(base, overlay)]
    fine, breaks = float(row["fine_edge"]), float(row["broken_through"])
    chance = {FINE_EDGE: fine, BROKEN_THROUGH: breaks, SOFT_EDGE: 1 - fine - breaks}
    sure = chance.get(row["verdict"])
    return {
        "mark": _MARKS[row["verdict"]],
        "chance": "" if sure is None else f"{100 * sure:.0f}",
        "fired": bool(row["patches"] > 0),
    }
