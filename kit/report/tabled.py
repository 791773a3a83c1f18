"""A data frame as a table for people."""

import pandas as pd

from kit.report.document import TableBlock


def tabled(caption: str, frame: pd.DataFrame) -> TableBlock:
    """Set a frame as a table; its column names are the headings.

    Parameters
    ----------
    caption : str
    frame : DataFrame
        The first column names the rows. Numbers are set flush right and rounded to three
        figures after the point at most; missing values are blank.
    """
    numeric = frozenset(
        i for i, name in enumerate(frame.columns) if pd.api.types.is_numeric_dtype(frame[name])
    )
    rows = zip(*(map(_cell, frame[name]) for name in frame.columns), strict=True)
    return TableBlock(caption, tuple(map(str, frame.columns)), tuple(rows), numeric)


def _cell(value: object) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, float):
        return f"{round(value, 3):g}".replace("-", "−")
    return str(value)
