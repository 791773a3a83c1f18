"""All that is known about a series, worked out once and read by every part of the report."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from kit.errors import Misuse, StatisticalWarning
from kit.model import ScaleFit, fit_series
from kit.report.middle_grades import middle_grades
from kit.series import Scale, Series, observations


@dataclass(frozen=True)
class Fits:
    """The fitted scales, and the reasons where there is no fit.

    Parameters
    ----------
    by_scale : mapping of str to ScaleFit
    missing : mapping of str to str
        Why a scale could not be fitted, by scale.
    warned : mapping of str to tuple of str
        What must be said about a fit, by scale.
    """

    by_scale: Mapping[str, ScaleFit]
    missing: Mapping[str, str]
    warned: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, eq=False)
class Analysis:
    """A series with what was worked out from it.

    Parameters
    ----------
    series : Series
    observations : DataFrame
        As `kit.series.observations` gives it.
    fits : Fits
    pairs : DataFrame
        As `kit.model.pair_table` gives it; no rows when no pair can be judged.
    why_no_pairs : str
        Then the reason, as a sentence.
    """

    series: Series
    observations: pd.DataFrame
    fits: Fits
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

    @property
    def scales(self) -> tuple[Scale, ...]:
        """The scales that anything was graded on."""
        settings = self.series.settings
        return tuple(s for s in settings.scales if self.observations[s.name].notna().any())


def analyse(series: Series) -> Analysis:
    """Work out everything that the report says about a series."""
    fits = fit_scales([series], series.settings.scales)
    return Analysis(series, observations(series), fits)


def fit_scales(several: Sequence[Series], scales: Sequence[Scale]) -> Fits:
    """Fit every scale to one series or several, keeping the reasons where that cannot be done."""
    by_scale, missing, warned = {}, {}, {}
    for scale in scales:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always", StatisticalWarning)
            try:
                by_scale[scale.name] = fit_series(several, scale.name)
            except Misuse as reason:
                missing[scale.name] = str(reason)
        warned[scale.name] = tuple(
            str(w.message) for w in said if issubclass(w.category, StatisticalWarning)
        )
    return Fits(by_scale, missing, warned)
