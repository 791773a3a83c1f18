"""The pair table from photographs: the same verdicts, judged by millimetres and shares."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed import Array
from kit.model.dependence import FEWEST, LARGEST, both_below
from kit.model.measured import MeasureFit
from kit.model.pair_recipes import every_pair, outside, patches_behind, recipes, with_habits
from kit.model.pair_setting import PairSetting
from kit.model.series_fit import NOISE
from kit.model.verdicts import NOT_KNOWN, verdicts

MEASURE_OF = {"spread": "spread_mm", "pull_through": "pull_through_share"}
"""What stands for each score when photographs judge."""

PRIOR_SD = 0.5
"""Of a correlation on Fisher's scale, before anything is measured."""


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
    recipe. On Fisher's scale their correlation r is atanh(r), about normal with variance
    1 / (n - 3) for n patches: Fisher (1921), On the probable error of a coefficient of correlation
    deduced from a small sample, Metron 1. A weak prior there, normal with standard deviation 1/2,
    pulls it towards zero when patches are few.

    Returns
    -------
    float
        0 where fewer than 20 patches have both.
    """
    keys = [key for key in ("series", "patch", "firing") if key in one.frame]
    both = _apart(one).merge(_apart(other), on=keys, suffixes=("_one", "_other"))
    patches = both.drop_duplicates(keys[:-1]).shape[0]
    if patches < FEWEST:
        return 0.0
    r = np.clip(np.corrcoef(both["z_one"], both["z_other"])[0, 1], -LARGEST, LARGEST)
    return float(np.tanh(np.arctanh(r) * (patches - 3) / (patches - 3 + 1 / PRIOR_SD**2)))


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
