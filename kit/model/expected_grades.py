"""The chance of each grade of some rows, by a fit that has not seen them."""

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import StatisticalWarning
from kit.mixed import Array
from kit.model.right_hand_side import with_refirings
from kit.model.series_fit import ScaleFit

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
