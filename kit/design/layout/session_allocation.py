"""Tiles dealt into sessions of limited length, and numbered in the order they are made."""

import math

import numpy as np
import pandas as pd


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
