"""Sifters, coats and weights dealt over patches whose colours are settled."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.design.draft import TILE_FACTORS
from kit.design.optimal_design import (
    CovarianceStructure,
    ExchangeProblem,
    Level,
    VarianceRatios,
    candidates,
    exchange,
    factor_space,
    moves,
)

_STARTS = 20
_RIDGE = 1e-2
_TILE_RATIO = 1.0
_FAMILIES = ("base_family", "overlay_family")


def deal_recipe(
    patches: pd.DataFrame, varied: Mapping[str, tuple[Level, ...]], seed: int
) -> pd.DataFrame:
    """Choose the level of each varied factor for each patch, clear of the families.

    Parameters
    ----------
    patches : pandas.DataFrame
        A row a patch in order of tile: tile, base_family, overlay_family.
    varied : mapping of str to tuple
        Recipe factors with two or more levels.
    seed : int

    Returns
    -------
    pandas.DataFrame
        A column a varied factor, by the index of `patches`.

    Notes
    -----
    D-optimal for all main effects and two-factor terms of families and recipe, as far as the
    settled families let them be told apart.
    """
    if not varied:
        return pd.DataFrame(index=patches.index)
    present = {f: tuple(sorted(patches[f].unique())) for f in _FAMILIES}
    families = {name: levels for name, levels in present.items() if len(levels) > 1}
    by_tile = [name for name in (*families, *varied) if name in TILE_FACTORS]
    space = factor_space({**families, **varied}, by_tile)
    tile = pd.factorize(patches["tile"])[0]
    layout = CovarianceStructure(tile, np.zeros_like(tile), VarianceRatios(_TILE_RATIO))
    joint = f"({' + '.join(space.names)})**2" if len(space.names) > 1 else space.names[0]
    model = candidates(space, joint)
    steps = moves(space, layout, fixed=set(families))
    problem = ExchangeProblem(model.x, layout, steps, _RIDGE * np.eye(model.p))
    rng = np.random.default_rng(seed)
    cells = np.zeros((_STARTS, len(patches)), int)
    for name, levels in space.levels.items():
        if name in families:
            index = pd.Index(levels).get_indexer(patches[name])[None]
        elif name in by_tile:
            index = rng.integers(0, len(levels), (_STARTS, tile.max() + 1))[:, tile]
        else:
            index = rng.integers(0, len(levels), cells.shape)
        cells += index * space.strides[name]
    found = exchange(problem, cells)
    best = found[problem.values(found).argmax()]
    return space.frame(best)[list(varied)].set_axis(patches.index)
