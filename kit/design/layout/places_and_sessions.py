"""Where and when: positions on a tile, sessions of limited length, and tiles' numbers."""

import math
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


def deal_sessions(kinds: pd.Series, tiles_per_session: int, rng: np.random.Generator) -> pd.Series:
    """Spread each kind of tile over the sessions as evenly as it goes.

    Parameters
    ----------
    kinds : pandas.Series
        What should be spread (the base colour, say), by tile.
    tiles_per_session : int
        Most tiles that one session holds.
    rng : numpy.random.Generator

    Returns
    -------
    pandas.Series of int
        Session of each tile, from 1.
    """
    sessions = math.ceil(len(kinds) / tiles_per_session)
    shuffled = kinds.iloc[rng.permutation(len(kinds))]
    order = shuffled.sort_values(kind="stable").index
    turn = np.arange(len(order)) % sessions
    names = rng.permutation(sessions) + 1
    return pd.Series(names[turn], index=order).reindex(kinds.index)


def number_tiles(
    tiles: pd.Series, sessions: pd.Series, rng: np.random.Generator
) -> dict[object, int]:
    """Number tiles from 1, session by session, in random order within each."""
    order = rng.permutation(len(tiles))
    by_session = sorted(order, key=lambda i: sessions.iloc[i])
    return {tiles.iloc[i]: number + 1 for number, i in enumerate(by_session)}
