"""All that is known about a series, worked out once and read by every part of the report."""

from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from kit.report.middle_grades import middle_grades
from kit.series import Series, observations


@dataclass(frozen=True, eq=False)
class Analysis:
    """A series with what was worked out from it.

    Parameters
    ----------
    series : Series
    observations : DataFrame
        As `kit.series.observations` gives it.
    pairs : DataFrame
        As `kit.model.pair_table` gives it; no rows when no pair can be judged.
    why_no_pairs : str
        Then the reason, as a sentence.
    """

    series: Series
    observations: pd.DataFrame
    pairs: pd.DataFrame = field(default_factory=pd.DataFrame)
    why_no_pairs: str = ""

    @cached_property
    def grades(self) -> pd.DataFrame:
        """Middle grades of every scale, as `middle_grades` gives them, with a column scale."""
        each = [
            middle_grades(self.observations, scale.name).assign(scale=scale.name)
            for scale in self.series.settings.scales
        ]
        return pd.concat(each, ignore_index=True)

    def graded(self, scale: str) -> pd.DataFrame:
        """Middle grades of one scale."""
        return self.grades[self.grades["scale"] == scale]


def analyse(series: Series) -> Analysis:
    """Work out everything that the report says about a series."""
    return Analysis(series, observations(series))
