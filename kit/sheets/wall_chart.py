"""The pair chart for the wall: the drawing that the report has, as large as the paper takes it."""

from pathlib import Path

import pandas as pd

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.series import DEFERENCE, FAMILIES, cautions_for, write_whole, writing
from kit.sheets.paper import checked_paper, typeset

_NEEDED = (
    "base", "overlay", "base_family", "overlay_family", "firings", "patches", "verdict",
    "leans_to",
)  # fmt: skip


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
    """Set the pair chart as PDF for the wall; more than one page when the colours need it.

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
    drawings = pair_charts(pairs, _colours(pairs))
    data = {
        "series": title,
        "series-title": title,
        "rule": rule,
        "deference": DEFERENCE,
        "charts": [
            {"finding": chart.title, "note": chart.note, "drawing": chart} for chart in drawings
        ],
        "cautions": [vars(c) for c in cautions_for("use")],
    }
    return typeset("wall_chart", data, checked_paper(paper))


def _colours(pairs: pd.DataFrame) -> pd.DataFrame:
    """Colours with their families, family by family, in the order they come in."""
    roles = [
        pairs[[role, f"{role}_family"]].set_axis(["colour", "family"], axis=1)
        for role in ("base", "overlay")
    ]
    colours = pd.concat(roles).drop_duplicates("colour")
    return colours.sort_values("family", key=lambda f: f.map(FAMILIES.index), kind="stable")
