"""The order of work at the bench: what is sifted, fired and graded when.

A session begins with bare copper: each blank is cut and cleaned, its back is enamelled and fired,
and its front is pickled clean of the scale of that firing. Then all base coats come before any
stencil, and everything meets the same heat. On a tile with several bases the stripes of a
coat are sifted one after the other, from the left, with a card over all that is not theirs, before
the coat is fired. Tiles are taken in random order at every stage from
the base coat on. On one tile the patches are sifted sifter by sifter, because changing the sifter
between patches is cheap but not free.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from kit.series import Series, last_firings

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
    "stripe": "Int64",
    "firing": "Int64",
}


def order_of_work(series: Series) -> pd.DataFrame:
    """List the steps of every session.

    Parameters
    ----------
    series : Series
        Planned. Its seed decides the order of tiles at each step.

    Returns
    -------
    pandas.DataFrame
        `session`, `step` (from 1 in each session), `action` ('prepare', 'sift back', 'pickle',
        'sift base', 'fire', 'sift overlay' or 'grade'), `tile`, `patch`, `position`, `colour`,
        `mesh`, `coat_weight` (mg/cm²; of the back as much as all base coats together), `coat` (of
        the base, from 1; 0 is the back), `stripe` (of a tile with several bases: the one
        that a card leaves open) and `firing` (0 is that of back and base coats); what does
        not concern a step is missing.
    """
    rng = np.random.default_rng(series.settings.seed)
    tiles, patches, last_firing = series.tiles, series.patches, last_firings(series)
    steps = []
    for session, mine in tiles.groupby("session", sort=True):
        work = [
            *_backs(mine),
            *_base_coats(mine, series.stripes, rng),
            *_stencils(mine, patches, last_firing, rng),
        ]
        steps += [{"session": session, "step": i + 1, **step} for i, step in enumerate(work)]
    return pd.DataFrame(steps, columns=list(_TYPES)).astype(_TYPES)


def _shuffled(frame: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    return frame.iloc[rng.permutation(len(frame))]


def _backs(tiles: pd.DataFrame) -> Iterator[Step]:
    for tile in tiles["tile"]:
        yield {"action": "prepare", "tile": tile}
    for tile in tiles.itertuples():
        yield {
            "action": "sift back",
            "tile": tile.tile,
            "mesh": tile.mesh,
            "coat_weight": tile.coats * tile.coat_weight,
            "coat": 0,
        }
    for tile in tiles["tile"]:
        yield {"action": "fire", "tile": tile, "coat": 0, "firing": 0}
    for tile in tiles["tile"]:
        yield {"action": "pickle", "tile": tile}


def _base_coats(
    tiles: pd.DataFrame, stripes: pd.DataFrame, rng: np.random.Generator
) -> Iterator[Step]:
    striped = set(stripes["tile"])
    for coat in range(1, int(tiles["coats"].max()) + 1):
        coated = _by_sifter(_shuffled(tiles[tiles["coats"] >= coat], rng), rng)
        for tile in coated.itertuples():
            if tile.tile not in striped:
                yield _base_step(tile, tile.base, coat)
        for number in sorted(stripes["stripe"].unique()):
            own = stripes[stripes["stripe"] == number].set_index("tile")["base"]
            for tile in coated.itertuples():
                if tile.tile in own:
                    yield {**_base_step(tile, own[tile.tile], coat), "stripe": number}
        for tile in coated.itertuples():
            yield {"action": "fire", "tile": tile.tile, "coat": coat, "firing": 0}


def _base_step(tile: Any, base: str, coat: int) -> Step:
    return {
        "action": "sift base",
        "tile": tile.tile,
        "colour": base,
        "mesh": tile.mesh,
        "coat_weight": tile.coat_weight,
        "coat": coat,
    }


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
