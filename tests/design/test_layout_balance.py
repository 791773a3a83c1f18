"""Positions and sessions favour nothing."""

import numpy as np
import pandas as pd

from kit.design.layout import balanced_positions, deal_sessions, number_tiles


def test_a_latin_square_is_found() -> None:
    # Four tiles with the same four overlays: each can meet each position once.
    patches = pd.DataFrame({"tile": np.repeat([1, 2, 3, 4], 4), "overlay": list("abcd") * 4})
    position = balanced_positions(patches, ["overlay"], np.random.default_rng(1))
    assert (pd.crosstab(patches["overlay"], position) == 1).all(axis=None)
    assert set(position.groupby(patches["tile"]).agg(sorted).map(tuple)) == {(1, 2, 3, 4)}


def test_one_patch_a_tile_has_one_position() -> None:
    patches = pd.DataFrame({"tile": [1, 2], "overlay": ["a", "b"]})
    assert list(balanced_positions(patches, ["overlay"], np.random.default_rng(1))) == [1, 1]


def test_each_kind_of_tile_is_spread_over_the_sessions() -> None:
    kinds = pd.Series(list("aaaabbbbcccc"), index=range(12))
    sessions = deal_sessions(kinds, 5, np.random.default_rng(2))
    assert sorted(sessions.unique()) == [1, 2, 3]
    assert sessions.value_counts().max() <= 5
    assert pd.crosstab(kinds, sessions).min(axis=None) >= 1


def test_tiles_are_numbered_session_by_session_and_shuffled_within() -> None:
    tiles = pd.Series(range(30))
    sessions = pd.Series(np.repeat([1, 2, 3], 10))
    numbers = number_tiles(tiles, sessions, np.random.default_rng(3))
    assert sorted(numbers[t] for t in range(10)) == list(range(1, 11))
    assert [numbers[t] for t in range(10)] != list(range(1, 11))
