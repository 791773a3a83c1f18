"""Family on family: what each combination does, how they differ, and what common practice says."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.model.series_fit import ScaleFit
from kit.model.typical import interval_of, reference_recipes, typical_grades
from kit.series import family_pair

LIKE_OVER_LIKE = ("leaded over leaded", "unleaded over unleaded")

COMMON_PRACTICE = {
    "spread": ("leaded over unleaded", "Leaded over unleaded spreads more than like over like."),
    "pull_through": (
        "unleaded over leaded",
        "Unleaded over leaded is pulled through more than like over like.",
    ),
}
"""Common practice, no source: the family pair that stands out on each scale, and the saying."""


def family_table(
    fit: ScaleFit, firings: float | None = None, confidence: float = 0.9
) -> pd.DataFrame:
    """Average grade of each family pair that was fired.

    Parameters
    ----------
    fit : ScaleFit
    firings : float or None
        Firing count; None for the middle of those graded.
    confidence : float

    Returns
    -------
    DataFrame
        Columns overlay_family, base_family, family_pair, patches, grade, low, high.

    Raises
    ------
    Misuse
        If only one family was fired on one family.
    """
    recipes, draws = _by_family(fit, firings)
    middle, low, high = interval_of(draws, confidence)
    patches = fit.frame.groupby(["base_family", "overlay_family"])["patch"].nunique()
    places = pd.MultiIndex.from_frame(recipes[["base_family", "overlay_family"]])
    return pd.DataFrame(
        {
            "overlay_family": recipes["overlay_family"],
            "base_family": recipes["base_family"],
            "family_pair": _names(recipes),
            "patches": patches.reindex(places).to_numpy(),
            "grade": middle,
            "low": low,
            "high": high,
        }
    )


def family_contrasts(
    fit: ScaleFit, firings: float | None = None, confidence: float = 0.9
) -> pd.DataFrame:
    """Difference in average grade between every two family pairs that were fired.

    Returns
    -------
    DataFrame
        Columns first, second, difference (first minus second, steps of the scale), low, high and
        chance_more (chance that the first has the higher grade).
    """
    recipes, draws = _by_family(fit, firings)
    names = _names(recipes)
    rows = []
    for i in range(len(names)):
        for j in range(i + 1, len(names)):
            apart = draws[:, i] - draws[:, j]
            rows.append({"first": names[i], "second": names[j], **_told(apart, confidence)})
    return pd.DataFrame(
        rows, columns=["first", "second", "difference", "low", "high", "chance_more"]
    )


def common_practice_check(
    fits: Mapping[str, ScaleFit], firings: float | None = None, confidence: float = 0.9
) -> pd.DataFrame:
    """Compare the family pairs' grades with what enamellers say (common practice, no source).

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        By scale; scales without a saying are passed over.

    Returns
    -------
    DataFrame
        Columns scale, claim, source, difference (from the mean of like over like), low, high,
        chance_more and finding ('agrees', 'contradicts' or 'cannot tell').
    """
    rows = []
    for scale, (stands_out, claim) in COMMON_PRACTICE.items():
        if scale not in fits:
            continue
        try:
            recipes, draws = _by_family(fits[scale], firings)
        except Misuse:
            continue
        names = _names(recipes)
        alike = [i for i, name in enumerate(names) if name in LIKE_OVER_LIKE]
        if stands_out not in names or not alike:
            continue
        apart = draws[:, names.index(stands_out)] - draws[:, alike].mean(axis=1)
        told = _told(apart, confidence)
        finding = "cannot tell"
        if told["low"] > 0:
            finding = "agrees"
        elif told["high"] < 0:
            finding = "contradicts"
        rows.append(
            {"scale": scale, "claim": claim, "source": "common practice, no source", **told}
            | {"finding": finding}
        )
    columns = ["scale", "claim", "source", "difference", "low", "high", "chance_more", "finding"]
    return pd.DataFrame(rows, columns=columns)


def _by_family(fit: ScaleFit, firings: float | None) -> tuple[pd.DataFrame, Array]:
    pairs = fit.frame[["base_family", "overlay_family"]].drop_duplicates()
    if len(pairs) < 2:
        only = pairs.iloc[0]
        raise Misuse(
            f"Only {family_pair(only['base_family'], only['overlay_family'])} was fired, so there "
            "is no family pair to compare it with."
        )
    other = reference_recipes(fit).drop(columns=["base_family", "overlay_family"], errors="ignore")
    recipes = pairs.merge(other.drop_duplicates(), how="cross") if other.shape[1] else pairs
    if firings is not None and "firings" in recipes:
        recipes = recipes.assign(firings=float(firings))
    recipes = recipes.sort_values(["overlay_family", "base_family"], ignore_index=True)
    return recipes, typical_grades(fit, recipes)


def _names(recipes: pd.DataFrame) -> list[str]:
    return [
        family_pair(base, overlay)
        for base, overlay in zip(recipes["base_family"], recipes["overlay_family"], strict=True)
    ]


def _told(apart: Array, confidence: float) -> dict[str, float]:
    middle, low, high = (float(value) for value in interval_of(apart, confidence))
    return {
        "difference": middle,
        "low": low,
        "high": high,
        "chance_more": float(np.mean(apart > 0)),
    }
