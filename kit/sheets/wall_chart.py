"""The pair chart for the wall: the chart of the report, as large as a sheet of paper takes it."""

import pandas as pd

from kit.drawing import pair_charts
from kit.errors import Misuse
from kit.series import DEFERENCE, cautions_for
from kit.sheets.paper import MARGIN_MM, checked_paper, typeset

_HEAD_AND_FOOT_MM = 92.0
_LARGEST = 1.6
"""How far a small chart is blown up, so that its lettering still looks like lettering."""

_MM_PER_PIXEL = 25.4 / 96


def wall_chart(
    pairs: pd.DataFrame, colours: pd.DataFrame, title: str, paper: str = "a4", rule: str = ""
) -> bytes:
    """Set the pair chart as PDF for the wall: a page, or several when it does not fit on one.

    Parameters
    ----------
    pairs : DataFrame
        As `kit.model.pair_table` gives it.
    colours : DataFrame
        Columns colour, family; the order of colours within a family is kept.
    title : str
    paper : {'a4', 'us-letter'}
    rule : str
        What the verdicts hold for, in words: sifter, coat and confidence.

    Raises
    ------
    Misuse
        When there are no pairs.
    """
    if pairs.empty:
        raise Misuse("The wall chart needs pairs, and none has been judged yet.")
    on = checked_paper(paper)
    wide, high = on.width_mm - 2 * MARGIN_MM, on.height_mm - 2 * MARGIN_MM - _HEAD_AND_FOOT_MM
    drawn = pair_charts(pairs, colours)
    charts = [
        {
            "title": chart.title,
            "alt": chart.alt,
            "note": chart.note,
            "width": min(
                wide,
                high * chart.width / chart.height,
                _LARGEST * chart.width * _MM_PER_PIXEL,
            ),
        }
        for chart in drawn
    ]
    data = {
        "series": title,
        "series-title": title,
        "rule": rule,
        "deference": DEFERENCE,
        "charts": charts,
        "cautions": [vars(caution) for caution in cautions_for("use")],
    }
    return typeset("wall_chart", data, on, pictures=[chart.svg.decode() for chart in drawn])
