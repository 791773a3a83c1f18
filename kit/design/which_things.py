"""'Which things matter': families, sifter, coats and firings, told apart with few tiles."""

from collections.abc import Callable
from typing import Literal

import numpy as np
import pandas as pd

from kit.design.fractions import fraction, fraction_on_tiles
from kit.design.layout import (
    TILE_FACTORS,
    Draft,
    deal_bases,
    deal_overlays,
    held_in_words,
    usual_recipe,
)
from kit.design.optimal_design import (
    Efficiency,
    Level,
    candidates,
    efficiency,
    factor_space,
    is_words,
    optimal,
    relative_efficiency,
)
from kit.design.plan_model import TYPICAL, StandardDeviations
from kit.errors import Misuse
from kit.series import SESSION_FACTORS, Settings
from kit.wording import listed, percent, plain_name, upper_first

Firings = Literal["every", "staggered", "separate"]

_ROOM = 0.75
_AS_GOOD = 0.999
_GRADES_PER_PATCH = 3


def draft_things(
    settings: Settings,
    colours: pd.DataFrame,
    firings: Firings = "every",
    controls: int = 0,
    progress: Callable[[str], None] | None = None,
    fired: pd.DataFrame | None = None,
) -> Draft:
    """Draft a plan that tells which things matter.

    Parameters
    ----------
    settings : Settings
    colours : pandas.DataFrame
        Columns colour and family.
    firings : {'every', 'staggered', 'separate'}
        Grade each patch after every firing; put patches on before different firings and grade at
        the end; or fire a separate tile for each count.
    controls : int
        Patches with a colour on itself.
    progress : callable, optional
    fired : pandas.DataFrame, optional
        Patches fired already, as `kit.series.patches_in_full` gives them: they count.

    Raises
    ------
    Misuse
        When nothing is varied, a family is not in stock, or there are too few tiles or patches.
    """
    varied = _varied(settings, firings)
    by_tile = [n for n in varied if n in TILE_FACTORS or (n == "firings" and firings == "separate")]
    terms = _affordable_terms(varied, by_tile, settings.tiles, settings.patches_per_tile)
    ratio = _tile_ratio(TYPICAL)
    cells = optimal(
        varied,
        settings.tiles,
        settings.patches_per_tile,
        by_tile,
        terms,
        ratio,
        seed=settings.seed,
        tiles_per_session=settings.tiles_per_session,
        session_variance_ratio=ratio,
        controls=controls,
        control=("base_family", "overlay_family") if controls else None,
        fired=None if fired is None else fired[["tile", *varied]],
        progress=progress,
    )
    cells["tile"] -= cells["tile"].min() - 1
    quality = efficiency(cells, varied, terms, tile_factors=by_tile, tile_variance_ratio=ratio)
    kind = "optimal split plot" if by_tile else "optimal plan in blocks"
    regular = None
    if not controls and fired is None and not _sessions_bind(settings):
        regular = fraction_on_tiles(
            varied,
            by_tile,
            settings.patches_per_tile,
            settings.tiles * settings.patches_per_tile,
            terms,
            ratio,
            settings.seed,
        )
    if regular is not None:
        versus = relative_efficiency(regular, cells, varied, terms, tile_variance_ratio=ratio)
        if versus >= _AS_GOOD:
            cells, kind = regular, "fraction"
    patches = _with_colours(cells, settings, colours, firings)
    limits = _limits(settings, varied, by_tile, terms, patches, firings)
    if kind == "fraction":
        limits = (fraction(varied, len(cells)).describe(), *limits)
    return Draft(patches, kind, _why(kind, varied, by_tile, quality), limits)


def _sessions_bind(settings: Settings) -> bool:
    """Whether the tiles take more than one session, so that sessions are blocks of the plan."""
    return settings.tiles > settings.tiles_per_session


def _tile_ratio(sds: StandardDeviations) -> float:
    """Variance between tiles over that within, when colours of a family differ too."""
    between = sds.tile**2 + sds.base**2
    within = sds.overlay**2 + sds.pair**2 + sds.noise_variance(_GRADES_PER_PATCH)
    return between / within


def _varied(settings: Settings, firings: Firings) -> dict[str, tuple[Level, ...]]:
    varied = {
        name: tuple(levels)
        for name, levels in settings.factors.items()
        if len(levels) > 1
        and name not in SESSION_FACTORS
        and not (name == "firings" and firings == "every")
    }
    if not varied and settings.varied_by_session:
        raise Misuse(
            f"Only {_plain(list(settings.varied_by_session))} would change, from session to "
            "session: tiles and patches would be all alike. Give another factor of series.toml "
            "two levels or more as well, or ask 'which pairs work'."
        )
    if not varied:
        raise Misuse(
            "Nothing is varied, so nothing can be compared. Give at least one factor of "
            "series.toml two levels or more."
        )
    return varied


def _affordable_terms(
    varied: dict[str, tuple[Level, ...]], by_tile: list[str], tiles: int, per_tile: int
) -> str:
    """The richest model that leaves a quarter of the patches and two tiles to judge luck by.

    Raises
    ------
    Misuse
        When even the main effects need more tiles or patches than there are.
    """
    names = list(varied)
    squares = [f"I({n}**2)" for n, lv in varied.items() if not is_words(lv) and len(lv) > 2]
    families = [n for n in names if n.endswith("_family")]
    main = " + ".join(names)
    family_pair = [":".join(families)] if len(families) == 2 else []
    with_family = [f"{f}:{n}" for f in families for n in names if n not in families]
    richest_first = [
        " + ".join([f"({main})**2" if len(names) > 1 else main, *squares]),
        " + ".join([main, *family_pair, *with_family, *squares]),
        " + ".join([main, *family_pair, *squares]),
        " + ".join([main, *family_pair]),
    ]
    space = factor_space(varied, by_tile)
    for terms in richest_first:
        model = candidates(space, terms)
        if model.p <= _ROOM * tiles * per_tile and model.by_tile <= tiles - 2:
            return terms
    return main


def _with_colours(
    cells: pd.DataFrame, settings: Settings, colours: pd.DataFrame, firings: Firings
) -> pd.DataFrame:
    rng = np.random.default_rng(settings.seed)
    last = settings.last_firing
    held = {name: levels[0] for name, levels in settings.factors.items() if len(levels) == 1}
    patches = cells.assign(**{n: v for n, v in held.items() if n != "firings"})
    count = cells["firings"] if "firings" in cells else pd.Series(last, index=cells.index)
    patches["last_firing"] = count if firings == "separate" else last
    patches["before_firing"] = last - count + 1 if firings == "staggered" else 1
    bases = deal_bases(patches.groupby("tile")["base_family"].first(), colours, rng)
    patches["base"] = patches["tile"].map(bases)
    patches["overlay"] = deal_overlays(patches, colours, rng)
    if "control" in patches:
        patches["overlay"] = patches["overlay"].where(~patches["control"], patches["base"])
    return patches


def _why(
    kind: str, varied: dict[str, tuple[Level, ...]], by_tile: list[str], how: Efficiency
) -> str:
    by_patch = [name for name in varied if name not in by_tile]
    split = " and ".join(
        f"{_plain(names)} from {unit} to {unit}"
        for names, unit in ((by_tile, "tile"), (by_patch, "patch"))
        if names
    )
    choice = {
        "fraction": "a regular fraction was picked, which fits the tiles and is as good as any",
        "optimal split plot": "an optimal split plot was picked",
        "optimal plan in blocks": "an optimal plan with each tile as a block was picked",
    }[kind]
    sure = (
        ""
        if np.isnan(how.d_bound)
        else (
            f" Its effects are as sure as {percent(how.d_against_bound)} of the best conceivable "
            "plan's."
        )
    )
    return (
        f"You asked which things matter, so {choice}: it changes {split}, and chooses the patches "
        f"that make the effects surest.{sure}"
    )


def _limits(
    settings: Settings,
    varied: dict[str, tuple[Level, ...]],
    by_tile: list[str],
    terms: str,
    patches: pd.DataFrame,
    firings: Firings,
) -> tuple[str, ...]:
    held = {n: v for n, v in usual_recipe(settings).items() if n not in varied}
    pairs = len(patches[["base", "overlay"]].drop_duplicates())
    limits = [
        f"It fires {pairs} pairs of colours, most of them once: it speaks about families and "
        "recipes, and only roughly about a single pair."
    ]
    if held:
        limits.append(f"It says nothing about other recipes than {held_in_words(held)}.")
    if by_tile:
        limits.append(
            f"{upper_first(_plain(by_tile))} can only change from tile to tile, so this is known "
            f"from {settings.tiles} tiles, less surely than what changes from patch to patch."
        )
    if "**2" not in terms.split("+ I(")[0]:
        limits.append(
            "There are too few patches to tell every joint effect of two things; those left out "
            f"may disturb the rest. The model is: {terms}."
        )
    if firings == "staggered":
        limits.append("Patches that went on late have met fewer firings of the tile below them.")
    return tuple(limits)


def _plain(names: list[str]) -> str:
    return listed([plain_name(name) for name in names])
