"""Every ordered pair of colours, with the recipe that it is judged at."""

import warnings
from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.errors import ExtrapolationWarning, Misuse
from kit.mixed import Array
from kit.model.measured import MeasureFit
from kit.model.pair_setting import PairSetting
from kit.model.series_fit import MEASURES, ScaleFit
from kit.model.verdicts import NOT_KNOWN
from kit.wording import plain_name

Fit = ScaleFit | MeasureFit


def every_pair(colours: pd.DataFrame) -> pd.DataFrame:
    """Every base with every overlay, each with its family."""
    missing = [column for column in ("colour", "family") if column not in colours]
    if missing:
        raise Misuse(f"The colours have no column {', '.join(missing)}.")
    own = colours[["colour", "family"]]
    bases = own.rename(columns={"colour": "base", "family": "base_family"})
    overlays = own.rename(columns={"colour": "overlay", "family": "overlay_family"})
    pairs = bases.merge(overlays, how="cross")
    return pairs[["base", "overlay", "base_family", "overlay_family"]]


def recipes(pairs: pd.DataFrame, setting: PairSetting) -> pd.DataFrame:
    """The recipe that each pair is judged at."""
    return pairs.assign(
        mesh=setting.mesh,
        coat_weight=setting.coat_weight,
        base_mesh=setting.base_mesh,
        base_coat_weight=setting.base_coat_weight,
        firings=setting.firings,
    )


def with_habits(recipe: pd.DataFrame, fit: Fit) -> pd.DataFrame:
    """Add the usual value of factors that the setting does not speak of."""
    usual = {
        factor: fit.frame[factor].mode().iloc[0]
        for factor in fit.factors
        if factor not in recipe.columns
    }
    return recipe.assign(**usual)


def patches_behind(pairs: pd.DataFrame, fits: Mapping[str, Fit]) -> Array:
    """How many patches of each pair the fits have seen."""
    keys = ["series", "base", "overlay", "patch"]
    each = [fit.frame for fit in fits.values()]
    seen = pd.concat([frame[[key for key in keys if key in frame]] for frame in each])
    counts = seen.drop_duplicates().groupby(["base", "overlay"]).size()
    places = pd.MultiIndex.from_frame(pairs[["base", "overlay"]])
    return counts.reindex(places, fill_value=0).to_numpy()


def outside(recipe: pd.DataFrame, fits: Mapping[str, Fit]) -> Array:
    """Which pairs ask for what was never fired: a family pair, or a setting beyond the range."""
    outside = np.zeros(len(recipe), dtype=bool)
    said: list[str] = []
    for fit in fits.values():
        frame = fit.frame
        fired = set(zip(frame["base_family"], frame["overlay_family"], strict=True))
        pairs = list(zip(recipe["base_family"], recipe["overlay_family"], strict=True))
        strange = np.array([pair not in fired for pair in pairs], dtype=bool)
        said += [f"no {o} overlay was fired on a {b} base" for b, o in sorted(set(pairs) - fired)]
        outside |= strange
        for factor in MEASURES:
            if factor not in recipe or factor not in frame:
                continue
            asked, low, high = recipe[factor].iloc[0], frame[factor].min(), frame[factor].max()
            if not low <= asked <= high:
                outside[:] = True
                seen = f"{low:g}" if low == high else f"{low:g} to {high:g}"
                said.append(f"{plain_name(factor)} would be {asked:g}, but {seen} was fired")
    if said:
        warnings.warn(
            f"Some pairs lie outside what was fired ({'; '.join(dict.fromkeys(said))}). "
            f"They are {NOT_KNOWN}.",
            ExtrapolationWarning,
            stacklevel=3,
        )
    return outside
