"""Intervals from the likelihood itself: the values of a parameter that lose little of it.

A value's deviance is twice the log-likelihood that the best fit loses when the parameter is held
there and everything else fitted anew. Its signed square root runs close to a straight line through
zero, which is solved for the normal quantile: Bates and Watts (1988), Nonlinear Regression Analysis
and Its Applications, section 6.1.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

# Standard errors from the best value past which an end is taken to be without bound.
FARTHEST = 40.0


@dataclass(frozen=True)
class Profile:
    """One parameter's deviance by its value.

    Parameters
    ----------
    best : float
        Where the deviance is zero.
    step : float
        About a standard error, the first step to either side.
    deviance : callable
    floor : float
        Least value that the parameter can have.
    """

    best: float
    step: float
    deviance: Callable[[float], float]
    floor: float = -np.inf

    def interval(self, confidence: float) -> tuple[float, float]:
        """Ends of the values that the data do not contradict at the stated confidence."""
        reach = float(norm.ppf(0.5 + confidence / 2))
        return self._end(-1.0, reach), self._end(1.0, reach)

    def _end(self, side: float, reach: float) -> float:
        """Walk outward until the root of the deviance passes `reach`, then solve in between."""

        def missing(value: float) -> float:
            return float(np.sqrt(max(self.deviance(value), 0.0))) - reach

        inner, step = self.best, reach * self.step
        while True:
            outer = max(inner + side * step, self.floor)
            if missing(outer) >= 0:
                exact: float = brentq(missing, inner, outer, xtol=1e-6 * self.step, rtol=1e-12)
                return exact
            if outer == self.floor:
                return self.floor
            if abs(outer - self.best) > FARTHEST * self.step:
                return side * np.inf
            inner, step = outer, 1.5 * step
