"""Orthogonal arrays that handbooks print: 12 runs of two levels, 3^13 in 27, 2^11 3^12 in 36.

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
from kit.design.optimal_design import Level

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
