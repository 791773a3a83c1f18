"""Does what was found hang on one tile, or on one grader?"""

import warnings
from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from kit.errors import FewGradersWarning, Misuse, StatisticalWarning
from kit.model.pair_setting import PairSetting
from kit.model.pair_verdicts import SCORES, pair_table
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import NOT_KNOWN
from kit.wording import plain_effect

DECIDES_MUCH = 10.0
"""How many times the middle tile's distance that of a tile is which decides much."""

TILE_COLUMNS = [
    "tile",
    "grades",
    "distance",
    "times",
    "most_moved",
    "moved",
    "stands_out",
    "sentence",
]


def tile_influence(fit: ScaleFit) -> pd.DataFrame:
    """Leave out each tile in turn, by one Newton step from the whole fit, and see what moves.

    By the grades alone, for the reason given with `kit.model.goodness_of_fit.expected_without`.

    Parameters
    ----------
    fit : ScaleFit

    Returns
    -------
    DataFrame
        One row a tile, the most influential first, with columns tile, grades, distance (Cook's:
        the squared move of all thresholds and effects, in their own covariance, by parameter),
        times (the middle tile's distance), most_moved (an effect), moved (in standard errors),
        stands_out (by `DECIDES_MUCH` times or more) and sentence. Cook (1977), Detection of
        influential observation in linear regression, Technometrics 19.

    Raises
    ------
    Misuse
        If there are fewer than three tiles.
    """
    fit = fit.by_grades
    results = fit.results
    tiles = fit.frame["tile"].value_counts()
    if len(tiles) < 3:
        raise Misuse(f"Leaving tiles out needs at least three; there are {len(tiles)}.")
    without = fit.tiles_left_out.params
    move = without - results.params
    shape = np.linalg.pinv(results.cov_params().to_numpy())
    by_se = move / results.bse
    effects = by_se[results.effects.index] if len(results.effects) else by_se
    most = effects.abs().idxmax(axis=1)
    table = pd.DataFrame(
        {
            "tile": without.index,
            "grades": tiles.reindex(without.index).fillna(0).astype(int).to_numpy(),
            "distance": np.einsum("ij,jk,ik->i", move, shape, move) / len(results.params),
            "most_moved": most.to_numpy(),
            "moved": [float(effects.at[tile, name]) for tile, name in most.items()],
        }
    )
    table["times"] = table["distance"] / max(float(table["distance"].median()), 1e-12)
    table["stands_out"] = table["times"] >= DECIDES_MUCH
    table["sentence"] = [_of_tile(row) for row in table.to_dict("records")]
    return table.sort_values("distance", ascending=False, ignore_index=True)[TILE_COLUMNS]


def _of_tile(row: Mapping[str, object]) -> str:
    if not row["stands_out"]:
        return f"Tile {row['tile']} decides no more than its share."
    moved = abs(float(str(row["moved"])))
    return (
        f"Tile {row['tile']} decides {float(str(row['times'])):.0f} times as much as the middle "
        f"one; without it {plain_effect(str(row['most_moved']))} would move by {moved:.1f} of its "
        "uncertainty (its standard error). Look whether it was mixed up or fired otherwise than "
        "the rest, and fire its pairs on another tile."
    )


def grader_influence(
    fits: Mapping[str, ScaleFit],
    colours: pd.DataFrame,
    setting: PairSetting,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Leave out each grader in turn and count the verdicts that change.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        Needs 'spread' and 'pull_through'.
    colours : DataFrame
        Columns colour, family.
    setting : PairSetting
    progress : callable or None
        Told which grader is being left out.

    Returns
    -------
    DataFrame
        One row a grader, with columns grader, grades, changed (pairs with a verdict that differs
        without that grader at some firing count), turned (those of which a verdict becomes another,
        and not only known or not known), largest_move (of the chance of a fine edge) and sentence.
        No rows when there is one grader.

    Warns
    -----
    FewGradersWarning
        If there is one grader only.
    """
    graders = sorted(set().union(*(fits[score].frame["grader"].unique() for score in SCORES)))
    columns = ["grader", "grades", "changed", "turned", "largest_move", "sentence"]
    if len(graders) < 2:
        warnings.warn(
            "One grader gave every grade, so what a second would have changed cannot be said.",
            FewGradersWarning,
            stacklevel=2,
        )
        return pd.DataFrame(columns=columns)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", StatisticalWarning)
        whole = pair_table(fits, colours, setting)
        rows = []
        for count, grader in enumerate(graders, start=1):
            if progress is not None:
                progress(f"leaving out grader {grader} ({count} of {len(graders)})")
            try:
                without = {score: _refit(fits[score], grader) for score in SCORES}
            except Misuse:
                continue
            rows.append(_compare(whole, pair_table(without, colours, setting), fits, grader))
    return pd.DataFrame(rows, columns=columns)


def _refit(fit: ScaleFit, grader: str) -> ScaleFit:
    rest = fit.frame[fit.frame["grader"] != grader]
    return fit.refitted(rest)


def _compare(
    whole: pd.DataFrame, without: pd.DataFrame, fits: Mapping[str, ScaleFit], grader: str
) -> dict[str, object]:
    keys = ["base", "overlay", "firings"]
    both = whole.merge(without, on=keys, suffixes=("", "_without"))
    differs = both["verdict"] != both["verdict_without"]
    firm = (both["verdict"] != NOT_KNOWN) & (both["verdict_without"] != NOT_KNOWN)
    of_pair = [both["base"], both["overlay"]]
    changed = int(differs.groupby(of_pair).any().sum())
    turned = int((differs & firm).groupby(of_pair).any().sum())
    moved = float((both["fine_edge"] - both["fine_edge_without"]).abs().max())
    grades = sum(int((fits[score].frame["grader"] == grader).sum()) for score in SCORES)
    pairs = both.groupby(["base", "overlay"]).ngroups
    if changed == 0:
        sentence = f"Without {grader} every verdict would be the same."
    else:
        sentence = f"Without {grader}, verdicts on {changed} of {pairs} pairs would differ; " + (
            "none would turn into another, they would only grow more or less sure."
            if turned == 0
            else f"{turned} would turn into another verdict."
        )
    return {
        "grader": grader,
        "grades": grades,
        "changed": changed,
        "turned": turned,
        "largest_move": moved,
        "sentence": sentence,
    }
