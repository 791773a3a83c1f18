"""The order of work at the bench: what is sifted, fired and graded when.

Within a session all base coats come before any stencil, and everything meets the same heat.
Tiles are taken in random order at every stage. On one tile the patches are sifted sifter by
sifter, because changing the sifter between patches is cheap but not free.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

Step = dict[str, Any]

_TYPES = {
    "session": "int64",
    "step": "int64",
    "action": "str",
    "tile": "int64",
    "patch": "str",
    "position": "Int64",
    "colour": "str",
    "mesh": "Int64",
    "coat_weight": "Float64",
    "coat": "Int64",
    "firing": "Int64",
}


def order_of_work(
    tiles: pd.DataFrame,
    patches: pd.DataFrame,
    last_firing: pd.Series,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """List the steps of every session.

    Parameters
    ----------
    tiles, patches : pandas.DataFrame
        As in a series.
    last_firing : pandas.Series
        How often each tile is fired with its stencils on, by tile number.
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
        `session`, `step` (from 1 in each session), `action` ('sift base', 'fire',
        'sift overlay' or 'grade'), `tile`, `patch`, `position`, `colour`, `mesh`,
        `coat_weight` (mg/cm²), `coat` (of the base, from 1) and `firing` (0 is that of the base
        coats); what does not concern a step is missing.
    """
    steps = []
    for session, mine in tiles.groupby("session", sort=True):
        work = [*_base_coats(mine, rng), *_stencils(mine, patches, last_firing, rng)]
        steps += [{"session": session, "step": i + 1, **step} for i, step in enumerate(work)]
    return pd.DataFrame(steps, columns=list(_TYPES)).astype(_TYPES)


def _shuffled(frame: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    return frame.iloc[rng.permutation(len(frame))]


def _base_coats(tiles: pd.DataFrame, rng: np.random.Generator) -> Iterator[Step]:
    for coat in range(1, int(tiles["coats"].max()) + 1):
        coated = _by_sifter(_shuffled(tiles[tiles["coats"] >= coat], rng), rng)
        for tile in coated.itertuples():
            yield {
                "action": "sift base",
                "tile": tile.tile,
                "colour": tile.base,
                "mesh": tile.mesh,
                "coat_weight": tile.coat_weight,
                "coat": coat,
            }
        for tile in coated.itertuples():
            yield {"action": "fire", "tile": tile.tile, "coat": coat, "firing": 0}


def _by_sifter(frame: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Keep the order, but one sifter after the other, the sifters in random order."""
    turn = {mesh: i for i, mesh in enumerate(rng.permutation(frame["mesh"].unique()))}
    return frame.iloc[np.argsort(frame["mesh"].map(turn), kind="stable")]


def _stencils(
    tiles: pd.DataFrame, patches: pd.DataFrame, last_firing: pd.Series, rng: np.random.Generator
) -> Iterator[Step]:
    last = last_firing.loc[tiles["tile"]]
    for firing in range(1, int(last.max()) + 1):
        fired = _shuffled(tiles[(last >= firing).to_numpy()], rng)
        for tile in fired["tile"]:
            due = patches[(patches["tile"] == tile) & (patches["before_firing"] == firing)]
            for patch in _by_sifter(_shuffled(due, rng), rng).itertuples():
                yield {
                    "action": "sift overlay",
                    "tile": tile,
                    "patch": patch.patch,
                    "position": patch.position,
                    "colour": patch.overlay,
                    "mesh": patch.mesh,
                    "coat_weight": patch.coat_weight,
                    "firing": firing,
                }
        for action in ("fire", "grade"):
            for tile in fired["tile"]:
                yield {"action": action, "tile": tile, "firing": firing}
