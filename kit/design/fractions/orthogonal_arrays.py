"""Orthogonal arrays that handbooks print, and where none is printed the runs nearest to one.

Printed are 12 runs of two levels, 3^13 in 27 and 2^11 3^12 in 36.
Two-level arrays are those of Plackett and Burman (1946), The design of optimum multifactorial
experiments, Biometrika 33. The arrays with three levels are those of Taguchi's tables as listed
in the designs of the NIST Dataplot collection and in Sloane's library of orthogonal arrays
(Hedayat, Sloane and Stufken 1999, Orthogonal Arrays). pyDOE3 holds both.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from pyDOE3 import get_orthogonal_array, pbdesign

from kit.design.fractions.aliases import word_length_pattern
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

TWO_LEVEL_RUNS = (12, 20, 24, 40, 48)
_PRINTED = {18: "L18(6^1 3^6)", 27: "L27(2^1 3^12)", 36: "L36(3^23)"}
"""What pyDOE3 calls them: the second is 3^13, the third 2^11 3^12."""


def published_array(levels: Mapping[str, tuple[Level, ...]], runs: int) -> pd.DataFrame | None:
    """Lay factors on the columns of a printed array of so many runs, if one has room for them.

    Columns are taken one by one, each time the one that mixes up least with those taken.

    Returns
    -------
    pandas.DataFrame or None
        A row a run, in the factors' own levels.
    """
    if runs in TWO_LEVEL_RUNS and all(len(choice) == 2 for choice in levels.values()):
        array = (pbdesign(runs - 1)[:runs] > 0).astype(int)
    elif runs in _PRINTED:
        array = get_orthogonal_array(_PRINTED[runs])
    else:
        return None
    sizes = array.max(axis=0) + 1
    frame = pd.DataFrame(index=range(runs))
    free = list(range(array.shape[1]))
    for name, choice in levels.items():
        fitting = [column for column in free if sizes[column] == len(choice)]
        if not fitting:
            return None
        taken = {n: levels[n] for n in (*frame.columns, name)}
        tried = [frame.assign(**{name: _spelt(array[:, c], choice)}) for c in fitting]
        # A column that differs from the rest matters only from the third factor on.
        best = _least_mixed(tried, taken) if len(taken) > 2 else 0
        frame = tried[best]
        free.remove(fitting[best])
    return frame


def _spelt(codes: np.ndarray, choice: tuple[Level, ...]) -> list[Level]:
    return [choice[int(code)] for code in codes]


def _least_mixed(tried: list[pd.DataFrame], levels: Mapping[str, tuple[Level, ...]]) -> int:
    patterns = [tuple(word_length_pattern(frame, levels)) for frame in tried]
    return min(range(len(tried)), key=lambda i: patterns[i])


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
