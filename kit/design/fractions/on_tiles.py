"""A regular fraction laid on tiles, where its runs fall into whole tiles."""

import itertools

import numpy as np
import pandas as pd

from kit.design.fractions.fractional import MOST_RUNS, fraction
from kit.design.optimal_design import (
    NEVER,
    Level,
    VarianceRatios,
    candidates,
    factor_space,
    information_of,
)

_TRIES = 200


def fraction_on_tiles(
    varied: dict[str, tuple[Level, ...]],
    by_tile: list[str],
    patches_per_tile: int,
    runs: int,
    terms: str,
    tile_variance_ratio: float,
    seed: int,
) -> pd.DataFrame | None:
    """Lay a two-level fraction on tiles, if it fits.

    It fits when every factor has two levels, the runs are a power of two in number, and those
    that share a tile setting fill whole tiles. Where a setting has several tiles, its runs are
    split among them by the signs of products of patch factors, the products that leave the
    effects surest.

    Returns
    -------
    pandas.DataFrame or None
        `tile` and a column a factor.
    """
    two_level = all(len(levels) == 2 for levels in varied.values())
    if not two_level or runs.bit_count() != 1:
        return None
    if not len(varied) < runs <= min(MOST_RUNS, 2 ** len(varied)):
        return None
    frame = fraction(varied, runs).frame
    by_setting = frame.groupby(by_tile).ngroup() if by_tile else pd.Series(0, index=frame.index)
    sizes = by_setting.value_counts()
    tiles_each, rest = divmod(int(sizes.min()), patches_per_tile)
    uneven = rest or int(sizes.max()) != int(sizes.min())
    if uneven or tiles_each < 1 or tiles_each.bit_count() != 1:
        return None
    best, best_value = None, NEVER
    model = candidates(factor_space(varied, by_tile), terms)
    for split in _splits(frame, varied, by_tile, tiles_each.bit_length() - 1, seed):
        tile = pd.factorize(by_setting.to_numpy() * tiles_each + split)[0]
        if (np.bincount(tile) != patches_per_tile).any():
            continue
        plan = frame.assign(tile=tile + 1)
        value, _ = information_of(plan, model, VarianceRatios(tile_variance_ratio))
        if value > best_value + 1e-9:
            best, best_value = plan, value
    if best is None:
        return None
    return best.sort_values("tile", ignore_index=True)[["tile", *varied]]


def _splits(
    frame: pd.DataFrame,
    varied: dict[str, tuple[Level, ...]],
    by_tile: list[str],
    products: int,
    seed: int,
) -> list[np.ndarray]:
    """Number the runs by the signs of so many products of patch factors, in several ways."""
    if products == 0:
        return [np.zeros(len(frame), int)]
    second = {n: (frame[n] == levels[1]).to_numpy() for n, levels in varied.items()}
    by_patch = [name for name in varied if name not in by_tile]
    words = [
        word
        for size in range(len(by_patch), 0, -1)
        for word in itertools.combinations(by_patch, size)
    ]
    rng = np.random.default_rng(seed)
    chosen = list(itertools.islice(itertools.combinations(words, products), _TRIES))
    if len(words) > products:
        picks = (rng.permutation(len(words))[:products] for _ in range(_TRIES))
        chosen += [tuple(words[i] for i in pick) for pick in picks]
    return [
        sum(
            np.logical_xor.reduce([second[name] for name in word]).astype(int) * 2**bit
            for bit, word in enumerate(pick)
        )
        for pick in chosen
    ]
