"""An invented studio fires a plan and grades it."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.series import ACCIDENTS, Series, last_firings, patches_in_full
from kit.studio.truth import ScaleTruth, Truth

_ON_STRIPED_TILES = ("stripe", "small_patch")
"""What only patches on tiles with several bases meet."""


def fire(series: Series, truth: Truth, seed: int) -> Series:
    """Fire every planned tile as often as planned and grade each patch after each firing.

    A tile is fired in the session that it is made in.

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
    firings = _firings(series, truth.loss_rate, random)
    fired = replace(series, firings=firings, grades=series.grades.iloc[:0])
    return replace(fired, grades=_grades(fired, truth, random))


def _firings(series: Series, loss_rate: float, random: np.random.Generator) -> pd.DataFrame:
    last = last_firings(series)
    rows = []
    planned = series.sessions.set_index("session")
    usual = series.settings.minutes_per_firing
    minutes = planned["minutes"].fillna(usual).to_dict()
    heat = planned["heat"].replace("", "torch").to_dict()
    for tile, session in zip(series.tiles["tile"], series.tiles["session"], strict=True):
        for firing in range(1, last[tile] + 1):
            spoiled = random.random() < loss_rate
            rows.append(
                {
                    "tile": tile,
                    "firing": firing,
                    "session": session,
                    "minutes": round(random.normal(minutes.get(session, usual), 0.1), 1),
                    "heat": heat.get(session, "torch"),
                    "accident": str(random.choice(ACCIDENTS)) if spoiled else "",
                    "note": "",
                }
            )
            if spoiled:
                break
    return pd.DataFrame(rows).astype({"accident": "str", "note": "str", "heat": "str"})


def latent_truth(series: Series, truth: Truth, seed: int) -> pd.DataFrame:
    """What lies beneath the grades of a series: the same draws, before anyone looked.

    Parameters
    ----------
    series : Series
        As `fire` gave it.
    truth : Truth
    seed : int
        That it was fired with.

    Returns
    -------
    DataFrame
        One row per sound patch and firing: patch, firing, tile, and a column per scale with its
        latent value, the wobble of tile, patch and session in it and that of the grader not.

    Raises
    ------
    Misuse
        When the series was not fired with this truth and seed.
    """
    fired = fire(series, truth, seed)
    keys = ["tile", "firing", "session", "accident"]
    if not fired.firings[keys].equals(series.firings[keys].reset_index(drop=True)):
        raise Misuse(f"{series.name} was not fired by this studio with the seed {seed}.")
    random = np.random.default_rng(seed)
    _firings(series, truth.loss_rate, random)
    each = _looked_at(fired)
    beneath = {
        scale: latent for scale, latent, _ in _seen_on_each_scale(series, each, truth, random)
    }
    table = each[["patch", "firing", "tile"]].assign(**beneath)
    return table.drop_duplicates(["patch", "firing"], ignore_index=True)


def _grades(series: Series, truth: Truth, random: np.random.Generator) -> pd.DataFrame:
    each = _looked_at(series)
    grades = each[["patch", "firing", "grader"]].copy()
    grades = grades.assign(**{s.name: pd.NA for s in series.settings.scales})
    for scale, _, grade in _seen_on_each_scale(series, each, truth, random):
        grades[scale] = grade
    scored = {scale.name: "Int64" for scale in series.settings.scales}
    return grades.astype(scored).assign(note=pd.Series("", index=grades.index, dtype="str"))


def _looked_at(series: Series) -> pd.DataFrame:
    """A row for each time that a grader looks at a patch after a firing."""
    graders = series.settings.graders or ("grader 1",)
    seen = patches_in_full(series).merge(series.firings[["tile", "firing", "session"]], on="tile")
    sound = (seen["firing"] < seen["lost_from"]) & (seen["firing"] >= seen["before_firing"])
    seen = seen[sound].assign(firings=lambda s: s["firing"] - s["before_firing"] + 1)
    each = seen.merge(pd.DataFrame({"grader": graders}), how="cross")
    return each.sort_values(["firing", "tile", "position", "grader"], ignore_index=True)


def _seen_on_each_scale(
    series: Series, each: pd.DataFrame, truth: Truth, random: np.random.Generator
) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Scale, latent value of the patch itself, and grade, for each look."""
    halo = random.normal(0, truth.halo_sd, len(each)) if truth.halo_sd else 0.0
    before: dict[str, np.ndarray] = {}
    for scale in series.settings.scales:
        if scale.name in truth.scales:
            own = truth.scales[scale.name]
            off = _changes(each, own, truth.state_correlation, before, random)
            changes = sum(values for group, values in off.items() if group != "grader")
            patch = truth.latent(each, scale.name) + changes
            seen = patch + off["grader"] + halo
            grade = np.searchsorted(own.cuts, seen + random.logistic(size=len(seen)))
            yield scale.name, patch, grade


def _changes(
    each: pd.DataFrame,
    truth: ScaleTruth,
    correlation: float,
    before: dict[str, np.ndarray],
    random: np.random.Generator,
) -> dict[str, np.ndarray]:
    """What changes from tile to tile and so on, for each look.

    `before` holds the standard normal values of the scale before, and is brought up to date.
    """
    sds = {
        "tile": truth.tile_sd,
        "patch": truth.patch_sd,
        "grader": truth.grader_sd,
        "session": truth.session_sd,
    }
    small = each["small"].to_numpy()
    if small.any():
        sds |= {"stripe": truth.stripe_sd, "small_patch": truth.small_patch_sd}
        each = each.assign(small_patch=each["patch"])
    off = {}
    for group, sd in sds.items():
        codes, levels = pd.factorize(each[group])
        own = random.normal(0, 1, len(levels))
        if group != "grader" and group in before:
            own = correlation * before[group] + np.sqrt(1 - correlation**2) * own
        before[group] = own
        off[group] = sd * own[codes] * (small if group in _ON_STRIPED_TILES else 1.0)
    return off
