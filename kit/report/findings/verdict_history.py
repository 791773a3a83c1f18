"""What was known after each round of work."""

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.model import VERDICTS
from kit.report.analysis import Analysis, Fits, collected_warnings, judge_pairs
from kit.report.findings.pair_findings import PairFindings
from kit.series import PULL_THROUGH, SPREAD

MOST = 4
"""Rounds told apart; longer series are gathered into so many."""


def verdicts_by_round(analysis: Analysis) -> pd.DataFrame:
    """Judge all pairs as they would have been judged after each session that made tiles.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    DataFrame
        A row per round (from 1), with columns patches (graded by then) and one per verdict, the
        number of pairs. No rows when all tiles were made in one session or no pair can be judged.
    """
    made = analysis.series.tiles.set_index("tile")["session"]
    sessions = np.sort(made.unique())
    if len(sessions) < 2 or analysis.pairs.empty:
        return pd.DataFrame()
    ends = [part[-1] for part in np.array_split(sessions, min(MOST, len(sessions)))]
    rows = []
    for end in ends:
        seen = analysis.observations["tile"].map(made) <= end
        table = (
            analysis.pairs if end == ends[-1] else _judged(analysis, analysis.observations[seen])
        )
        if len(table):
            counts = PairFindings(table).by_verdict
            patches = int(analysis.observations.loc[seen, "patch"].nunique())
            rows.append({"patches": patches, **{v: len(counts[v]) for v in VERDICTS}})
    return pd.DataFrame(rows, index=range(1, len(rows) + 1))


def _judged(analysis: Analysis, seen: pd.DataFrame) -> pd.DataFrame:
    fitted = {}
    with collected_warnings():
        for scale in (SPREAD, PULL_THROUGH):
            try:
                fit = analysis.fits.by_scale[scale.name]
                measured = fit.measured
                if len(measured):
                    measured = measured[measured["tile"].isin(seen["tile"])]
                fitted[scale.name] = fit.refitted(seen, scale.grades, measured)
            except Misuse:
                return pd.DataFrame()
        fits = Fits(fitted, {}, {})
        verdict = analysis.series.settings.verdict
        return judge_pairs(fits, analysis.series.stock, verdict).table
