"""Family on family: what each combination does, how they differ, and what common practice says."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.model.effects import interval_of, reference_recipes, typical_grades
from kit.model.right_hand_side import NOISE, with_refirings
from kit.model.series_fit import ScaleFit
from kit.series import family_pair
from kit.wording import counted, interval, listed, of_a_step, plain_name

FEWEST_COUPLES = 3
"""Pairs of colours that look alike which nothing is compared within below."""

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


def matched_contrasts(
    fits: Mapping[str, ScaleFit], colours: pd.DataFrame, confidence: float = 0.9
) -> pd.DataFrame:
    """Compare the family pair that stands out with like over like, within colours that look alike.

    Over one base family, each overlay that stands out is held against the overlay of the other
    family that resembles it most, as `like` in colours.csv says; so that what differs is the family
    and not the hue.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        By scale; scales without a saying are passed over.
    colours : DataFrame
        Columns colour, family, like.
    confidence : float

    Returns
    -------
    DataFrame
        Columns scale, first, second (family pairs), couples, difference (first minus second, steps
        of the scale), low, high, chance_more and sentence. No rows where fewer than
        `FEWEST_COUPLES` were fired.
    """
    rows = []
    for scale, (stands_out, _) in COMMON_PRACTICE.items():
        if scale not in fits:
            continue
        fit = fits[scale]
        second = next(
            name for name in LIKE_OVER_LIKE if name.split(" over ")[1] == stands_out.split()[-1]
        )
        couples = _couples(colours, set(fit.seen["overlay"]), stands_out.split()[0])
        bases = set(fit.seen.get("base_family", ()))
        if len(couples) < FEWEST_COUPLES or stands_out.split()[-1] not in bases:
            continue
        apart = _within_couples(fit, couples, stands_out, second)
        told = _told(apart, confidence)
        said = _matched_sentence(scale, stands_out, second, couples, told, confidence)
        rows.append(
            {"scale": scale, "first": stands_out, "second": second, "couples": len(couples), **told}
            | {"sentence": said}
        )
    columns = ["scale", "first", "second", "couples", "difference", "low", "high", "chance_more"]
    return pd.DataFrame(rows, columns=[*columns, "sentence"])


def _couples(colours: pd.DataFrame, fired: set[str], family: str) -> list[tuple[str, str]]:
    """Colours that were fired as overlays and look alike, the one of the given family first."""
    of = dict(zip(colours["colour"], colours["family"], strict=True))
    found: set[tuple[str, str]] = set()
    for one, other in zip(colours["colour"], colours.get("like", ""), strict=True):
        if {one, other} <= fired and of.get(one) != of.get(other):
            found.add((one, other) if of[one] == family else (other, one))
    return sorted(found)


def _within_couples(
    fit: ScaleFit, couples: list[tuple[str, str]], first: str, second: str
) -> Array:
    """Draws of how far the first of each couple lies above the second, averaged over couples."""
    reference = reference_recipes(fit).drop(columns=["base_family", "overlay_family"])
    other = reference.iloc[:1].to_dict("records")[0]
    rows = pd.DataFrame(
        [
            {**other, "overlay": colour, "overlay_family": over, "base_family": beneath}
            for couple in couples
            for colour, pair in zip(couple, (first, second), strict=True)
            for over, beneath in [pair.split(" over ")]
        ]
    )
    noise = [name for name in NOISE if name in fit.results.random_sd]
    rows = with_refirings(fit.labels.on(rows))
    share = fit.results.latent_draws(rows, noise).share_at_most()
    average = (1 - share[:, :, :-1]).sum(axis=2)
    apart: Array = (average[:, 0::2] - average[:, 1::2]).mean(axis=1)
    return apart


def _matched_sentence(
    scale: str,
    first: str,
    second: str,
    couples: list[tuple[str, str]],
    told: Mapping[str, float],
    confidence: float,
) -> str:
    among = f"Between overlays that look alike ({counted(len(couples), 'couple')}, such as "
    among += f"{listed(list(couples[0]))}), "
    span = interval(told["low"], told["high"])
    if max(told["chance_more"], 1 - told["chance_more"]) < 0.5 + confidence / 2:
        return (
            f"{among}{first} cannot be told from {second} in {plain_name(scale)}: "
            f"{of_a_step(told['difference'])} {span}."
        )
    way = "more" if told["difference"] > 0 else "less"
    return (
        f"{among}{first} shows {of_a_step(abs(told['difference']))} {way} {plain_name(scale)} than "
        f"{second} {span}: the families differ, and not their hues alone."
    )


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
