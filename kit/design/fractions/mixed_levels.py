"""Fractions where some factor has three or more levels."""

import numpy as np
import pandas as pd

from kit.design.optimal_design import (
    Draw,
    ExchangeProblem,
    FactorSpace,
    Level,
    VarianceRatios,
    candidates,
    is_words,
    moves,
    search,
    structure,
)
from kit.errors import Misuse

_STARTS = 30
_SEED = 0
_MOST_COLUMNS = 60


def mixed_level_runs(levels: dict[str, tuple[Level, ...]], runs: int) -> pd.DataFrame:
    """Choose runs that keep main effects apart first, and clear of joint effects next.

    Parameters
    ----------
    levels : dict of str to tuple
    runs : int

    Raises
    ------
    Misuse
        When there are fewer runs than main effects need.

    Notes
    -----
    The Bayesian D-criterion of DuMouchel and Jones (1994), Technometrics 36: joint effects of two
    factors are expected to be small, so that more of them than runs can be guarded against. When
    they are very many, only the main effects are looked after.
    """
    needed = 1 + sum(len(choice) - 1 for choice in levels.values())
    if runs < needed:
        raise Misuse(
            f"{runs} runs are too few for the main effects of these {len(levels)} factors. "
            f"The smallest number that would do is {needed}."
        )
    space = FactorSpace(levels)
    every = np.arange(space.size)
    if runs % space.size == 0:
        return space.frame(np.tile(every, runs // space.size))
    as_words = [name if is_words(choice) else f"C({name})" for name, choice in levels.items()]
    joint = len(levels) > 1 and _columns(levels) <= _MOST_COLUMNS
    model = candidates(space, f"({' + '.join(as_words)})**{2 if joint else 1}")
    expected_small = np.diag((np.arange(model.p) >= needed).astype(float))
    layout = structure(runs, 1, None, VarianceRatios(0.0))
    problem = ExchangeProblem(model.x, layout, moves(space, layout), expected_small)
    return space.frame(np.sort(search(problem, Draw(space, layout.tile), _STARTS, _SEED)))


def _columns(levels: dict[str, tuple[Level, ...]]) -> int:
    contrasts = [len(choice) - 1 for choice in levels.values()]
    pairs = (sum(contrasts) ** 2 - sum(c**2 for c in contrasts)) // 2
    return 1 + sum(contrasts) + pairs
