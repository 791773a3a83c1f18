"""What a grader is expected to give, and whether one slipped a row or swapped the scores."""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import Misuse, StatisticalWarning
from kit.mixed import Array
from kit.model.right_hand_side import with_refirings
from kit.model.series_fit import ScaleFit
from kit.wording import plain_name

UNLIKELIEST = 1e-4
"""Chance below which no single grade counts as less likely: people slip now and then."""


@dataclass(frozen=True, eq=False)
class ExpectedGrades:
    """What each row is expected to be given, and how likely grades are by it.

    Attributes
    ----------
    at_most : (rows, steps) array
        Chance that a row is given at most each step.
    """

    at_most: Array

    @classmethod
    def of(cls, fit: ScaleFit, rows: pd.DataFrame) -> "ExpectedGrades":
        """Expect the grades of rows that a fit has not seen.

        Parameters
        ----------
        fit : ScaleFit
        rows : DataFrame
            As in `kit.series.observations`; without a column grader, any grader is meant.
        """
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", StatisticalWarning)
            return cls(fit.results.at_most(with_refirings(fit.labels.on(rows))).to_numpy())

    @property
    def steps(self) -> int:
        """How many steps the scale has."""
        return int(self.at_most.shape[1])

    def milder_by(self, shift: float) -> "ExpectedGrades":
        """What a grader gives who sees everything so much lower than expected, in logits."""
        inner = np.clip(self.at_most[:, :-1], 1e-9, 1 - 1e-9)
        odds = inner / (1 - inner) * np.exp(shift)
        return ExpectedGrades(np.column_stack([odds / (1 + odds), np.ones(len(inner))]))

    def log_chance(self) -> Array:
        """Log of the chance of each step, (rows, steps)."""
        return np.log(np.maximum(np.diff(self.at_most, prepend=0.0, axis=1), UNLIKELIEST))

    def told(self, grades: Array) -> float:
        """Log-likelihood of a grade for each row."""
        return float(self.log_chance()[np.arange(len(grades)), grades].sum())


STANDS_OUT = 7.0
"""Log-likelihood by which another reading of a grader's sheets must beat them as they stand: about
a thousand to one."""

SLIPPED, SWAPPED = "slipped a row", "swapped the two scores"

COLUMNS = ["grader", "how", "gain", "stands_out", "sentence"]


def grader_slips(fits: Mapping[str, ScaleFit]) -> pd.DataFrame:
    """Ask of each grader whether the grades make more sense read in another way.

    What each patch is, is taken from the other graders alone. Then a grader's grades are compared
    as they stand with the same grades moved a row up or down each tile's sheet, with the two scores
    exchanged, and with a scale turned over.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Scores that are exchanged must have as many steps.

    Returns
    -------
    DataFrame
        One row for each grader and way, the likeliest first: grader, how, gain (in log-likelihood
        over the grades as they stand), stands_out and sentence. No rows with fewer than two
        graders.
    """
    graders = sorted(set().union(*(fit.frame["grader"].unique() for fit in fits.values())))
    rows = []
    if len(graders) > 1:
        for grader in graders:
            try:
                rows += _ways_of(fits, grader)
            except Misuse:
                continue
    table = pd.DataFrame(rows, columns=["grader", "how", "gain"])
    table["stands_out"] = table["gain"] > STANDS_OUT
    table["sentence"] = [_sentence(row) for row in table.to_dict("records")]
    return table.sort_values("gain", ascending=False, ignore_index=True)[COLUMNS]


def _ways_of(fits: Mapping[str, ScaleFit], grader: str) -> list[tuple[str, str, float]]:
    sheets = {scale: _Sheet.of(fit, grader) for scale, fit in fits.items()}
    ways = [
        (grader, SLIPPED, max(sum(s.gain(s.moved(by)) for s in sheets.values()) for by in (1, -1)))
    ]
    for scale, sheet in sheets.items():
        turned = sheet.expected.steps - 1 - sheet.grade
        how = f"turned {plain_name(scale)} over"
        ways.append((grader, how, sheet.gain(turned)))
    if len(sheets) == 2:
        one, other = sheets.values()
        alike = one.frame.index.equals(other.frame.index)
        if alike and one.expected.steps == other.expected.steps:
            ways.append((grader, SWAPPED, one.gain(other.grade) + other.gain(one.grade)))
    return ways


class _Sheet:
    """One grader's grades of one scale, and what the other graders let expect."""

    def __init__(self, frame: pd.DataFrame, grade: Array, expected: ExpectedGrades) -> None:
        self.frame, self.grade, self.expected = frame, grade, expected

    @classmethod
    def of(cls, fit: ScaleFit, grader: str) -> "_Sheet":
        frame = fit.frame
        own = (frame["grader"] == grader).to_numpy()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", StatisticalWarning)
            others = fit.without_grader(grader)
        rows = frame[own].drop(columns="grader")
        expected = ExpectedGrades.of(others, rows)
        keys = [key for key in ("series", "patch", "firing") if key in rows]
        rows = rows.set_index(keys)
        return cls(rows, rows[fit.scale].cat.codes.to_numpy().astype(np.intp), expected)

    def moved(self, by: int) -> Array:
        """Grades moved along each tile's sheet: what was meant for the row before, or after."""
        sheet = [self.frame["tile"].to_numpy(), self.frame.index.get_level_values("firing")]
        grades = pd.Series(self.grade)
        own: Array = grades.groupby(sheet).transform(lambda s: np.roll(s.to_numpy(), by)).to_numpy()
        return own

    def gain(self, grade: Array) -> float:
        """Log-likelihood of other grades over that of those given."""
        return self.expected.told(grade) - self.expected.told(self.grade)


def _sentence(row: Mapping[str, object]) -> str:
    if not row["stands_out"]:
        return f"Nothing speaks for it that {row['grader']} {row['how']}."
    return (
        f"{row['grader']}'s grades would agree far better with the others' if {row['grader']} had "
        f"{row['how']}: look at those sheets again."
    )
