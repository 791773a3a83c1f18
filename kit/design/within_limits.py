"""The best plan that a person's limits allow."""

from collections.abc import Callable, Collection
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.design.layout import usual_recipe
from kit.design.plan_costs import Costs, Limits, costs
from kit.design.verdict_forecast import verdict_curve
from kit.design.which_pairs import tile_format
from kit.series import Series, Settings
from kit.wording import listed

if TYPE_CHECKING:
    from kit.design.plan_series import Plan


def best_within(
    drawn_up: Callable[[Settings, Collection[str]], "Plan"], series: Series, limits: Limits
) -> "Plan":
    """The largest plan that the limits allow, with or without stripes, whichever is better.

    A jar that holds too little for a plan is laid under nothing, as a base takes most; where that
    is not enough its colour is not fired at all.

    Parameters
    ----------
    drawn_up : callable
        Makes a `Plan` of settings, with colours that may not be a base.
    series : Series
        Without tiles; its settings say how many there may be at most.
    limits : Limits

    Returns
    -------
    Plan

    Raises
    ------
    Misuse
        When not even one tile fits the limits; the message says which.
    """
    options = []
    for stripes in sorted({1, series.settings.stripes}):
        settings = replace(series.settings, stripes=stripes)
        tiles = _most_tiles(replace(series, settings=settings), limits)
        if tiles:
            options.append(replace(settings, tiles=tiles))
    if not options:
        one = replace(series.settings, tiles=1, stripes=1)
        limits.refuse(_costs_of_size(replace(series, settings=one)))
    if len(options) > 1 and series.settings.ask == "which pairs work":

        def right(settings: Settings) -> float:
            curve = verdict_curve(replace(series, settings=settings), [settings.tiles])
            return float(curve["right"].iloc[0])

        options.sort(key=right)
    settings, spared = options[-1], frozenset[str]()
    while True:
        plan = drawn_up(settings, spared)
        taken = costs(plan.to_make)
        short = frozenset(limits.short(taken))
        if not limits.exceeded(taken):
            return _with_jars(plan, spared, series.settings)
        if short - spared:
            spared |= short
        elif short and _others(series, settings, short) > 1:
            settings = replace(settings, leave_out=(*settings.leave_out, *sorted(short)))
        elif settings.tiles > 1:
            settings = replace(settings, tiles=settings.tiles - 1)
        else:
            limits.refuse(taken)


def _others(series: Series, settings: Settings, short: Collection[str]) -> int:
    """How many colours there are without those of which there is too little."""
    return len(replace(series, settings=settings).to_fire) - len(short)


def _with_jars(plan: "Plan", spared: Collection[str], asked: Settings) -> "Plan":
    """The plan, saying which jars hold too little; its settings leave out what they did before."""
    gone = [c for c in plan.series.settings.leave_out if c not in asked.leave_out]
    under = sorted(set(spared) - set(gone))
    said = []
    if under:
        said.append(f"{listed(under)} {'lies' if len(under) == 1 else 'lie'} under nothing: ")
        said[-1] += "what is left in the jar would not do for a base."
    if gone:
        said.append(f"{listed(gone)} {'is' if len(gone) == 1 else 'are'} not fired: ")
        said[-1] += "too little is left in the jar."
    settings = replace(plan.series.settings, leave_out=asked.leave_out)
    series = replace(plan.series, settings=settings)
    return replace(plan, series=series, limits=(*said, *plan.limits))


def _most_tiles(series: Series, limits: Limits) -> int:
    """Most tiles by the limits that do not depend on which colours go where."""
    fixed = replace(limits, money=None, enamel_g={})
    most = limits.tiles or series.settings.tiles
    for tiles in range(most, 0, -1):
        sized = replace(series, settings=replace(series.settings, tiles=tiles))
        if not fixed.exceeded(_costs_of_size(sized)):
            return tiles
    return 0


def _costs_of_size(series: Series) -> Costs:
    """What a plan of the settings' size takes, whatever its colours."""
    settings = series.settings
    places = tile_format(settings, series.to_fire).places(settings.tiles)
    name = series.to_fire["colour"].iloc[0]
    stripe = pd.Series(places.tile_of).groupby(places.tile_of).cumcount() + 1
    several = np.bincount(places.tile_of) > 1
    recipe = usual_recipe(settings)
    tiles = pd.DataFrame({"tile": np.arange(settings.tiles) + 1, "base": name}).assign(
        coats=recipe["base_coats"],
        mesh=recipe["base_mesh"],
        coat_weight=recipe["base_coat_weight"],
        session=1,
        firings=pd.array([pd.NA] * settings.tiles, dtype="Int64"),
    )
    striped = pd.DataFrame({"tile": places.tile_of + 1, "stripe": stripe, "base": name})
    patches = pd.DataFrame({"tile": places.tile + 1, "overlay": name}).assign(
        mesh=recipe["mesh"], coat_weight=recipe["coat_weight"], before_firing=1
    )
    striped = striped[several[places.tile_of]]
    return costs(replace(series, tiles=tiles, patches=patches, stripes=striped))
