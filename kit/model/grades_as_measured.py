"""What a grade is worth when the same patch is measured: millimetres a step, grader by grader."""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.regression.linear_model import OLS

from kit.errors import Misuse
from kit.mixed import checked_confidence
from kit.wording import exact_percent, gap, gap_between

FEWEST_PATCHES = 6
"""With fewer, an interval that lets patches differ would be narrower than is honest."""

ALIKE, DIFFER, CANNOT_TELL = "alike", "differ", "cannot tell"


@dataclass(frozen=True, eq=False)
class GradeMeaning:
    """Grades of one scale against one measure of the same patches.

    Intervals hold with `confidence`. They take readings of one patch to belong together.

    Attributes
    ----------
    scale, measure : str
    confidence : float
    readings : DataFrame
        One row per grade of a measured patch: patch, grader, grade, value (of the measure).
    levels : DataFrame
        One row a grader and grade: grader, grade, patches, readings, average (of the measure, in
        mm or as a share), low, high. The interval is missing with fewer than 6 patches.
    step, step_low, step_high : float
        How much more the measure is, on average, for a grade one step higher by the same grader.
    graders : DataFrame
        The same by grader: grader, patches, step, low, high. Missing where it cannot be told.
    differences : DataFrame
        One row for every two graders: first, second, difference (how much more the measure is at
        the same grade of the first), low, high and finding ('alike', 'differ', 'cannot tell').
    """

    scale: str
    measure: str
    confidence: float
    readings: pd.DataFrame
    levels: pd.DataFrame
    step: float
    step_low: float
    step_high: float
    graders: pd.DataFrame
    differences: pd.DataFrame

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """How large a step is, and whether a grade means the same to each grader, in words."""
        several = len(self.graders) > 1
        told = self.graders.dropna() if several else self.graders.iloc[:0]
        own = [_own_step(row, self.measure) for row in told.itertuples()]
        apart = [_apart(row, self) for row in self.differences.itertuples()]
        return (self._step_told(), *own, *apart)

    def _step_told(self) -> str:
        name = self.scale.replace("_", "-")
        span = gap_between(self.step_low, self.step_high, self.measure)
        sure = f"{span}, {exact_percent(self.confidence)} sure"
        if self.step_low <= 0:
            return (
                f"Whether a higher grade for {name} goes with more in the photographs cannot be "
                f"told from these patches ({sure})."
            )
        return (
            f"A step of {name} is about {gap(self.step, self.measure)} ({sure}): so much more "
            "was measured, on average, where the same grader gave one grade more."
        )


def grades_against_measurements(
    observations: pd.DataFrame,
    measurements: pd.DataFrame,
    scale: str,
    measure: str,
    confidence: float = 0.9,
) -> GradeMeaning:
    """Compare the grades of one scale with what photographs of the same patches measured.

    Step and differences come from ordinary regressions of the measure on grade and grader, with
    standard errors that let readings of one patch belong together: Liang and Zeger (1986),
    Longitudinal data analysis using generalized linear models, Biometrika 73, as statsmodels
    computes them, on Student's t with one degree of freedom fewer than there are patches.

    What is told is the measure to expect at a grade. A grader who wavers gives some grades too
    high and some too low, which pulls these averages together: a step is then smaller than the
    distance between the bounds that the grader has in mind.

    Parameters
    ----------
    observations : DataFrame
        As `kit.series.observations` gives it.
    measurements : DataFrame
        As `kit.series.join_measurements` gives it.
    scale, measure : str
        Columns of the two.
    confidence : float

    Raises
    ------
    Misuse
        If fewer than 6 patches were both graded and measured, or all got the same grade.
    """
    for frame, column in ((observations, scale), (measurements, measure)):
        if column not in frame:
            raise Misuse(f"There is no column {column!r}.")
    checked_confidence(confidence)
    both = _both(observations, measurements, scale, measure)
    patches = both["patch"].nunique()
    if patches < FEWEST_PATCHES:
        raise Misuse(
            f"{patches} of the patches graded for {scale} were measured; at least "
            f"{FEWEST_PATCHES} are needed to say what a grade is worth."
        )
    if both["grade"].min() == both["grade"].max():
        raise Misuse(f"Every measured patch got the same grade for {scale}.")
    names = sorted(both["grader"].unique())
    own_level = pd.get_dummies(both["grader"], dtype=float)
    step, low, high = _last_effect(both, own_level.assign(grade=both["grade"]), confidence)
    return GradeMeaning(
        scale,
        measure,
        confidence,
        both,
        _levels(both, confidence),
        step,
        low,
        high,
        _by_grader(both, names, confidence),
        _differences(both, names, abs(step) / 2, confidence),
    )


def _both(
    observations: pd.DataFrame, measurements: pd.DataFrame, scale: str, measure: str
) -> pd.DataFrame:
    keys = ["series", "patch", "firing"]
    joined = observations[[*keys, "grader", scale]].merge(
        measurements[[*keys, measure]], on=keys, validate="many_to_one"
    )
    joined = joined.dropna(subset=[scale, measure])
    return pd.DataFrame(
        {
            "patch": joined["series"] + " " + joined["patch"],
            "grader": joined["grader"].astype(str),
            "grade": joined[scale].astype(float),
            "value": joined[measure].astype(float),
        }
    )


def _last_effect(
    rows: pd.DataFrame, design: pd.DataFrame, confidence: float
) -> tuple[float, float, float]:
    """The last coefficient of a regression on the design, with its interval; or all missing."""
    count = rows["patch"].nunique()
    if count < FEWEST_PATCHES:
        return (np.nan,) * 3
    groups = pd.factorize(rows["patch"])[0]
    fit = OLS(rows["value"].to_numpy(), design.to_numpy()).fit(
        cov_type="cluster", cov_kwds={"groups": groups}
    )
    # Where two graders always agree the variance is nothing, which rounding may make negative.
    middle, se = float(fit.params[-1]), float(np.sqrt(max(fit.cov_params()[-1, -1], 0.0)))
    reach = float(stats.t.ppf(0.5 + confidence / 2, count - 1)) * se
    return middle, middle - reach, middle + reach


def _levels(both: pd.DataFrame, confidence: float) -> pd.DataFrame:
    rows = []
    for (grader, grade), cell in both.groupby(["grader", "grade"]):
        _, low, high = _last_effect(cell, pd.DataFrame({"level": 1.0}, cell.index), confidence)
        rows.append(
            {
                "grader": grader,
                "grade": int(grade),
                "patches": cell["patch"].nunique(),
                "readings": len(cell),
                "average": float(cell["value"].mean()),
                "low": low,
                "high": high,
            }
        )
    return pd.DataFrame(rows)


def _by_grader(both: pd.DataFrame, names: list[str], confidence: float) -> pd.DataFrame:
    rows = []
    for name in names:
        own = both[both["grader"] == name]
        told = (np.nan,) * 3
        if own["grade"].min() < own["grade"].max():
            told = _last_effect(
                own, pd.DataFrame({"level": 1.0, "grade": own["grade"]}), confidence
            )
        rows.append((name, own["patch"].nunique(), *told))
    return pd.DataFrame(rows, columns=["grader", "patches", "step", "low", "high"])


def _differences(
    both: pd.DataFrame, names: list[str], near: float, confidence: float
) -> pd.DataFrame:
    """Graders compared at the same grade, whatever the measure does from grade to grade."""
    rows = []
    for first, second in combinations(names, 2):
        pair = both[both["grader"].isin([first, second])]
        pair = pair[pair.groupby("grade")["grader"].transform("nunique") > 1]
        told = (np.nan,) * 3
        if len(pair):
            level = pd.get_dummies(pair["grade"], dtype=float)
            by_first = (pair["grader"] == first).astype(float)
            told = _last_effect(pair, level.assign(first=by_first), confidence)
        rows.append((first, second, *told, _finding(*told[1:], near)))
    columns = ["first", "second", "difference", "low", "high", "finding"]
    return pd.DataFrame(rows, columns=columns)


def _finding(low: float, high: float, near: float) -> str:
    if low > 0 or high < 0:
        return DIFFER
    return ALIKE if -near <= low and high <= near else CANNOT_TELL


def _own_step(row: Any, measure: str) -> str:
    span = gap_between(row.low, row.high, measure)
    return f"For {row.grader} alone a step is {gap(row.step, measure)} ({span})."


def _apart(row: Any, meaning: GradeMeaning) -> str:
    measure, pair = meaning.measure, f"{row.first} and {row.second}"
    if np.isnan(row.difference):
        return f"Whether {pair} mean the same by a grade cannot be told: too few patches."
    more, less = (row.first, row.second) if row.difference > 0 else (row.second, row.first)
    ends = (row.low, row.high) if row.difference > 0 else (-row.high, -row.low)
    span = gap_between(ends[0], ends[1], measure)
    size = f"{gap(abs(row.difference), measure)} more ({span})"
    if row.finding == ALIKE:
        return (
            f"A grade means the same to {pair}, to within half a step: at the same grade "
            f"{more}'s patches measured {size}."
        )
    if row.finding == CANNOT_TELL:
        return (
            f"Whether a grade means the same to {pair} cannot be told from these patches: at the "
            f"same grade {more}'s measured {size}."
        )
    steps = f", {abs(row.difference) / meaning.step:.1f} of a step" if meaning.step_low > 0 else ""
    little = "a little " if abs(row.difference) < meaning.step / 4 else ""
    return (
        f"{more} is {little}milder than {less}: at the same grade {more}'s patches measured "
        f"{size}{steps}."
    )
