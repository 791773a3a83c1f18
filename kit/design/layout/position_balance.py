"""Which patch of a tile goes to which position, so that no position favours anything."""

from collections import Counter

import numpy as np
import pandas as pd

_SWAPS_A_TILE = 200


def balanced_positions(
    patches: pd.DataFrame, attributes: list[str], rng: np.random.Generator
) -> pd.Series:
    """Number the patches of each tile so that each attribute is spread over the positions.

    Parameters
    ----------
    patches : pandas.DataFrame
        A `tile` column and the attributes.
    attributes : list of str
        Columns whose values should meet every position equally often.
    rng : numpy.random.Generator

    Returns
    -------
    pandas.Series of int
        Positions from 1, by the index of `patches`.
    """
    position = np.zeros(len(patches), int)
    tile = patches["tile"].to_numpy()
    rows = {t: np.flatnonzero(tile == t) for t in np.unique(tile)}
    for mine in rows.values():
        position[mine] = rng.permutation(len(mine)) + 1
    values = patches[attributes].to_numpy(object)
    counts: Counter[tuple[int, object, int]] = Counter()

    def place(row: int, step: int) -> int:
        """Count a patch in (step 1) or out (step -1); return the crowding it meets."""
        crowding = 0
        for column, value in enumerate(values[row]):
            key = (column, value, int(position[row]))
            counts[key] -= step < 0
            crowding += counts[key]
            counts[key] += step > 0
        return crowding

    for row in range(len(patches)):
        place(row, 1)
    several = [mine for mine in rows.values() if len(mine) > 1]
    for pick in rng.integers(0, len(several), _SWAPS_A_TILE * len(several)) if several else ():
        i, j = rng.choice(several[pick], 2, replace=False)
        before = place(i, -1) + place(j, -1)
        position[i], position[j] = position[j], position[i]
        after = place(i, 1) + place(j, 1)
        if after > before:
            place(i, -1), place(j, -1)
            position[i], position[j] = position[j], position[i]
            place(i, 1), place(j, 1)
    return pd.Series(position, index=patches.index)
