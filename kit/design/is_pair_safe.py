"""'Is this pair safe': the same few pairs over many tiles and sessions, with controls."""

import math
from collections import Counter

import numpy as np
import pandas as pd

from kit.design.layout import Draft, held_in_words, usual_recipe
from kit.errors import Misuse
from kit.series import Settings, over_another
from kit.wording import counted, listed, percent

_SURE = 0.95


def draft_check(settings: Settings, colours: pd.DataFrame) -> Draft:
    """Draft a plan that repeats the pairs wished for.

    Every tile carries the base colour on itself as a control, where it has room for two patches;
    the overlays wished for over its base fill the rest in turn.

    Parameters
    ----------
    settings : Settings
        With the pairs under `wishes`.
    colours : pandas.DataFrame
        Columns colour and family.

    Raises
    ------
    Misuse
        When no pair is named, a colour is not in stock or there are fewer tiles than bases.
    """
    wishes = _checked(settings, colours)
    controlled = settings.patches_per_tile > 1
    room = settings.patches_per_tile - controlled
    tried: Counter[str] = Counter()
    rows = []
    for tile, base in enumerate(np.resize(list(wishes), settings.tiles), start=1):
        overlays = [wishes[base][(tried[base] + i) % len(wishes[base])] for i in range(room)]
        tried[base] += room
        if controlled:
            overlays.append(base)
        rows += [{"tile": tile, "base": base, "overlay": overlay} for overlay in overlays]
    recipe = usual_recipe(settings)
    patches = pd.DataFrame(rows).assign(**recipe, before_firing=1, last_firing=settings.last_firing)
    return Draft(
        patches,
        "pair check",
        _why(settings, wishes),
        _limits(patches, recipe, settings),
    )


def _checked(settings: Settings, colours: pd.DataFrame) -> dict[str, list[str]]:
    if not settings.wishes:
        raise Misuse(
            "Say which pair should be checked: add its base and overlay under [[wish]] in "
            "series.toml."
        )
    named = {name for wish in settings.wishes for name in (wish.base, wish.overlay)}
    strange = sorted(named - set(colours["colour"]))
    if strange:
        raise Misuse(f"{listed(strange)} cannot be checked: not among the colours in use.")
    wishes: dict[str, list[str]] = {}
    for wish in settings.wishes:
        overlays = wishes.setdefault(wish.base, [])
        if wish.overlay not in overlays:
            overlays.append(wish.overlay)
    if settings.tiles < len(wishes):
        raise Misuse(
            f"{len(wishes)} different bases need at least {len(wishes)} tiles, not "
            f"{settings.tiles}. Add tiles, or check fewer pairs at a time."
        )
    return wishes


def _why(settings: Settings, wishes: dict[str, list[str]]) -> str:
    pairs = sum(map(len, wishes.values()))
    over = counted(math.ceil(settings.tiles / settings.tiles_per_session), "session")
    control = ", each with its base colour on itself" if settings.patches_per_tile > 1 else ""
    asked = "this pair is" if pairs == 1 else f"these {pairs} pairs are"
    return (
        f"You asked whether {asked} safe, so a pair check was picked: the same over "
        f"{settings.tiles} tiles and {over}{control}, "
        "because one good tile proves little."
    )


def _limits(
    patches: pd.DataFrame, recipe: dict[str, object], settings: Settings
) -> tuple[str, ...]:
    tried = over_another(patches)
    tiles = int(tried.groupby(["base", "overlay"])["tile"].nunique().min())
    could_fail = 1 - (1 - _SURE) ** (1 / tiles)
    limits = [
        f"Each pair is tried on {counted(tiles, 'tile')} or more. If it holds on all of them, you "
        f"can be {percent(_SURE)} sure that it fails on fewer than {percent(could_fail)} of tiles "
        "made like these, and no surer.",
        "It says nothing about any other pair, nor about "
        f"other recipes than {held_in_words(recipe)}.",
    ]
    if settings.tiles <= settings.tiles_per_session:
        limits.append(
            "All tiles are made in one session, so it cannot tell a lucky day from a rule."
        )
    return tuple(limits)
