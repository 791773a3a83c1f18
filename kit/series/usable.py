"""Which measurements the models may use, and what stands beside them there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from kit.series.patch_history import with_recipes
from kit.series.tables import MEASUREMENTS

if TYPE_CHECKING:
    from kit.series.series import Series

_NAMES = [column.name for column in MEASUREMENTS.columns]

MEASURES = tuple(name for name in _NAMES if f"{name}_se" in _NAMES)
"""The measured columns; each has its standard error beside it, named with `_se`."""

TRUSTED = ("good", "fair")


def usable_measurements(measurements: pd.DataFrame) -> pd.DataFrame:
    """Take what can be trusted, several pictures of one patch after one firing averaged.

    A person's word goes before the kit's: 'no' under `accepted` strikes a measurement out, 'yes'
    keeps one that the kit calls poor. Standard errors are averaged too, not made smaller, because
    pictures of one patch share most of their errors.

    Parameters
    ----------
    measurements : DataFrame
        As in measurements.csv.

    Returns
    -------
    DataFrame
        patch, firing, each of `MEASURES` and its `_se`, and pictures: how many were averaged.
    """
    said = measurements["accepted"].fillna("").str.strip().str.lower()
    measured = measurements["spread_mm"].notna()
    trusted = measurements["quality"].isin(TRUSTED) & (said != "no")
    kept = measurements[measured & (trusted | (said == "yes"))]
    columns = [column for name in MEASURES for column in (name, f"{name}_se")]
    groups = kept.groupby(["patch", "firing"], sort=False)
    return groups[columns].mean().assign(pictures=groups.size()).reset_index()


def join_measurements(series: Series) -> pd.DataFrame:
    """Join what can be trusted of a series' measurements to patch, tile and colours.

    Parameters
    ----------
    series : Series

    Returns
    -------
    DataFrame
        One row per measured patch and firing, lost patches left out. Columns as
        `kit.series.observations` has them, without grader and grades, then those of
        `usable_measurements`: lengths in mm, shares from 0 to 1.
    """
    return with_recipes(series, usable_measurements(series.measurements))
