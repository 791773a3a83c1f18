"""Whether grades leave an effect without a finite estimate.

The log-likelihood of grades given eta = x'beta is concave. It has a finite maximum unless there is
a direction in which no row's chance ever falls and some row's rises: changes of thresholds t and
effects d with

    t_y >= x'd >= t_{y-1}  for every row,  somewhere strictly.

A linear programme finds such a direction or proves that there is none: Albert and Anderson (1984),
On the existence of maximum likelihood estimates in logistic regression models, Biometrika 71; for
cumulative models Haberman (1980), discussion of McCullagh, Journal of the Royal Statistical Society
B 42. What random effects add to eta changes neither side's order, so the answer holds with them.
"""

import numpy as np
from scipy.optimize import linprog

from kit.mixed.sparsity import Array, Index

# A direction's entries are at most 1; below this they are the arithmetic's own.
TOLERANCE = 1e-7


def without_finite_estimate(y: Index, x: Array, steps: int) -> list[int]:
    """Places of the effects that run off to infinity.

    Parameters
    ----------
    y : (n,) integer array
        Step of each row, counted from 0; every step is used.
    x : (n, p) array
        Effects' columns, without a constant.
    steps : int

    Returns
    -------
    list of int
        Empty if the likelihood has a finite maximum.
    """
    gains = _gains(y, x, steps)
    cuts = steps - 1
    if -_least(gains, -gains.sum(axis=0)) < TOLERANCE:
        return []
    found = []
    for j in range(x.shape[1]):
        one = np.zeros(gains.shape[1])
        one[cuts + j] = 1.0
        if max(-_least(gains, one), -_least(gains, -one)) > TOLERANCE:
            found.append(j)
    return found


def _gains(y: Index, x: Array, steps: int) -> Array:
    """How far each row's two distances to its cuts grow along a direction (t, d)."""
    cuts = steps - 1
    # Columns are brought to one size, so that no direction hides behind a large unit.
    scaled = x / np.maximum(np.ptp(x, axis=0), 1e-300)
    rows = np.unique(np.column_stack([y, scaled]), axis=0)
    step, scaled = rows[:, 0].astype(int), rows[:, 1:]
    above = np.hstack([np.eye(cuts, steps).T[step], -scaled])[step < cuts]
    below = np.hstack([-np.eye(steps, cuts, k=-1)[step], scaled])[step > 0]
    return np.vstack([above, below])


def _least(gains: Array, cost: Array) -> float:
    """Least cost of a direction along which no distance shrinks, its entries at most 1."""
    answer = linprog(cost, A_ub=-gains, b_ub=np.zeros(len(gains)), bounds=(-1, 1), method="highs")
    return float(answer.fun) if answer.success else 0.0
