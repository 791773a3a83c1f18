"""What pooling does to the verdicts, and where it cannot be trusted."""

from dataclasses import dataclass

import pandas as pd

from kit.model import NOT_KNOWN
from kit.report.analysis import fit_scales, judge_pairs
from kit.report.findings.pair_findings import PairFindings
from kit.report.gallery.pooled import USUAL, Pooled, graded_patches
from kit.series import PULL_THROUGH, SPREAD, Series, Verdict, observations
from kit.wording import counted, upper_first


@dataclass(frozen=True)
class Change:
    """How the verdicts of one series read once it is pooled.

    Parameters
    ----------
    series : str
    known : int
        Pairs that have a verdict by this series alone.
    lost : int
        Of these, pairs that are not known when pooled.
    turned : int
        Of these, pairs that have another verdict when pooled.
    gained : int
        Pairs that have a verdict only when pooled.
    """

    series: str
    known: int
    lost: int
    turned: int
    gained: int

    @property
    def much(self) -> bool:
        """Whether more than one verdict in ten is lost or turned."""
        return 10 * (self.lost + self.turned) > self.known

    def sentence(self) -> str:
        """Say it in words."""
        if not self.known:
            return f"alone it gives no verdict; together {self.gained} of its pairs have one."
        return (
            f"alone it gives {counted(self.known, 'verdict')}. Together {self.turned} of them turn "
            f"into another verdict and {self.lost} into '{NOT_KNOWN}'; "
            f"{counted(self.gained, 'pair more gets', 'pairs more get')} a verdict."
        )


def changes(pooled: Pooled, verdict: Verdict = USUAL) -> list[Change]:
    """Compare every series judged alone with all of them together, by the same rule."""
    if pooled.pairs.empty or len(pooled.series) < 2:
        return []
    return [
        _change(series, pooled, verdict)
        for series in pooled.series
        if not graded_patches(series).empty
    ]


def _change(series: Series, pooled: Pooled, verdict: Verdict) -> Change:
    fits = fit_scales([series], (SPREAD, PULL_THROUGH))
    alone = _verdicts(judge_pairs(fits, series.stock, verdict).table)
    own = set(series.stock["colour"])
    together = {
        pair: verdict
        for pair, verdict in _verdicts(pooled.pairs).items()
        if pair[0] in own and pair[1] in own
    }
    known = {pair for pair, verdict in alone.items() if verdict != NOT_KNOWN}
    still = {pair for pair, verdict in together.items() if verdict != NOT_KNOWN}
    return Change(
        series.name,
        len(known),
        len(known - still),
        sum(alone[pair] != together[pair] for pair in known & still),
        len(still - known),
    )


def _verdicts(table: pd.DataFrame) -> dict[tuple[str, str], str]:
    """The verdict that stands for each pair."""
    return {(p.first.base, p.first.overlay): p.shown.verdict for p in PairFindings(table)}


def dangers(pooled: Pooled) -> list[tuple[str, str]]:
    """Name the series whose own level cannot be told from their colours or from their grader.

    The model lets a whole series lie higher or lower than the others (its copper, its heat, its
    eye), by as much for every pair. That amount is carried over to pairs the series never fired.

    Returns
    -------
    list of (str, str)
        Series, and what is the matter with it.
    """
    if len(pooled.series) < 2:
        return []
    found = []
    for series in pooled.series:
        seen = observations(series)
        reasons = [*_one_family(seen), *_one_grade(seen)]
        if reasons:
            found.append((series.name, f"{upper_first('; '.join(reasons))}."))
    return found


def _one_family(seen: pd.DataFrame) -> list[str]:
    return [
        f"it has {seen[f'{role}_family'].iloc[0]} {role}s only, so what looks like the way of this "
        "series may be the way of that family"
        for role in ("base", "overlay")
        if len(set(seen[f"{role}_family"])) == 1
    ]


def _one_grade(seen: pd.DataFrame) -> list[str]:
    told = []
    for scale in (SPREAD, PULL_THROUGH):
        given = seen[scale.name].dropna().unique()
        if len(given) == 1:
            told.append(
                f"every {scale.title.lower()} grade in it is {given[0]}, so how far it lies from "
                "the others has no bound and pulls every pair that way"
            )
    return told
