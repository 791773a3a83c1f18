"""Does one effect serve every threshold? The model assumes so; this looks."""

import warnings
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import chi2

from kit.errors import StatisticalWarning
from kit.mixed import Array, OrdinalMixedModel, OrdinalResults
from kit.model.joint_density import JointDensity, score_of_added
from kit.model.pair_setting import PairSetting
from kit.model.pair_verdicts import pair_table
from kit.model.right_hand_side import own_reactions
from kit.model.series_fit import ScaleFit
from kit.wording import counted, plain_effect

# Grades on the rarer side of a threshold below which it has no model of its own.
FEWEST = 15
# The same for the test of all cuts together, in which a cut of which little is told counts little.
FEWEST_TOGETHER = 5
# Information, per squared logit over a factor's range, at which a direction counts half.
ENOUGH = 1.0


def proportional_odds_check(fit: ScaleFit, level: float = 0.01) -> pd.DataFrame:
    """Fit each threshold by itself and compare its effects with the common ones.

    Parameters
    ----------
    fit : ScaleFit
    level : float
        Chance of a false alarm, over all effects and thresholds together.

    Returns
    -------
    DataFrame
        One row an effect and threshold, with columns effect, threshold, own (the effect at this
        threshold alone), own_se, common, chance (of so large a difference if the assumption
        holds), stands_out and sentence. Thresholds with few grades on one side are left out.

    Notes
    -----
    The common estimate is efficient if the assumption holds, so that the variance of the difference
    is the difference of the variances: Hausman (1978), Specification tests in econometrics,
    Econometrica 46. The comparison by threshold is that of Brant (1990), Assessing proportionality
    in the proportional odds model for ordinal logistic regression, Biometrics 46.
    """
    fit = fit.by_grades
    results = fit.results
    codes = fit.frame[fit.scale].cat.codes.to_numpy()
    right = results.formula.split("~", 1)[1]
    groups = [term.name for term in results.posterior.terms if term.column is None]
    rows = []
    for cut, name in zip(fit.frame[fit.scale].cat.categories[:-1], _names(fit), strict=True):
        above = codes > list(fit.frame[fit.scale].cat.categories).index(cut)
        if min(above.sum(), (~above).sum()) < FEWEST:
            continue
        data = fit.frame.assign(above=above.astype(int))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", StatisticalWarning)
            model = OrdinalMixedModel(f"above ~ {right}", data, groups, own_reactions(groups, data))
            own = model.fit(prior=results.prior)
        for effect in results.effects.index.intersection(own.effects.index):
            rows.append(
                {
                    "effect": effect,
                    "threshold": name,
                    "own": float(own.params[effect]),
                    "own_se": float(own.bse[effect]),
                    "common": float(results.params[effect]),
                    "chance": _chance(own, results, effect),
                }
            )
    columns = ["effect", "threshold", "own", "own_se", "common", "chance"]
    table = pd.DataFrame(rows, columns=columns)
    table["stands_out"] = table["chance"] < level / max(len(table), 1)
    table["sentence"] = [_sentence(row) for row in table.to_dict("records")]
    return table


def cuts_differ(fit: ScaleFit, draws: int = 20_000) -> float:
    """Chance of effects differing as much from cut to cut as here, if they do not differ.

    Score tests of effects at all cuts together: Rao (1948), Large sample tests of statistical
    hypotheses, Proceedings of the Cambridge Philosophical Society 44. One is of all effects, one
    of those that firing does not enter, which are fewer and so told from less; twice the smaller
    chance stands for both (Bonferroni). Directions that these grades say little of count less, so
    that they add no noise; the statistic is then a sum of squared normal values of known weights,
    whose chance is counted over draws.

    Parameters
    ----------
    fit : ScaleFit
    draws : int

    Returns
    -------
    float
        1 where fewer than two cuts have enough grades on both sides.
    """
    whole = JointDensity.of(fit.by_grades)
    beyond = [
        k
        for k in range(whole.cuts)
        if min((whole.grade > k).sum(), (whole.grade <= k).sum()) >= FEWEST_TOGETHER
    ]
    if len(beyond) < 2 or not whole.x.shape[1]:
        return 1.0
    plain = np.array(["firings" not in name for name in fit.results.effects.index])
    sets = [np.ones(plain.size, bool)]
    if plain.any() and not plain.all():
        sets.append(plain)
    return min(1.0, len(sets) * min(_chance_alike(whole, beyond, own, draws) for own in sets))


def _chance_alike(whole: JointDensity, beyond: list[int], effects: Array, draws: int) -> float:
    """Chance of some effects differing as much between these cuts."""
    reach = np.maximum(np.ptp(whole.x, axis=0), 1e-9)
    x = ((whole.x - whole.x.mean(axis=0)) / reach)[:, effects]
    # The first of these cuts is the one that the others are compared with.
    own = [(whole.grade == k, whole.grade == k + 1) for k in beyond[1:]]
    upper = np.hstack([np.where(at[:, None], -x, 0.0) for at, _ in own])
    lower = np.hstack([np.where(above[:, None], -x, 0.0) for _, above in own])
    score, variance = score_of_added(whole, upper, lower)
    sizes, ways = np.linalg.eigh(variance)
    sizes = np.maximum(sizes, 0.0)
    told = (ways.T @ score) ** 2 @ (1 / (sizes + ENOUGH))
    chance = np.random.default_rng(0).chisquare(1, (draws, sizes.size)) @ (sizes / (sizes + ENOUGH))
    return float((1 + (chance >= told).sum()) / (1 + draws))


def verdicts_by_own_cuts(
    fits: Mapping[str, ScaleFit], colours: pd.DataFrame, setting: PairSetting
) -> pd.DataFrame:
    """Judge every pair again with only the cuts that part the endings.

    Grades are put together between those cuts, so that what happens further up the scale bends
    nothing. Where the verdicts stay, it does not matter to them whether effects differ from cut to
    cut.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Needs 'spread' and 'pull_through'.
    colours : DataFrame
    setting : PairSetting

    Returns
    -------
    DataFrame
        Rows of the pair table whose verdict would be another: base, overlay, firings, verdict and
        own_cuts_verdict.

    Raises
    ------
    Misuse
        If all grades of a score lie on one side of its cuts.
    """
    edges = {"spread": [setting.fine_edge_at_most + 1]}
    edges["pull_through"] = sorted({*edges["spread"], setting.breaks_through_from})
    own = {}
    for score, at in edges.items():
        fit = fits[score]
        grouped = np.searchsorted(at, fit.frame[score].astype(int).to_numpy(), side="right")
        frame = fit.frame.assign(**{score: grouped})
        own[score] = fit.refitted(frame, range(len(at) + 1))
    apart = replace(setting, fine_edge_at_most=0, breaks_through_from=len(edges["pull_through"]))
    keys = ["base", "overlay", "firings"]
    both = pair_table(fits, colours, setting)[[*keys, "verdict"]].merge(
        pair_table(own, colours, apart)[[*keys, "verdict"]].rename(
            columns={"verdict": "own_cuts_verdict"}
        ),
        on=keys,
    )
    return both[both["verdict"] != both["own_cuts_verdict"]].reset_index(drop=True)


def cuts_sentence(changed: pd.DataFrame) -> str:
    """Say what verdicts by the cuts that part the endings alone would change, and what to do.

    Parameters
    ----------
    changed : DataFrame
        As `verdicts_by_own_cuts` gives it.
    """
    pairs = len(changed.drop_duplicates(["base", "overlay"]))
    if not pairs:
        return "Judged by the steps that part the endings alone, every verdict is the same."
    return (
        "Judged by the steps that part the endings alone, "
        f"{counted(pairs, 'pair')} would get another verdict. Fire those again before you rely on "
        "them, and grade photographs of the steps side by side."
    )


def _names(fit: ScaleFit) -> list[str]:
    labels = fit.frame[fit.scale].cat.categories
    return [f"{a}|{b}" for a, b in pairwise(labels)]


def _chance(own: OrdinalResults, results: OrdinalResults, effect: str) -> float:
    apart = own.params[effect] - results.params[effect]
    # Sampling can make the difference of variances too small; a floor keeps the test honest.
    var = max(
        own.bse[effect] ** 2 - results.bse[effect] ** 2,
        0.25 * own.bse[effect] ** 2,
    )
    return float(chi2.sf(apart**2 / var, 1)) if np.isfinite(var) else 1.0


def _sentence(row: Mapping[str, Any]) -> str:
    name = plain_effect(row["effect"])
    name = name[0].upper() + name[1:]
    if not row["stands_out"]:
        return f"{name} works alike at {row['threshold']}."
    more = "more" if abs(row["own"]) > abs(row["common"]) else "less"
    return (
        f"{name} matters {more} at {row['threshold']} than elsewhere on the scale "
        f"({row['own']:+.1f} against {row['common']:+.1f} logits)."
    )
