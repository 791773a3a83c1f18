"""What each grader does to the conclusions: verdicts with and without that grader's grades."""

import warnings
from collections.abc import Callable, Mapping

import pandas as pd

from kit.errors import FewGradersWarning, Misuse, StatisticalWarning
from kit.model.pair_setting import PairSetting
from kit.model.pair_verdicts import SCORES, pair_table
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import NOT_KNOWN


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
