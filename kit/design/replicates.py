"""Patches that repeat another one exactly, so that luck can be told from effect."""

import math

import numpy as np

from kit.design.criteria import NEVER
from kit.design.exchange import Problem
from kit.design.factors import Grid
from kit.errors import Misuse


def count_repeats(patches: np.ndarray) -> int:
    """How many patches repeat a combination that another patch has."""
    return len(patches) - len(np.unique(patches))


def with_repeats(
    problem: Problem, grid: Grid, cells: np.ndarray, wanted: int, fixed: np.ndarray
) -> np.ndarray:
    """Turn patches into copies of others, each time where it costs the criterion least.

    Parameters
    ----------
    problem : Problem
    grid : Grid
    cells : numpy.ndarray of int, shape (n,)
    wanted : int
        Least number of repeats.
    fixed : numpy.ndarray of int
        Patches that must stay as they are.

    Returns
    -------
    numpy.ndarray of int, shape (n,)

    Raises
    ------
    Misuse
        When so many repeats leave too few different patches for the terms.
    """
    patch = problem.structure.patch
    first = np.unique(patch, return_index=True)[1]
    had = count_repeats(cells[first])
    while (count := count_repeats(cells[first])) < wanted:
        tried = _copies(grid, cells, patch, first, fixed)
        values = problem.values(np.array(tried)) if tried else np.array([NEVER])
        if values.max() == NEVER:
            raise Misuse(
                f"{wanted} repeats leave too few different patches for the terms; "
                f"{max(count, had)} are possible."
            )
        cells = tried[int(values.argmax())]
    return cells


def _copies(
    grid: Grid, cells: np.ndarray, patch: np.ndarray, first: np.ndarray, fixed: np.ndarray
) -> list[np.ndarray]:
    """Plans in which a patch that stands alone has become a copy of one on a like tile."""
    own = cells[first]
    per_patch = math.prod(len(grid.levels[name]) for name in grid.patch_factors)
    values, counts = np.unique(own, return_counts=True)
    alone = set(np.flatnonzero(np.isin(own, values[counts == 1]))) - set(fixed)
    sources = np.unique(own, return_index=True)[1]
    plans = []
    for target in sorted(alone):
        for source in sources:
            if source != target and own[source] // per_patch == own[target] // per_patch:
                plan = cells.copy()
                plan[patch == target] = cells[patch == source]
                plans.append(plan)
    return plans
