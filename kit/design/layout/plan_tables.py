"""A draft of a plan, and how it is laid out: tiles numbered, sessions and places dealt."""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from kit.series import SESSION_FACTORS, UNITS, Series, Settings, patch_name
from kit.wording import listed, plain_name

TILE_FACTORS = ("base_family", "base_coats", "base_mesh", "base_coat_weight")
"""What can only change from tile to tile."""


@dataclass(frozen=True, eq=False)
class Draft:
    """What goes on each tile and patch.

    Parameters
    ----------
    patches : pandas.DataFrame
        A row a patch: tile, base, base_coats, base_mesh, base_coat_weight, overlay, mesh,
        coat_weight, before_firing, last_firing and, if settled already, session.
    kind : str
        What sort of plan it is.
    why : str
        A sentence: which sort was picked, and why.
    limits : tuple of str
        Sentences: what the plan cannot tell.
    """

    patches: pd.DataFrame
    kind: str
    why: str
    limits: tuple[str, ...]


def usual_recipe(settings: Settings) -> dict[str, Any]:
    """Take one level of each recipe factor: that of the verdict if it is one, else the first."""
    recipe = {}
    for name, levels in settings.factors.items():
        if name.endswith("_family") or name in ("firings", *SESSION_FACTORS):
            continue
        wanted = getattr(settings.verdict, name, None)
        recipe[name] = wanted if wanted in levels else levels[0]
    return recipe


def held_in_words(fixed: Mapping[str, Any]) -> str:
    """Say what is the same throughout."""
    return listed(
        [
            f"{plain_name(name)} {value:g} {UNITS.get(name, '')}".rstrip()
            for name, value in fixed.items()
        ]
    )


def laid_out(draft: Draft, series: Series, last_tile: int = 0, last_session: int = 0) -> Series:
    """Number tiles, deal sessions and places, and put the draft into the series.

    Parameters
    ----------
    draft : Draft
    series : Series
        Its tiles, patches and stripes are replaced.
    last_tile, last_session : int
        Numbers that tiles and sessions go on from.
    """
    settings, colours = series.settings, series.colours
    rng = np.random.default_rng(settings.seed)
    patches = _numbered(draft.patches, settings, rng)
    patches["tile"] += last_tile
    patches["session"] += last_session
    patches["overlay_family"] = patches["overlay"].map(colours.set_index("colour")["family"])
    attributes = ["overlay", "overlay_family", "mesh", "coat_weight", "before_firing"]
    if "stripe" not in patches:
        patches = patches.assign(stripe=1)
    stripes = patches.groupby("tile")["stripe"].transform("max")
    # On each stripe patches lie below one another; places are numbered as one reads.
    line = balanced_positions(
        patches.assign(tile=patches["tile"] * 10 + patches["stripe"]), attributes, rng
    )
    patches["position"] = (line - 1) * stripes + patches["stripe"]
    patches = patches.sort_values(["tile", "position"], ignore_index=True)
    by_tile = patches.groupby("tile", as_index=False).first()
    bases = patches.drop_duplicates(["tile", "stripe"]).sort_values(["tile", "stripe"])
    bases = bases[bases.groupby("tile")["stripe"].transform("max") > 1]
    tiles = pd.DataFrame(
        {
            "tile": by_tile["tile"],
            "base": by_tile["base"],
            "coats": by_tile["base_coats"],
            "mesh": by_tile["base_mesh"],
            "coat_weight": by_tile["base_coat_weight"],
            "session": by_tile["session"],
            "firings": by_tile["last_firing"].astype("Int64"),
        }
    ).astype({"base": "str", "coat_weight": float})
    usual = tiles["firings"] == settings.last_firing
    tiles["firings"] = tiles["firings"].mask(usual)
    laid = pd.DataFrame(
        {
            "patch": [
                patch_name(tile, position)
                for tile, position in zip(patches["tile"], patches["position"], strict=True)
            ],
            **patches[["tile", "position", "overlay", "mesh", "coat_weight", "before_firing"]],
            "accident": "",
        }
    ).astype({"patch": "str", "overlay": "str", "coat_weight": float, "accident": "str"})
    return replace(
        series,
        tiles=tiles,
        patches=laid,
        stripes=bases[["tile", "stripe", "base"]]
        .astype({"base": "str", "stripe": "int64"})
        .reset_index(drop=True),
    )


def _numbered(patches: pd.DataFrame, settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    bases = patches.groupby("tile")["base"].first()
    if "session" in patches:
        sessions = patches.groupby("tile")["session"].first()
    else:
        sessions = deal_sessions(bases, settings.tiles_per_session, rng)
    numbers = number_tiles(bases.index.to_series(), sessions, rng)
    return patches.assign(
        session=patches["tile"].map(sessions), tile=patches["tile"].map(numbers).astype(int)
    )


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
