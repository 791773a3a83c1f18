"""The pair chart for the wall: the chart of the report, as large as a sheet of paper takes it."""

import pandas as pd

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.series import DEFERENCE, cautions_for
from kit.sheets.paper import checked_paper, typeset

_LARGEST = 1.6
"""How far a small chart is blown up, so that its lettering still looks like lettering."""


def wall_chart(
    pairs: pd.DataFrame, colours: pd.DataFrame, title: str, paper: str = "a4", rule: str = ""
) -> bytes:
    """Set the pair chart as PDF for the wall: a page, or several when it does not fit on one.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    colours : DataFrame
        Columns colour, family.
    title : str
    paper : {'a4', 'us-letter'}
    rule : str
        What the verdicts hold for, in words: sifter, coat, firings and confidence.

    Raises
    ------
    Misuse
        When there are no pairs.
    """
    if pairs.empty:
        raise Misuse("The wall chart needs pairs, and none has been judged yet.")
    data = {
        "series": title,
        "series-title": title,
        "rule": rule,
        "deference": DEFERENCE,
        "largest": _LARGEST,
        "charts": [
            {"finding": chart.title, "note": chart.note, "drawing": chart}
            for chart in pair_charts(pairs, colours)
        ],
        "cautions": [vars(caution) for caution in cautions_for("use")],
    }
    return typeset("wall_chart", data, checked_paper(paper))
