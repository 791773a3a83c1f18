"""The whole series in one line."""

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.findings.finding import all_findings
from kit.series import FAMILY_PAIRS, family_pair
from kit.wording import FOUND, adverb, counted, listed, upper_first

_NAMED = 2

_DOES = {
    FINE_EDGE: ("keeps a fine edge", "keep a fine edge"),
    BROKEN_THROUGH: ("is broken through", "are broken through"),
    SOFT_EDGE: ("is better avoided", "are better avoided"),
    NOT_KNOWN: ("is not known yet", "are not known yet"),
}


def answer(analysis: Analysis) -> str:
    """Answer the question of the series in one line, no surer than the data are."""
    if not len(analysis.observations):
        return "Nothing has been graded yet."
    if analysis.pairs.empty:
        return _without_pairs(analysis)
    return upper_first("; ".join(_by_family(analysis.pairs))) + "."


def _without_pairs(analysis: Analysis) -> str:
    surest = [f for f in all_findings(analysis) if f.chance >= FOUND][:_NAMED]
    if not surest:
        return f"No pair can be judged yet. {analysis.judged.missing}"
    told = [f"{adverb(finding.chance)}, {finding.statement}" for finding in surest]
    return f"{upper_first(listed(told))}."


def _by_family(pairs: pd.DataFrame) -> list[str]:
    """One clause for each family pair, by the verdicts; those with none yet share the last one."""
    families = pd.Series(
        [
            family_pair(b, o)
            for b, o in zip(pairs["base_family"], pairs["overlay_family"], strict=True)
        ],
        index=pairs.index,
    )
    clauses, unknown = [], []
    for name in FAMILY_PAIRS:
        verdicts = pairs.loc[families == name, "verdict"]
        if len(verdicts) and (verdicts == NOT_KNOWN).all():
            unknown.append(f"{counted(len(verdicts), 'pair')} {name}")
        elif len(verdicts):
            clauses.append(_clause(name, verdicts))
    if unknown:
        clauses.append(f"none of the {listed(unknown)} is known yet")
    return clauses


def _clause(families: str, verdicts: pd.Series) -> str:
    """Say how many of how many do what: 'of 36 pairs leaded over leaded, 30 keep a fine edge'."""
    counts = verdicts.value_counts()
    told = [f"{counts[v]} {_DOES[v][int(counts[v] > 1)]}" for v in _DOES if v in counts]
    return f"of {counted(len(verdicts), 'pair')} {families}, {listed(told)}"
