"""An invented studio fires a plan and grades it."""

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.series import ACCIDENTS, Series, patches_in_full
from kit.studio.truth import ScaleTruth, Truth


def fire(series: Series, truth: Truth, seed: int) -> Series:
    """Fire every planned tile to the highest planned firing and grade each patch after each.

    Parameters
    ----------
    series : Series
        Needs tiles and patches. Firings and grades that it has are replaced in the copy returned.
    truth : Truth
        Scales of the series that it does not know are left ungraded.
    seed : int

    Returns
    -------
    Series
        With firings and grades by every grader of the series ('grader 1' if it names none).
    """
    random = np.random.default_rng(seed)
    count = max(series.settings.factors["firings"])
    firings = _firings(series, truth.loss_rate, count, random)
    fired = replace(series, firings=firings, grades=series.grades.iloc[:0])
    return replace(fired, grades=_grades(fired, truth, random))


def _firings(
    series: Series, loss_rate: float, count: int, random: np.random.Generator
) -> pd.DataFrame:
    batches = int(series.tiles["session"].max())
    rows = []
    for tile, session in zip(series.tiles["tile"], series.tiles["session"], strict=True):
        for firing in range(1, count + 1):
            spoiled = random.random() < loss_rate
            rows.append(
                {
                    "tile": tile,
                    "firing": firing,
                    "session": session + (firing - 1) * batches,
                    "minutes": round(random.normal(series.settings.minutes_per_firing, 0.1), 1),
                    "heat": "torch",
                    "accident": str(random.choice(ACCIDENTS)) if spoiled else "",
                    "note": "",
                }
            )
            if spoiled:
                break
    return pd.DataFrame(rows).astype({"accident": "str", "note": "str", "heat": "str"})


def _grades(series: Series, truth: Truth, random: np.random.Generator) -> pd.DataFrame:
    graders = series.settings.graders or ("grader 1",)
    seen = patches_in_full(series).merge(series.firings[["tile", "firing", "session"]], on="tile")
    sound = (seen["firing"] < seen["lost_from"]) & (seen["firing"] >= seen["before_firing"])
    seen = seen[sound].assign(firings=lambda s: s["firing"] - s["before_firing"] + 1)
    each = seen.merge(pd.DataFrame({"grader": graders}), how="cross")
    each = each.sort_values(["firing", "tile", "position", "grader"], ignore_index=True)
    grades = each[["patch", "firing", "grader"]].copy()
    for scale in series.settings.scales:
        if scale.name in truth.scales:
            eta = truth.latent(each, scale.name)
            grades[scale.name] = _grade(each, eta, truth.scales[scale.name], random)
        else:
            grades[scale.name] = pd.Series(pd.NA, index=each.index)
        grades[scale.name] = grades[scale.name].astype("Int64")
    return grades.assign(note=pd.Series("", index=grades.index, dtype="str"))


def _grade(
    each: pd.DataFrame, eta: np.ndarray, truth: ScaleTruth, random: np.random.Generator
) -> np.ndarray:
    wobble = {
        "tile": truth.tile_sd,
        "patch": truth.patch_sd,
        "grader": truth.grader_sd,
        "session": truth.session_sd,
    }
    for group, sd in wobble.items():
        codes, levels = pd.factorize(each[group])
        eta = eta + random.normal(0, sd, len(levels))[codes]
    latent = eta + random.logistic(size=len(eta))
    return np.searchsorted(truth.cuts, latent)
