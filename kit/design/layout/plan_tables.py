"""A draft laid out: tiles numbered, sessions and places dealt, in the tables of a series."""

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.design.draft import Draft
from kit.design.layout.places_and_sessions import (
    balanced_positions,
    deal_sessions,
    number_tiles,
)
from kit.series import Series, Settings, patch_name


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
