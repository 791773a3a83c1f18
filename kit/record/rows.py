"""A table's rows as plain values, and back to typed columns."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain Python values; None for every blank."""
    columns = [[_plain(value) for value in frame[name].tolist()] for name in frame.columns]
    return [dict(zip(frame.columns, row, strict=True)) for row in zip(*columns, strict=True)]


def _plain(value: Any) -> Any:
    blank = value is pd.NA or value == "" or (isinstance(value, float) and math.isnan(value))
    return None if blank else value


def typed(columns: Mapping[str, list[Any]], like: pd.DataFrame) -> pd.DataFrame:
    """Build a frame with the column types of another; text has blanks, not gaps."""
    filled = {
        name: ["" if v is None else v for v in values] if like[name].dtype == "str" else values
        for name, values in columns.items()
    }
    return pd.DataFrame({n: pd.Series(v, dtype=like[n].dtype) for n, v in filled.items()})
