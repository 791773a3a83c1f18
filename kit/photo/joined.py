"""Measurements of a series joined to what the models need beside them."""

import pandas as pd

from kit.photo.usable import usable_measurements
from kit.series import Series, with_recipes


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
