"""What was known after each round of work."""

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.model import VERDICTS, ScaleFit
from kit.report.analysis import Analysis, Fits, collected_warnings, judge_pairs
from kit.report.findings.pair_findings import PairFindings
from kit.series import PULL_THROUGH, SPREAD, over_another
from kit.wording import counted, listed

MOST = 4
"""Rounds told apart; longer series are gathered into so many."""

_BEFORE = -1
"""Session of what was made in the rounds before a series."""


def verdicts_by_round(analysis: Analysis) -> pd.DataFrame:
    """Judge all pairs as they would have been judged after each session that made tiles.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    DataFrame
        A row per round (from 1), with columns patches (of one colour over another, graded by
        then), firings (the fewest, which a verdict is counted at) and one per verdict, the number
        of pairs. The first is what the rounds before this series had shown, where it goes
        on from any. No rows when there is one round alone or no pair can be judged.
    """
    made = analysis.series.tiles.set_index("tile")["session"]
    sessions = np.sort(made.unique())
    if analysis.pairs.empty or len(sessions) + len(analysis.before) < 2:
        return pd.DataFrame()
    ends = [int(part[-1]) for part in np.array_split(sessions, min(MOST, len(sessions)))]
    if analysis.before:
        ends = [_BEFORE, *ends]
    rows = []
    for end in ends:
        table = analysis.pairs if end == ends[-1] else _judged(analysis, end)
        if len(table):
            counts = PairFindings(table).by_verdict
            seen = [fit.frame[_made_in(analysis, fit) <= end] for fit in _scores(analysis)]
            patches = int(pd.concat(seen)["patch"].nunique())
            firings = int(table["firings"].min())
            told = {verdict: len(counts[verdict]) for verdict in VERDICTS}
            rows.append({"patches": patches, "firings": firings, **told})
    return pd.DataFrame(rows, index=range(1, len(rows) + 1))


def what_it_added(analysis: Analysis) -> str:
    """Say what the rounds before a series had shown, and what it added; blank where it is alone."""
    follows = analysis.series.settings.follows
    if not follows:
        return ""
    counted_in = [one.name for one in analysis.before]
    lost = [name for name in follows if name not in counted_in]
    said = []
    if lost:
        said.append(
            f"This series goes on from {listed(lost)}, which cannot be read beside it any more, "
            "so it is judged without."
        )
    if counted_in:
        said.append(f"This series goes on from {listed(counted_in)}, whose grades count here too.")
        table = pd.DataFrame() if analysis.pairs.empty else _judged(analysis, _BEFORE)
        if len(table):
            found = analysis.pairs_found
            patches = int(over_another(analysis.observations)["patch"].nunique())
            said.append(
                f"Before it {counted(len(PairFindings(table).known), 'pair')} of {len(found)} had "
                f"a verdict after {counted(found.firings[0], 'firing')}; with its "
                f"{counted(patches, 'patch', 'patches')} {len(found.known)} have one."
            )
    return " ".join(said)


def _scores(analysis: Analysis) -> list[ScaleFit]:
    return [analysis.fits.by_scale[scale.name] for scale in (SPREAD, PULL_THROUGH)]


def _made_in(analysis: Analysis, fit: ScaleFit) -> pd.Series:
    """The session that made the tile of each fitted row; `_BEFORE` in the rounds before."""
    own = fit.frame["series"] == analysis.series.name
    made = analysis.series.tiles.set_index("tile")["session"]
    tile = fit.frame["tile"].astype(str).str.rpartition(" ")[2].astype(int)
    return tile.map(made).where(own, _BEFORE)


def _judged(analysis: Analysis, end: int) -> pd.DataFrame:
    """The pairs as they were judged when the session `end` was over."""
    fitted = {}
    with collected_warnings():
        for fit in _scores(analysis):
            seen = fit.frame[_made_in(analysis, fit) <= end]
            measured = fit.measured
            if len(measured):
                measured = measured[measured["tile"].isin(seen["tile"])]
            try:
                fitted[fit.scale] = fit.refitted(seen, measured=measured)
            except Misuse:
                return pd.DataFrame()
        fits = Fits(fitted, {}, {})
        verdict = analysis.series.settings.verdict
        return judge_pairs(fits, analysis.series.stock, verdict).table
