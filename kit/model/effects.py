"""What each factor does, in steps of the scale."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from kit.mixed import Array
from kit.model.marginal_means import interval_of, reference_recipes, typical_grades
from kit.model.right_hand_side import MEASURES
from kit.model.series_fit import ScaleFit
from kit.series import family_pair
from kit.wording import plain_name


def effects_table(fit: ScaleFit, confidence: float = 0.9) -> pd.DataFrame:
    """Say how far each factor moves the average grade, from its lowest level to its highest.

    The move is averaged over the family pairs that were fired, with the other factors at the
    middle of their range, and over all colours, tiles and patches.

    Parameters
    ----------
    fit : ScaleFit
    confidence : float

    Returns
    -------
    DataFrame
        One row a factor, the largest move first, with columns factor, from, to, effect, low, high
        (steps of the scale) and chance_up (chance that the grade goes up).
    """
    recipes = reference_recipes(fit)
    rows = []
    for factor in fit.factors:
        low, high, apart = _moves(fit, factor, recipes)
        moved = apart.mean(axis=1)
        middle, least, most = (float(value) for value in interval_of(moved, confidence))
        up = float(np.mean(moved > 0))
        rows.append(
            {
                "factor": factor,
                "from": _spelt(low),
                "to": _spelt(high),
                "effect": middle,
                "low": least,
                "high": most,
                "chance_up": up,
            }
        )
    columns = ["factor", "from", "to", "effect", "low", "high", "chance_up"]
    table = pd.DataFrame(rows, columns=columns)
    order = table["effect"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order].reset_index(drop=True)


def effects_within(fit: ScaleFit, confidence: float = 0.9) -> pd.DataFrame:
    """Say how far each factor moves the average grade while another is held.

    An effect may turn round: raise the grade with one family and lower it with the other. The
    average over both, which `effects_table` gives, then speaks of neither.

    Parameters
    ----------
    fit : ScaleFit
    confidence : float

    Returns
    -------
    DataFrame
        Columns factor, held (another factor, or 'family_pair'), context ('for leaded over
        unleaded', "where the overlay's sifter is 60"), effect, low, high (steps of the scale) and
        chance_up. Families are held as the pairs that were fired, or as the other role's family
        when one role's is the factor; measures at both ends of their range.
    """
    recipes = reference_recipes(fit)
    rows = []
    for factor in fit.factors:
        _, _, apart = _moves(fit, factor, recipes)
        contexts = [
            ("family_pair", _families_held(recipe, factor, fit), apart[:, n])
            for n, recipe in enumerate(recipes.to_dict("records"))
        ]
        for held in (f for f in fit.factors if f in MEASURES and f != factor):
            for level in (fit.frame[held].min(), fit.frame[held].max()):
                _, _, there = _moves(fit, factor, recipes.assign(**{held: level}))
                where = f"where {plain_name(held)} is {_spelt(level)}"
                contexts.append((held, where, there.mean(axis=1)))
        for held, context, moved in contexts:
            middle, low, high = (float(value) for value in interval_of(moved, confidence))
            told = {"effect": middle, "low": low, "high": high}
            up = float(np.mean(moved > 0))
            rows.append(
                {"factor": factor, "held": held, "context": context, **told, "chance_up": up}
            )
    columns = ["factor", "held", "context", "effect", "low", "high", "chance_up"]
    return pd.DataFrame(rows, columns=columns).drop_duplicates(["factor", "context"])


def _moves(fit: ScaleFit, factor: str, recipes: pd.DataFrame) -> tuple[object, object, Array]:
    """Lowest and highest level of a factor, and draws of how far it moves each recipe."""
    levels = sorted(fit.frame[factor].unique())
    both = pd.concat([recipes.assign(**{factor: level}) for level in (levels[0], levels[-1])])
    draws = typical_grades(fit, both.reset_index(drop=True))
    half = len(recipes)
    return levels[0], levels[-1], draws[:, half:] - draws[:, :half]


def _families_held(recipe: Mapping[Hashable, Any], factor: str, fit: ScaleFit) -> str:
    """Name the families that a recipe holds while a factor moves."""
    base, overlay = (
        recipe.get(f"{role}_family", fit.frame[f"{role}_family"].iloc[0])
        for role in ("base", "overlay")
    )
    if factor == "base_family":
        return f"where the overlay is {overlay}"
    if factor == "overlay_family":
        return f"where the base is {base}"
    return f"for {family_pair(base, overlay)}"


def _spelt(level: object) -> str:
    return f"{level:g}" if isinstance(level, (int, float, np.number)) else str(level)
