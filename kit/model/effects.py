"""What each factor does, in steps of the scale, whichever colours are used."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import norm, qmc

from kit.mixed import Array, averaged_below, one_thread, square_root
from kit.model.right_hand_side import HEAT, MEASURES, PICTURED, with_refirings
from kit.model.series_fit import ScaleFit
from kit.series import family_pair
from kit.wording import plain_name

DRAWS = 512


def typical_grades(fit: ScaleFit, recipes: pd.DataFrame) -> Array:
    """Draws of the average grade of recipes over all colours, tiles and patches.

    Parameters
    ----------
    fit : ScaleFit
    recipes : DataFrame, n rows
        Columns: the fit's factors.

    Returns
    -------
    (512, n) array
        In steps of the scale. A draw takes one value of all effects and thresholds from their
        joint uncertainty, so rows may be compared draw by draw.
    """
    results = fit.results
    posterior = results.posterior
    fixed = len(results.params)
    x = posterior.effects.columns_for(recipes)
    z = norm.ppf(qmc.Sobol(fixed, seed=0).random(DRAWS).clip(1e-6, 1 - 1e-6))
    psi = posterior.psi[:fixed] + z @ square_root(posterior.psi_cov[:fixed, :fixed]).T
    theta = np.sort(psi[:, : results.cuts], axis=1)
    eta = psi[:, posterior.first_effect :] @ x.T
    rows = with_refirings(recipes)
    terms = zip(posterior.terms, posterior.new_var, strict=True)
    of_patches = [(term, v) for term, v in terms if term.name != PICTURED]
    sd = np.sqrt(sum(v * _entries(term.column, rows) ** 2 for term, v in of_patches))
    steps = np.asarray([float(label) for label in results.used_labels])
    with one_thread():
        grade: Array = steps[-1] - averaged_below(theta, eta, sd) @ np.diff(steps)
    return grade


def _entries(column: str | None, rows: pd.DataFrame) -> Array:
    """What multiplies a term's deviation: 1, or a column; nothing where it is not spoken of."""
    if column is None:
        return np.ones(len(rows))
    return rows[column].to_numpy(float) if column in rows else np.zeros(len(rows))


def reference_recipes(fit: ScaleFit) -> pd.DataFrame:
    """Recipes to average over: every family pair that was fired, other factors at their middle.

    The heat is the one that was used most.
    """
    families = [factor for factor in fit.factors if factor not in (*MEASURES, HEAT)]
    table = fit.frame[families].drop_duplicates() if families else pd.DataFrame(index=[0])
    middles = {
        factor: 0.5 * (fit.frame[factor].min() + fit.frame[factor].max())
        for factor in fit.factors
        if factor in MEASURES
    }
    usual = {HEAT: fit.frame[HEAT].mode().iloc[0]} if HEAT in fit.factors else {}
    return table.assign(**middles, **usual).reset_index(drop=True)


def interval_of(draws: Array, confidence: float) -> tuple[Array, Array, Array]:
    """Middle, low and high of draws along the first axis."""
    tail = (1 - confidence) / 2
    low, middle, high = np.quantile(draws, [tail, 0.5, 1 - tail], axis=0)
    return middle, low, high


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
