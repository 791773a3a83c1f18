"""The answer to the question of a series: which over which, and how often it may be fired."""

from collections.abc import Sequence

from kit.model import BROKEN_THROUGH, DO, DOES, HIT_OR_MISS, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.series import FAMILIES, FAMILY_PAIRS
from kit.wording import adverb, counted, listed, upper_first

_NAMED = 3
_DO_VERDICT = {
    SOFT_EDGE: (DOES[SOFT_EDGE], DO[SOFT_EDGE]),
    BROKEN_THROUGH: (DOES[BROKEN_THROUGH], DO[BROKEN_THROUGH]),
    HIT_OR_MISS: (DOES[HIT_OR_MISS], "are hit or miss"),
    NOT_KNOWN: (DOES[NOT_KNOWN], "are not known yet"),
}


def answer(analysis: Analysis) -> str:
    """Answer the question of the series in a few sentences, no surer than the data are."""
    if not len(analysis.observations):
        return "Nothing has been graded yet."
    if not len(analysis.pairs_found):
        return _without_pairs(analysis)
    return answer_of_pairs(analysis.pairs_found)


def answer_of_pairs(found: PairFindings) -> str:
    """Say which pairs keep a fine edge and through how many firings, then what the others do."""
    return " ".join([_fine(found), *_others(found)])


def _without_pairs(analysis: Analysis) -> str:
    surest = [finding for finding in analysis.findings if finding.found][:2]
    if not surest:
        return f"No pair can be judged yet. {analysis.judged.missing}"
    told = [f"{adverb(finding.chance)}, {finding.statement}" for finding in surest]
    return f"{upper_first(listed(told))}."


def _fine(found: PairFindings) -> str:
    """'Custard and Anvil Blue keep a fine edge over every leaded base, through 3 firings.'"""
    if not found.fine:
        return f"No pair is sure to keep a fine edge, even through {_firings(found.firings[0])}."
    clauses, told = [], set()
    for families in FAMILY_PAIRS:
        overlay_family, base_family = families.split(" over ")
        whole = [row for row in _overlays(found, overlay_family, base_family) if row[1]]
        if not whole:
            continue
        every = len(whole) == len(_colours(found, overlay_family, base_family))
        reach = min(reached for _, reached, _ in whole)
        told |= {pair.name for _, _, pairs in whole for pair in pairs}
        if every:
            subject = f"every {overlay_family} colour"
        else:
            names = [name for name, _, _ in whole]
            more = len(names) - _NAMED
            subject = listed([*names[:_NAMED], *([f"{more} more"] if more > 0 else [])])
        clauses.append(
            f"{subject} over every {_other(families)}{base_family} base, {_through(reach)}"
        )
    rest = [pair for pair in found.fine if pair.name not in told]
    keep = "A fine edge is kept by" if clauses else "The surest to keep a fine edge are"
    if clauses:
        also = f" So do {counted(len(rest), 'other pair')}, such as {_named(rest)}." if rest else ""
        return f"{keep} {'; '.join(clauses)}.{also}"
    if len(rest) == 1:
        return f"One pair is sure to keep a fine edge: {_named(rest)}."
    return f"{len(rest)} pairs keep a fine edge, such as {_named(rest)}."


def _overlays(
    found: PairFindings, overlay_family: str, base_family: str
) -> list[tuple[str, int, list[Pair]]]:
    """Each overlay of a family with the firings that it bears over every base of the other."""
    rows = []
    for overlay in _colours(found, overlay_family, base_family):
        pairs = [
            pair
            for pair in found
            if pair.first.overlay == overlay and pair.first.base_family == base_family
        ]
        rows.append((overlay, min(pair.through for pair in pairs), pairs))
    return sorted(rows, key=lambda row: (-row[1], row[0]))


def _colours(found: PairFindings, overlay_family: str, base_family: str) -> list[str]:
    return list(
        dict.fromkeys(
            pair.first.overlay
            for pair in found
            if pair.first.overlay_family == overlay_family and pair.first.base_family == base_family
        )
    )


def _others(found: PairFindings) -> list[str]:
    """What the pairs do that keep no fine edge, family pair by family pair."""
    sentences = []
    for families in FAMILY_PAIRS:
        pairs = [pair for pair in found if pair.first.families == families]
        rest = [pair for pair in pairs if not pair.through]
        clauses = [_clause(rest, verdict) for verdict in _DO_VERDICT]
        told = listed([clause for clause in clauses if clause])
        if rest:
            whole = len(rest) == len(pairs)
            of = f"None of the {counted(len(pairs), 'pair')}" if whole else (
                f"Of the {counted(len(pairs), 'pair')}"
            )  # fmt: skip
            keeps = f" is sure to keep one: {told}" if whole else f", {told}"
            sentences.append(f"{of} {families}{keeps}.")
    return sentences


def _clause(pairs: Sequence[Pair], verdict: str) -> str:
    """Count the pairs of one verdict, at the firing count that stands for each."""
    count = sum(pair.shown.verdict == verdict for pair in pairs)
    one, many = _DO_VERDICT[verdict]
    return f"{count} {one if count == 1 else many}" if count else ""


def _named(pairs: Sequence[Pair]) -> str:
    return listed([f"{pair.name} ({_through(pair.through)})" for pair in pairs[:_NAMED]])


def _other(families: str) -> str:
    """'other ' where base and overlay are of one family: no colour lies over itself."""
    first, _, second = families.partition(" over ")
    return "other " if first == second and first in FAMILIES else ""


def _through(count: int) -> str:
    return f"through {_firings(count)}"


def _firings(count: int) -> str:
    return counted(count, "firing")
