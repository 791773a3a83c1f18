"""Every pair once, with its firing counts: what keeps a fine edge longest comes first."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from kit.model import BROKEN_THROUGH, FINE_EDGE, HIT_OR_MISS, LOOKS, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.page.document import PairGroup, PairGroups, Paragraph, Section
from kit.wording import counted

_TITLE = "The pairs"
_AFTER_NONE = {
    SOFT_EDGE: "Neither a fine edge nor a broken effect is to be expected of these.",
    BROKEN_THROUGH: "The base comes up through these. Use them where that is the effect you want.",
    HIT_OR_MISS: "These vary from patch to patch by their nature. More samples will not change "
    "that: use them where either outcome will do.",
    NOT_KNOWN: "For these the samples do not decide yet. Fire one before you rely on it.",
}


def pairs_by_verdict(analysis: Analysis) -> Section:
    """List every pair of a series."""
    if analysis.pairs.empty:
        missing = f"No pair can be judged yet: {analysis.judged.missing}"
        return Section("pairs", _TITLE, (Paragraph(missing),))
    return Section("pairs", _TITLE, (pair_groups(analysis.pairs_found),))


def pair_groups(found: PairFindings) -> PairGroups:
    """Group pairs by what they do, the surest of each group first."""
    counts = found.firings
    groups = tuple(_in_order(found.pairs, counts))
    return PairGroups(tuple(counted(count, "firing") for count in counts), groups)


def _in_order(pairs: Iterable[Pair], counts: tuple[int, ...]) -> Iterator[PairGroup]:
    groups: dict[tuple[int, str], list[Pair]] = defaultdict(list)
    for pair in pairs:
        groups[pair.through, pair.shown.verdict].append(pair)
    keys = [(count, FINE_EDGE) for count in reversed(counts)]
    keys += [(0, verdict) for verdict in LOOKS if verdict != FINE_EDGE]
    for key in keys:
        if key in groups:
            ordered = sorted(groups[key], key=lambda p: (-round(p.shown.chance, 4), p.name))
            yield PairGroup(*_heading(*key, counts), tuple(ordered))


def _heading(reached: int, verdict: str, counts: tuple[int, ...]) -> tuple[str, str]:
    if not reached:
        title = f"{LOOKS[verdict].heading} after {counted(counts[0], 'firing')}"
        return title, _AFTER_NONE[verdict]
    title = f"{LOOKS[FINE_EDGE].heading} through {counted(reached, 'firing')}"
    more = ", the most that was fired" if reached == counts[-1] else ""
    return title, f"Use these where the stencil must stay crisp, up to that many firings{more}."
