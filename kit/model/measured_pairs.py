"""The pair table from photographs: the same verdicts, judged by millimetres and shares."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from kit.errors import Misuse
from kit.model.crossed import Array
from kit.model.dependence import FEWEST, LARGEST, both_below
from kit.model.measured import MeasureFit
from kit.model.pair_recipes import every_pair, outside, patches_behind, recipes, with_habits
from kit.model.pair_setting import PairSetting
from kit.model.series_fit import NOISE
from kit.model.verdicts import NOT_KNOWN, verdicts

MEASURE_OF = {"spread": "spread_mm", "pull_through": "pull_through_share"}
"""What stands for each score when photographs judge."""


def measured_pair_table(
    fits: Mapping[str, MeasureFit], colours: pd.DataFrame, setting: PairSetting
) -> pd.DataFrame:
    """Foretell and judge every ordered pair by what photographs measured.

    What is foretold is one measurement of a new patch on a new tile in an average session, after
    `setting.firings` firings. A fine edge holds when its spread is at most `setting.fine_edge_mm`
    and its pull-through at most `setting.fine_edge_share`; the base breaks through when
    pull-through is above that. As in `pair_table`, the two chances are joined by a normal copula,
    here with the correlation of what is left of the measurements (`measure_correlation`).

    Parameters
    ----------
    fits : mapping of str to MeasureFit
        Needs 'spread_mm' and 'pull_through_share'.
    colours : DataFrame
        Columns colour, family.
    setting : PairSetting

    Returns
    -------
    DataFrame
        As `pair_table` gives it, but spread is in mm and pull_through is a share: what is expected
        of the pair (for the share, its middle) and the interval that holds it.

    Raises
    ------
    Misuse
        If a fit is missing.

    Warns
    -----
    ExtrapolationWarning
        If the setting lies outside what was fired. Such pairs are 'not known yet'.
    """
    missing = [measure for measure in MEASURE_OF.values() if measure not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    own = {score: fits[measure] for score, measure in MEASURE_OF.items()}
    table = every_pair(colours)
    recipe = recipes(table, setting)
    table["patches"] = patches_behind(table, own)
    limits = {"spread": setting.fine_edge_mm, "pull_through": setting.fine_edge_share}
    spread, pull = (_at_most(own[score], recipe, limit) for score, limit in limits.items())
    rho = measure_correlation(own["spread"], own["pull_through"])
    table["p_fine_edge"] = both_below(spread, pull, rho)
    table["p_fine_edge_at_least"] = np.maximum(0.0, spread + pull - 1)
    table["p_breaks_through"] = 1 - pull
    for score, fit in own.items():
        told = fit.results.predict(with_habits(recipe, fit), setting.confidence)
        for column, end in (("", "mean"), ("_low", "low"), ("_high", "high")):
            table[f"{score}{column}"] = fit.from_scale(told[end])
    judged = verdicts(table["p_fine_edge"].to_numpy(), 1 - pull, setting.confidence)
    table["verdict"] = np.where(outside(recipe, own), NOT_KNOWN, judged)
    return table


def measure_correlation(one: MeasureFit, other: MeasureFit) -> float:
    """Correlation of two measures of one patch, given what is known of its pair.

    Both are put in standard deviations from what the model foretells for a new patch of the same
    recipe; the correlation is the most likely one of the normal distribution. A weak prior pulls
    it towards zero when patches are few.

    Returns
    -------
    float
        0 where fewer than 20 measurements have both.
    """
    keys = [key for key in ("series", "patch", "firing") if key in one.frame]
    here, there = _apart(one), _apart(other)
    both = here.merge(there, on=keys, suffixes=("_one", "_other"))
    if len(both) < FEWEST:
        return 0.0
    z, w = both["z_one"].to_numpy(), both["z_other"].to_numpy()
    # Measurements of one patch repeat each other: together they count as one of each patch.
    share = both["patch"].nunique() / len(both)

    def misfit(rho: float) -> float:
        left = 1 - rho**2
        squares = (z**2 - 2 * rho * z * w + w**2) / left
        return 0.5 * share * float(np.sum(np.log(left) + squares)) + 2 * np.arctanh(rho) ** 2

    return float(minimize_scalar(misfit, bounds=(-LARGEST, LARGEST), method="bounded").x)


def _at_most(fit: MeasureFit, recipe: pd.DataFrame, limit: float) -> Array:
    """P(measure <= limit) for a new patch on a new tile."""
    mean, sd = fit.foretell(with_habits(recipe, fit), _noise(fit))
    chance: Array = norm.cdf((fit.to_scale(limit) - mean) / sd)
    return chance


def _noise(fit: MeasureFit) -> list[str]:
    return [name for name in NOISE if name in fit.results.random_sd]


def _apart(fit: MeasureFit) -> pd.DataFrame:
    """Each measurement's distance from what is foretold, in standard deviations."""
    keys = [key for key in ("series", "patch", "firing") if key in fit.frame]
    rows = fit.frame.drop(columns=[c for c in (*NOISE, "session") if c in fit.frame])
    mean, sd = fit.foretell(rows, _noise(fit))
    return fit.frame[keys].assign(z=(fit.to_scale(fit.frame[fit.measure]) - mean) / sd)
