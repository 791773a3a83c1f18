"""Grades of a typical recipe: what a factor does whichever colours are used."""

import numpy as np
import pandas as pd
from scipy.stats import norm, qmc

from kit.mixed import Array, averaged_below, one_thread, square_root
from kit.model.right_hand_side import HEAT, MEASURES, PICTURED, with_refirings
from kit.model.series_fit import ScaleFit

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
