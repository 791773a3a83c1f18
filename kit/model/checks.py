"""Checks that a reader can see: residuals, foretold against observed, single tiles' weight."""

import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.stats import norm
from statsmodels.stats.proportion import proportion_confint

from kit.errors import Misuse, StatisticalWarning
from kit.model.right_hand_side import NOISE
from kit.model.series_fit import ScaleFit
from kit.wording import plain_effect


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


def tile_influence(fit: ScaleFit, progress: Callable[[str], None] | None = None) -> pd.DataFrame:
    """Leave out each tile in turn and see what moves.

    Parameters
    ----------
    fit : ScaleFit
    progress : callable or None
        Told which tile is being left out.

    Returns
    -------
    DataFrame
        One row a tile, the most influential first, with columns tile, grades, distance (Cook's:
        the squared move of all thresholds and effects, in their own covariance, by parameter),
        most_moved (an effect), moved (in standard errors) and sentence. Cook (1977), Detection of
        influential observation in linear regression, Technometrics 19.

    Raises
    ------
    Misuse
        If there are fewer than three tiles.
    """
    results = fit.results
    tiles = list(pd.unique(fit.frame["tile"]))
    if len(tiles) < 3:
        raise Misuse(f"Leaving tiles out needs at least three; there are {len(tiles)}.")
    inverse = pd.DataFrame(
        np.linalg.pinv(results.cov_params().to_numpy()),
        index=results.params.index,
        columns=results.params.index,
    )
    rows = []
    for count, tile in enumerate(tiles, start=1):
        if progress is not None:
            progress(f"leaving out tile {tile} ({count} of {len(tiles)})")
        rest = fit.frame[fit.frame["tile"] != tile]
        others = fit.measured
        others = others[others["tile"] != tile] if len(others) else others
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", StatisticalWarning)
                without = fit.refitted(rest, measured=others).results.params
        except Misuse:
            continue
        names = results.params.index.intersection(without.index)
        move = (without[names] - results.params[names]).to_numpy()
        shape = inverse.loc[names, names].to_numpy()
        by_se = move / results.bse[names].to_numpy()
        effects = [i for i, name in enumerate(names) if name in results.effects.index]
        most = max(effects or range(len(names)), key=lambda i: abs(by_se[i]))
        rows.append(
            {
                "tile": tile,
                "grades": int((fit.frame["tile"] == tile).sum()),
                "distance": float(move @ shape @ move / len(names)),
                "most_moved": names[most],
                "moved": float(by_se[most]),
            }
        )
    table = pd.DataFrame(rows).sort_values("distance", ascending=False, ignore_index=True)
    table["sentence"] = [_influence_sentence(row) for row in table.to_dict("records")]
    return table


def _influence_sentence(row: dict) -> str:
    if abs(row["moved"]) < 1:
        return f"Without tile {row['tile']} nothing would move by as much as its uncertainty."
    return (
        f"Without tile {row['tile']}, {plain_effect(row['most_moved'])} would move by "
        f"{abs(row['moved']):.1f} of its standard errors (its uncertainty)."
    )
