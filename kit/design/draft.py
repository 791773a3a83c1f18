"""A plan before its tiles are numbered: one row a patch, whatever kind of plan it came from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from kit.series import SESSION_FACTORS, UNITS, Settings
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
