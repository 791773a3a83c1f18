"""The pair table: what every ordered pair of colours would do, and how surely that is known."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed import Array
from kit.model.dependence import both_below, score_correlation
from kit.model.pair_recipes import every_pair, outside, patches_behind, recipes, with_habits
from kit.model.pair_setting import PairSetting
from kit.model.series_fit import NOISE, ScaleFit
from kit.model.verdicts import NOT_KNOWN, verdicts

SCORES = ("spread", "pull_through")


def pair_table(
    fits: Mapping[str, ScaleFit], colours: pd.DataFrame, setting: PairSetting
) -> pd.DataFrame:
    """Foretell and judge every ordered pair, fired or not.

    What is foretold is a new patch on a new tile, seen by the average grader in an average session,
    after `setting.firings` firings. Its chances are averaged over everything that is not known
    exactly: effects and thresholds, what each colour and pair does of its own (for a pair never
    fired, the whole variation of pairs), and how much tiles and patches vary.

    Spread and pull-through are modelled apart. A patch that does badly on one may do badly on the
    other, so the chance that both stay low is not the product of two chances. Their correlation is
    estimated beneath the grades that patches got on both scales (`score_correlation`), and the two
    chances are joined by a normal copula with it. `p_fine_edge_at_least` is the chance that remains
    under the worst dependence there could be (Frechet's bound): where it reaches the confidence,
    the verdict does not rest on the estimated correlation.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Needs 'spread' and 'pull_through'.
    colours : DataFrame
        Columns colour, family.
    setting : PairSetting

    Returns
    -------
    DataFrame
        One row a pair, with columns base, overlay, base_family, overlay_family, patches (fired,
        not lost), p_fine_edge, p_fine_edge_at_least, p_breaks_through, then for each score its
        average grade and the interval that holds this average with the setting's confidence
        (spread, spread_low, spread_high, pull_through, ...), and verdict.

    Raises
    ------
    Misuse
        If a fit is missing.

    Warns
    -----
    ExtrapolationWarning
        If the setting lies outside what was fired. Such pairs are 'not known yet'.
    """
    missing = [score for score in SCORES if score not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    table = every_pair(colours)
    recipe = recipes(table, setting)
    table["patches"] = patches_behind(table, {s: fits[s] for s in SCORES})
    below = {}
    grades = {}
    for score in SCORES:
        fit = fits[score]
        new = with_habits(recipe, fit)
        noise = [name for name in NOISE if name in fit.results.random_sd]
        below[score] = fit.results.at_most(new, noise)
        grades[score] = fit.results.expected_grade(new, setting.confidence, noise)
    spread, pull = (_at_most(below[score], setting.fine_edge_at_most) for score in SCORES)
    rho = score_correlation(fits["spread"], fits["pull_through"])
    breaks = 1 - _at_most(below["pull_through"], setting.breaks_from - 1)
    table["p_fine_edge"] = both_below(spread, pull, rho)
    table["p_fine_edge_at_least"] = np.maximum(0.0, spread + pull - 1)
    table["p_breaks_through"] = breaks
    for score, grade in grades.items():
        table[score] = grade["middle"].to_numpy()
        table[f"{score}_low"] = grade["low"].to_numpy()
        table[f"{score}_high"] = grade["high"].to_numpy()
    judged = verdicts(table["p_fine_edge"].to_numpy(), breaks, setting.confidence)
    table["verdict"] = np.where(outside(recipe, fits), NOT_KNOWN, judged)
    return table


def _at_most(below: pd.DataFrame, step: int) -> Array:
    """P(y <= step) from chances of at most each label."""
    within = [label for label in below.columns if label <= step]
    return below[within[-1]].to_numpy() if within else np.zeros(len(below))
