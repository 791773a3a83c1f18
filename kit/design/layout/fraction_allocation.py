"""Colours, sifters, coats and weights dealt over the tiles and patches of a plan."""

from collections import Counter
from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.design.layout.plan_tables import TILE_FACTORS
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
from kit.errors import Misuse

_SWAPS_A_PATCH = 60
_ON_ITSELF, _TWICE_ON_A_TILE, _PAIR_AGAIN, _RECIPE_AGAIN = 50.0, 10.0, 3.0, 0.5


def deal_bases(families: pd.Series, colours: pd.DataFrame, rng: np.random.Generator) -> pd.Series:
    """Give each tile a base colour of its family; no colour is used twice more than another.

    Parameters
    ----------
    families : pandas.Series
        Family of each tile, by tile.
    colours : pandas.DataFrame
        Columns colour and family.
    rng : numpy.random.Generator

    Raises
    ------
    Misuse
        When a family has no colour.
    """
    dealt = pd.Series("", index=families.index, dtype=object)
    for family in sorted(families.unique()):
        where = families.index[families == family]
        dealt[where] = _deck(_of_family(colours, family), len(where), rng)
    return dealt


def deal_overlays(
    patches: pd.DataFrame, colours: pd.DataFrame, rng: np.random.Generator
) -> pd.Series:
    """Give each patch a colour of its overlay family.

    Each colour of a family is dealt equally often, to within one. Swaps then keep a colour off
    its own kind of base and off a tile that has it already, and keep pairs from being repeated
    and a colour from always meeting the same mesh and coat weight.

    Parameters
    ----------
    patches : pandas.DataFrame
        Columns tile, base, overlay_family, mesh, coat_weight.
    colours : pandas.DataFrame
        Columns colour and family.
    rng : numpy.random.Generator
    """
    dealt = np.empty(len(patches), object)
    family = patches["overlay_family"].to_numpy(object)
    for name in sorted(set(family)):
        where = np.flatnonzero(family == name)
        dealt[where] = _deck(_of_family(colours, name), len(where), rng)
    _untangle(dealt, patches, family, rng)
    return pd.Series(dealt, index=patches.index, dtype=object)


def _of_family(colours: pd.DataFrame, family: str) -> np.ndarray:
    names: np.ndarray = colours.loc[colours["family"] == family, "colour"].to_numpy(object)
    if not len(names):
        raise Misuse(
            f"The plan needs {family} colours and none is in stock. Add one to colours.csv, or "
            "take the family out of the factors."
        )
    return names


def _deck(names: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
    """Each name equally often to within one, shuffled."""
    return rng.permutation(np.resize(rng.permutation(names), count))


class _Clashes:
    """Counts how often things that should differ come together."""

    def __init__(self, dealt: np.ndarray, patches: pd.DataFrame) -> None:
        self.tile = patches["tile"].to_numpy(object)
        self.base = patches["base"].to_numpy(object)
        recipe = zip(patches["mesh"], patches["coat_weight"], strict=True)
        self.recipe = list(recipe)
        self.counts: Counter[tuple[object, ...]] = Counter()
        for i, colour in enumerate(dealt):
            self.add(i, colour)

    def _keys(self, i: int, colour: str) -> list[tuple[tuple[object, ...], float]]:
        return [
            (("tile", self.tile[i], colour), _TWICE_ON_A_TILE),
            (("pair", self.base[i], colour), _PAIR_AGAIN),
            (("recipe", self.recipe[i], colour), _RECIPE_AGAIN),
        ]

    def add(self, i: int, colour: str) -> float:
        """Lay a colour on a patch; return the clashes it makes."""
        cost = _ON_ITSELF if self.base[i] == colour else 0.0
        for key, weight in self._keys(i, colour):
            cost += weight * self.counts[key]
            self.counts[key] += 1
        return cost

    def take(self, i: int, colour: str) -> float:
        """Take a colour off a patch; return the clashes that go with it."""
        cost = _ON_ITSELF if self.base[i] == colour else 0.0
        for key, weight in self._keys(i, colour):
            self.counts[key] -= 1
            cost += weight * self.counts[key]
        return cost


def _untangle(
    dealt: np.ndarray, patches: pd.DataFrame, family: np.ndarray, rng: np.random.Generator
) -> None:
    clashes = _Clashes(dealt, patches)
    for i, j in rng.integers(0, len(dealt), (_SWAPS_A_PATCH * len(dealt), 2)):
        if family[i] != family[j] or dealt[i] == dealt[j]:
            continue
        before = clashes.take(i, dealt[i]) + clashes.take(j, dealt[j])
        after = clashes.add(i, dealt[j]) + clashes.add(j, dealt[i])
        if after <= before:
            dealt[i], dealt[j] = dealt[j], dealt[i]
            continue
        clashes.take(i, dealt[j])
        clashes.take(j, dealt[i])
        clashes.add(i, dealt[i])
        clashes.add(j, dealt[j])


_RECIPE_STARTS = 20
_RECIPE_RIDGE = 1e-2
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
    problem = ExchangeProblem(model.x, layout, steps, _RECIPE_RIDGE * np.eye(model.p))
    rng = np.random.default_rng(seed)
    cells = np.zeros((_RECIPE_STARTS, len(patches)), int)
    for name, levels in space.levels.items():
        if name in families:
            index = pd.Index(levels).get_indexer(patches[name])[None]
        elif name in by_tile:
            index = rng.integers(0, len(levels), (_RECIPE_STARTS, tile.max() + 1))[:, tile]
        else:
            index = rng.integers(0, len(levels), cells.shape)
        cells += index * space.strides[name]
    found = exchange(problem, cells)
    best = found[problem.values(found).argmax()]
    return space.frame(best)[list(varied)].set_axis(patches.index)
