"""Grades by several people brought to one middle grade a patch and firing."""

import pandas as pd

_OF_PATCH = ["tile", "position", "base", "overlay", "base_family", "overlay_family"]


def middle_grades(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Take the median over graders for each patch after each firing.

    Parameters
    ----------
    observations : DataFrame
        As `kit.series.observations` gives it.
    scale : str

    Returns
    -------
    DataFrame
        One row per graded patch and firing: patch, firing, firings, tile, position, base, overlay,
        base_family, overlay_family, grade (half steps possible), low, high (over graders), graders.
    """
    graded = observations[observations[scale].notna()].astype({scale: float})
    by_patch = graded.groupby(["patch", "firing"], sort=False)
    numbers = by_patch[scale].agg(["median", "min", "max", "count"])
    numbers.columns = pd.Index(["grade", "low", "high", "graders"])
    about = by_patch[["firings", *_OF_PATCH]].first()
    both = about.join(numbers).reset_index()
    return both.sort_values(["tile", "position", "firing"], ignore_index=True)


def last_grades(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Keep each patch's middle grade after the last firing it was graded at."""
    return middle_grades(observations, scale).drop_duplicates("patch", keep="last")
