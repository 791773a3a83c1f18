"""Does what was found hang on one tile, or on one grader?"""

import warnings
from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from kit.errors import FewGradersWarning, Misuse, StatisticalWarning
from kit.model.grader_mistakes import ExpectedGrades
from kit.model.pair_setting import PairSetting
from kit.model.pair_verdicts import SCORES, pair_table
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import NOT_KNOWN
from kit.wording import plain_effect, plain_name

SURPRISING = 11.0
"""How far out a tile's grades lie, among all tiles, where something was mixed up. Of 149 invented
series in which nothing was, none had a tile this far out (tests/benchmarks/bench_checks.py)."""

OF_NORMAL = 1.4826
"""Standard deviation of normal values over their median distance from their median."""

TILE_COLUMNS = [
    "tile", "grades", "surprise", "times", "scale", "most_moved", "moved", "stands_out", "sentence"
]  # fmt: skip


def tile_influence(fits: Mapping[str, ScaleFit]) -> pd.DataFrame:
    """Leave out each tile in turn, by one Newton step from the whole fit: what surprises and moves?

    By the grades alone, for the reason given with `kit.model.goodness_of_fit.expected_without`.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
        A tile that was mixed up or fired otherwise shows on each scale.

    Returns
    -------
    DataFrame
        One row a tile, the most surprising first, with columns tile, grades, surprise (how much
        less likely its grades are than such grades should be, by all other tiles, in standard
        deviations from the middle tile, all scales together), times (how far all thresholds and
        effects of a scale move without it, by Cook's distance, against the middle tile; of the
        scale where that is most, as are the rest), scale, most_moved (an effect), moved (in
        standard errors), stands_out (surprise above `SURPRISING`) and sentence. Cook (1977),
        Detection of influential observation in linear regression, Technometrics 19.

    Raises
    ------
    Misuse
        If there are fewer than three tiles.
    """
    each = pd.concat([_of_scale(fit.by_grades) for fit in fits.values()], ignore_index=True)
    by_tile = each.groupby("tile", sort=False)
    table = each.loc[by_tile["times"].idxmax()].set_index("tile")
    table["grades"] = by_tile["grades"].sum()
    table["surprise"] = by_tile["surprise"].sum() / np.sqrt(by_tile.size())
    table["stands_out"] = table["surprise"] > SURPRISING
    table = table.reset_index()
    table["sentence"] = [_of_tile(row) for row in table.to_dict("records")]
    return table.sort_values("surprise", ascending=False, ignore_index=True)[TILE_COLUMNS]


def _of_scale(fit: ScaleFit) -> pd.DataFrame:
    """Surprise of each tile's grades on one scale, and what moves without it."""
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
    distance = np.einsum("ij,jk,ik->i", move, shape, move)
    return pd.DataFrame(
        {
            "tile": without.index,
            "grades": tiles.reindex(without.index).fillna(0).astype(int).to_numpy(),
            "surprise": _surprise(fit).reindex(without.index).to_numpy(),
            "times": distance / max(float(np.median(distance)), 1e-12),
            "scale": fit.scale,
            "most_moved": most.to_numpy(),
            "moved": [float(effects.at[tile, name]) for tile, name in most.items()],
        }
    )


def _surprise(fit: ScaleFit) -> pd.Series:
    """How much less likely each tile's grades are than they should be, against the other tiles."""
    below = fit.tiles_left_out.at_most
    log = ExpectedGrades(below.to_numpy()).log_chance()
    chance = np.exp(log) / np.exp(log).sum(axis=1, keepdims=True)
    steps = [float(step) for step in below.columns]
    given = np.searchsorted(steps, fit.frame[fit.scale].astype(float).to_numpy())
    middle = (chance * log).sum(axis=1)
    each = pd.DataFrame(
        {
            "less": middle - log[np.arange(len(given)), given],
            "variance": (chance * log**2).sum(axis=1) - middle**2,
        }
    )
    tile = each.groupby(fit.frame["tile"].to_numpy()).sum()
    off = tile["less"] / np.sqrt(tile["variance"].clip(lower=1e-6))
    off -= off.median()
    # Grades of one tile hang together, so that sums of them vary by more than each alone would.
    apart: pd.Series = off / max(1.0, OF_NORMAL * float(off.abs().median()))
    return apart


def _of_tile(row: Mapping[str, object]) -> str:
    if not row["stands_out"]:
        return f"Tile {row['tile']} is no more unlike the rest than tiles are."
    moved, times = abs(float(str(row["moved"]))), float(str(row["times"]))
    return (
        f"Tile {row['tile']}'s grades are far from what all other tiles let expect. Look whether "
        "it was mixed up or fired otherwise than the rest, and fire its pairs on another tile. It "
        f"decides {times:.0f} times as much of {plain_name(str(row['scale']))} as the middle tile; "
        f"without it {plain_effect(str(row['most_moved']))} would move by {moved:.1f} of its "
        "uncertainty (its standard error)."
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
                without = {score: fits[score].without_grader(grader) for score in SCORES}
            except Misuse:
                continue
            rows.append(_compare(whole, pair_table(without, colours, setting), fits, grader))
    return pd.DataFrame(rows, columns=columns)


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
