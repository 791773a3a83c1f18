"""Checks that a reader can see: residuals, and foretold against observed."""

import numpy as np
import pandas as pd
from scipy.stats import norm
from statsmodels.stats.proportion import proportion_confint

from kit.model.right_hand_side import NOISE
from kit.model.series_fit import ScaleFit


def residuals(fit: ScaleFit) -> pd.DataFrame:
    """Distance of every grade from what was foretold for its patch.

    Parameters
    ----------
    fit : ScaleFit

    Returns
    -------
    DataFrame
        The graded rows with columns expected (foretold grade), grade, off (grade - expected) and
        residual: the normal score of the middle of the grade's share of the foretold distribution,
        roughly standard normal when the model holds. Dunn and Smyth (1996), Randomized
        quantile residuals, Journal of Computational and Graphical Statistics 5, with the middle in
        place of a random point.
    """
    below = fit.results.at_most(fit.frame)
    steps = np.asarray([float(label) for label in below.columns])
    chance = np.diff(below.to_numpy(), prepend=0.0)
    grade = fit.frame[fit.scale].astype(float).to_numpy()
    place = np.searchsorted(steps, grade)
    rows = np.arange(len(grade))
    middle = below.to_numpy()[rows, place] - 0.5 * chance[rows, place]
    expected = chance @ steps
    return fit.frame.assign(
        expected=expected,
        grade=grade,
        off=grade - expected,
        residual=norm.ppf(np.clip(middle, 1e-6, 1 - 1e-6)),
    )


def observed_against_foretold(
    fit: ScaleFit, bins: int = 8, confidence: float = 0.9
) -> pd.DataFrame:
    """Compare how often grades stayed at or below each step with the chances foretold.

    Each grade is foretold as if its patch and tile were new, so that the comparison shows how the
    pair chart's chances would have served.

    Parameters
    ----------
    fit : ScaleFit
    bins : int
        Rows are gathered into this many bins of about equal size by their foretold chance.
    confidence : float
        Of the interval about the observed share (Wilson 1927). Grades of one patch repeat each
        other, so patches and not grades are counted for it.

    Returns
    -------
    DataFrame
        Columns step, foretold, observed, low, high, grades, patches.
    """
    new = fit.frame.drop(columns=[c for c in NOISE if c in fit.frame])
    noise = [name for name in NOISE if name in fit.results.random_sd]
    below = fit.results.at_most(new, noise)
    grade = fit.frame[fit.scale].astype(float).to_numpy()
    rows = []
    for step in below.columns[:-1]:
        foretold = below[step].to_numpy()
        stayed = grade <= float(step)
        order = np.argsort(foretold, kind="stable")
        for part in np.array_split(order, min(bins, len(order))):
            patches = fit.frame["patch"].iloc[part].nunique()
            share = float(stayed[part].mean())
            low, high = proportion_confint(share * patches, patches, 1 - confidence, "wilson")
            rows.append(
                {
                    "step": step,
                    "foretold": float(foretold[part].mean()),
                    "observed": share,
                    "low": float(low),
                    "high": float(high),
                    "grades": len(part),
                    "patches": patches,
                }
            )
    return pd.DataFrame(rows)
