"""The whole series in one line."""

import pandas as pd

from kit.model import AVOID, BROKEN_ONLY, SUITED
from kit.report.analysis import Analysis
from kit.report.found import all_findings
from kit.report.words import TELLING, adverb, listed, upper_first
from kit.series import FAMILY_PAIRS, family_pair

_AS_A_RULE, _MOSTLY = 0.8, 0.55
_NAMED = 2

_DOES = {
    SUITED: "keeps a fine edge",
    BROKEN_ONLY: "is broken through",
    AVOID: "spreads",
}


def answer(analysis: Analysis) -> str:
    """Answer the question of the series in one line, no surer than the data are."""
    if not len(analysis.observations):
        return "Nothing has been graded yet."
    if analysis.pairs.empty:
        return _without_pairs(analysis)
    return upper_first(listed(_by_family(analysis.pairs), last="and")) + "."


def _without_pairs(analysis: Analysis) -> str:
    surest = [f for f in all_findings(analysis) if f.chance >= TELLING][:_NAMED]
    if not surest:
        return f"No pair can be judged yet. {analysis.judged.missing}"
    told = [f"{adverb(finding.chance)}, {finding.statement}" for finding in surest]
    return f"{upper_first(listed(told))}."


def outcome_chances(pairs: pd.DataFrame) -> pd.DataFrame:
    """Average chance of each outcome over the pairs of a family pair.

    Returns
    -------
    DataFrame
        A row per family pair; columns suited, suited to broken effects only, avoid.
    """
    families = [
        family_pair(b, o)
        for b, o in zip(pairs["base_family"], pairs["overlay_family"], strict=True)
    ]
    each = pd.DataFrame({SUITED: pairs["p_fine_edge"], BROKEN_ONLY: pairs["p_breaks_through"]})
    each[AVOID] = 1 - each[SUITED] - each[BROKEN_ONLY]
    means = each.groupby(families).mean()
    return means.loc[[name for name in FAMILY_PAIRS if name in means.index]]


def _by_family(pairs: pd.DataFrame) -> list[str]:
    """One clause for each thing that family pairs do, like over like first."""
    clauses: dict[str, list[str]] = {}
    for families, chances in outcome_chances(pairs).iterrows():
        outcome, chance = chances.idxmax(), chances.max()
        if chance >= _AS_A_RULE:
            does = f"{_DOES[str(outcome)]} as a rule"
        elif chance >= _MOSTLY:
            does = f"mostly {_DOES[str(outcome)]}"
        else:
            does = "does now one thing, now another"
        clauses.setdefault(does, []).append(str(families))
    return [f"{listed(names)} {_for_several(does, len(names))}" for does, names in clauses.items()]


def _for_several(does: str, count: int) -> str:
    """Bring the verb into the plural: 'keeps' to 'keep'."""
    if count == 1:
        return does
    verbs = {"keeps": "keep", "is": "are", "spreads": "spread", "does": "do"}
    return " ".join(verbs.get(word, word) for word in does.split())
