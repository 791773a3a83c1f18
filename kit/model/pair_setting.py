"""The pairs that are judged, and the recipe that they are judged at."""

import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from kit.errors import ExtrapolationWarning, Misuse
from kit.mixed import Array
from kit.model.measurement_fit import MeasureFit
from kit.model.right_hand_side import MEASURES, with_refirings
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import NOT_KNOWN, VerdictRule
from kit.series import Verdict
from kit.wording import listed, plain_name

Fit = ScaleFit | MeasureFit


@dataclass(frozen=True)
class PairSetting:
    """The recipe that pairs are judged at, and the rule.

    Parameters
    ----------
    mesh, base_mesh : int
        Sifters of the overlay and of the base.
    coat_weight, base_coat_weight : float
        mg/cm².
    firings : int
        The firing count that plans look at; `pair_table` judges at every count fired.
    fine_edge_at_most, breaks_through_from, fine_edge_mm, fine_edge_share, confidence
        As in `VerdictRule`.
    """

    mesh: int = 100
    coat_weight: float = 40.0
    base_mesh: int = 80
    base_coat_weight: float = 60.0
    firings: int = 3
    fine_edge_at_most: int = 1
    breaks_through_from: int = 2
    fine_edge_mm: float = 0.5
    fine_edge_share: float = 0.10
    confidence: float = 0.8

    def __post_init__(self) -> None:
        _ = self.rule

    @classmethod
    def of(cls, verdict: Verdict) -> "PairSetting":
        """The setting that a series' settings ask for."""
        return cls(**{field.name: getattr(verdict, field.name) for field in fields(cls)})

    @property
    def rule(self) -> VerdictRule:
        """The rule alone; Misuse if it contradicts itself."""
        return VerdictRule(**{f.name: getattr(self, f.name) for f in fields(VerdictRule)})


def every_pair(colours: pd.DataFrame) -> pd.DataFrame:
    """Every base with every other colour as overlay, each with its family.

    A colour over itself is a control and no pair.

    Parameters
    ----------
    colours : DataFrame
        Columns colour, family.

    Returns
    -------
    DataFrame, c (c - 1) rows for c colours
        Columns base, overlay, base_family, overlay_family.
    """
    missing = [column for column in ("colour", "family") if column not in colours]
    if missing:
        raise Misuse(f"The colours have no column {', '.join(missing)}.")
    own = colours[["colour", "family"]]
    bases = own.rename(columns={"colour": "base", "family": "base_family"})
    overlays = own.rename(columns={"colour": "overlay", "family": "overlay_family"})
    pairs = bases.merge(overlays, how="cross")
    apart = pairs["base"].astype("str") != pairs["overlay"].astype("str")
    return pairs.loc[apart, ["base", "overlay", "base_family", "overlay_family"]].reset_index(
        drop=True
    )


def recipes(
    pairs: pd.DataFrame, setting: PairSetting, firings: Iterable[int], fits: Mapping[str, Fit]
) -> pd.DataFrame:
    """The recipe of each pair at each firing count: the counts of a pair one below the other.

    Factors that the setting does not speak of have the level that was used most.
    """
    recipe = pairs.merge(pd.DataFrame({"firings": list(firings)}), how="cross").assign(
        mesh=setting.mesh,
        coat_weight=setting.coat_weight,
        base_mesh=setting.base_mesh,
        base_coat_weight=setting.base_coat_weight,
    )
    for fit in fits.values():
        for factor in fit.factors:
            if factor not in recipe:
                recipe[factor] = fit.seen[factor].mode().iloc[0]
        if isinstance(fit, ScaleFit):
            recipe = fit.labels.on(recipe)
    return with_refirings(recipe)


def with_jars(recipe: pd.DataFrame, fits: Mapping[str, Fit]) -> pd.DataFrame:
    """Add to each row the series whose jars it is judged with: the last that fired the pair.

    If no series fired both colours of a pair, the last that fired either; of a colour that it did
    not fire the jar is then a new one.
    """
    frames = [fit.seen[["series", "base", "overlay"]] for fit in fits.values()]
    seen = pd.concat(frames).drop_duplicates().reset_index(drop=True)
    order = {name: place for place, name in enumerate(seen["series"].unique())}
    last = seen.assign(place=seen["series"].map(order))
    pair = last.groupby(["base", "overlay"], observed=True)["place"].max().rename("pair")
    base = last.groupby("base", observed=True)["place"].max().rename("own_base")
    overlay = last.groupby("overlay", observed=True)["place"].max().rename("own_overlay")
    joined = (
        recipe[["base", "overlay"]]
        .join(pair, on=["base", "overlay"])
        .join(base, on="base")
        .join(overlay, on="overlay")
    )
    both = joined[["own_base", "own_overlay"]]
    newest = len(order) - 1
    place = joined["pair"].fillna(both.min(axis=1, skipna=False)).fillna(both.max(axis=1))
    names = {place: name for name, place in order.items()}
    return recipe.assign(series=place.fillna(newest).astype(int).map(names))


def counts_fired(fits: Mapping[str, Fit]) -> list[int]:
    """Every firing count that anything was seen at, in order."""
    seen = [fit.seen["firings"].astype(int) for fit in fits.values() if "firings" in fit.seen]
    return sorted(set(pd.concat(seen))) if seen else [1]


def patches_behind(recipe: pd.DataFrame, fits: Mapping[str, Fit]) -> Array:
    """How many patches of each pair were seen at each firing count."""
    keys = ["base", "overlay", "firings"]
    each = [fit.seen for fit in fits.values()]
    seen = pd.concat(
        [frame[[c for c in ("series", "patch", *keys) if c in frame]] for frame in each]
    )
    own = [key for key in keys if key in seen]
    counts = seen.drop_duplicates().groupby(own).size()
    patches: Array = counts.reindex(pd.MultiIndex.from_frame(recipe[own]), fill_value=0).to_numpy()
    return patches


def beyond_what_was_fired(recipe: pd.DataFrame, fits: Mapping[str, Fit]) -> Array:
    """Which rows ask for what was never fired: a family pair, or a setting beyond the range.

    Warns
    -----
    ExtrapolationWarning
        If there are any; it says which.
    """
    beyond, reasons = reasons_beyond(recipe, fits)
    if reasons:
        warnings.warn(
            f"Some pairs lie beyond what was fired ({'; '.join(reasons)}). They are {NOT_KNOWN}.",
            ExtrapolationWarning,
            stacklevel=3,
        )
    return beyond


def reasons_beyond(recipe: pd.DataFrame, fits: Mapping[str, Fit]) -> tuple[Array, tuple[str, ...]]:
    """Which rows ask for what was never fired, and each reason as a clause.

    Returns
    -------
    (n,) array of bool
    tuple of str
    """
    beyond = np.zeros(len(recipe), dtype=bool)
    said: list[str] = []
    families = list(zip(recipe["base_family"], recipe["overlay_family"], strict=True))
    for fit in fits.values():
        frame = fit.seen
        fired = set(zip(frame["base_family"], frame["overlay_family"], strict=True))
        beyond |= np.array([pair not in fired for pair in families], dtype=bool)
        said += [
            f"no {overlay} overlay was fired on a {base} base"
            for base, overlay in sorted(set(families) - fired)
        ]
        for factor in MEASURES:
            if factor not in recipe or factor not in frame:
                continue
            low, high = frame[factor].min(), frame[factor].max()
            strange = (recipe[factor] < low) | (recipe[factor] > high)
            if strange.any():
                beyond |= strange.to_numpy(bool)
                asked = listed([f"{value:g}" for value in recipe.loc[strange, factor].unique()])
                seen = f"{low:g}" if low == high else f"{low:g} to {high:g}"
                said.append(f"{plain_name(factor)} would be {asked}, but {seen} was fired")
    return beyond, tuple(dict.fromkeys(said))
