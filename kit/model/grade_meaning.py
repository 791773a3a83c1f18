"""What a grade is worth when the same patch is measured: millimetres a step, grader by grader."""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.regression.linear_model import OLS

from kit.errors import Misuse
from kit.model.measured import is_share

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
    levels: pd.DataFrame
    step: float
    step_low: float
    step_high: float
    graders: pd.DataFrame
    differences: pd.DataFrame

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """How large a step is, and whether a grade means the same to each grader, in words."""
        own = [
            _own_step(row, self.measure) for row in self.graders.dropna().itertuples()
        ] if len(self.graders) > 1 else []  # fmt: skip
        apart = [_apart(row, self) for row in self.differences.itertuples()]
        return (self._step_told(), *own, *apart)

    def _step_told(self) -> str:
        name = self.scale.replace("_", "-")
        sure = f"{round(100 * self.confidence)} % sure"
        low, high = amount(self.step_low, self.measure), amount(self.step_high, self.measure)
        if self.step_low <= 0:
            return (
                f"Whether a higher grade for {name} goes with more in the photographs cannot be "
                f"told: a step is between {low} and {high} ({sure})."
            )
        return (
            f"A step of {name} is about {amount(self.step, self.measure)} "
            f"({low} to {high}, {sure}): so much more was measured, on average, where the same "
            "grader gave one grade more."
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
        As `kit.photo.join_measurements` gives it.
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
    if not 0 < confidence < 1:
        raise Misuse(f"confidence must lie between 0 and 1, not {confidence}.")
    both = _both(observations, measurements, scale, measure)
    patches = both["patch"].nunique()
    if patches < FEWEST_PATCHES:
        raise Misuse(
            f"Only {patches} patches have both a grade for {scale} and a measurement; at least "
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
        _levels(both, confidence),
        step,
        low,
        high,
        _by_grader(both, names, confidence),
        _differences(both, names, abs(step) / 2, confidence),
    )


def amount(value: float, measure: str) -> str:
    """Say a value of a measure: '0.42 mm' or '12 points' of a hundred.

    A share is told in points because a difference of shares is.
    """
    if is_share(measure):
        return f"{100 * value:.0f} points of 100"
    return f"{value:.2f} mm"


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


def _own_step(row: object, measure: str) -> str:
    told = [amount(getattr(row, name), measure) for name in ("step", "low", "high")]
    return f"For {row.grader} alone a step is {told[0]} ({told[1]} to {told[2]})."  # type: ignore[attr-defined]


def _apart(row: object, meaning: GradeMeaning) -> str:
    first, second, size = row.first, row.second, row.difference  # type: ignore[attr-defined]
    low, high = row.low, row.high  # type: ignore[attr-defined]
    if np.isnan(size):
        return f"Whether {first} and {second} mean the same by a grade cannot be told: too few."
    span = f"{amount(low, meaning.measure)} to {amount(high, meaning.measure)}"
    if row.finding == ALIKE:  # type: ignore[attr-defined]
        return (
            f"A grade means the same to {first} and {second}, to within half a step: at the same "
            f"grade their patches measured {span} apart."
        )
    if row.finding == CANNOT_TELL:  # type: ignore[attr-defined]
        return (
            f"Whether a grade means the same to {first} and {second} cannot be told from these "
            f"patches: at the same grade they measured {span} apart."
        )
    milder, stricter = (first, second) if size > 0 else (second, first)
    ends = sorted((abs(low), abs(high)))
    span = f"{amount(ends[0], meaning.measure)} to {amount(ends[1], meaning.measure)}"
    steps = f", {abs(size) / meaning.step:.1f} of a step" if meaning.step_low > 0 else ""
    return (
        f"{milder} is milder than {stricter}: at the same grade {milder}'s patches measured "
        f"{amount(abs(size), meaning.measure)} more ({span}){steps}."
    )
