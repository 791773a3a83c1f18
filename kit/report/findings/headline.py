"""The answer to the question of a series, in a few short sentences."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import NamedTuple

from kit.model import BROKEN_THROUGH, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair, PairFinding, PairFindings
from kit.series import FAMILY_PAIRS
from kit.wording import adverb, counted, listed, percent, upper_first

_NAMED = 3
_CLAUSES = 2
_RARELY = 0.25
_MOSTLY = 0.5
_LEAST_BASES = 2


def answer(analysis: Analysis) -> str:
    """Answer the kind of question that the series asks, no surer than the data are."""
    if not len(analysis.observations):
        return "Nothing has been graded yet."
    if analysis.series.settings.ask == "which things matter":
        return _what_matters(analysis)
    if not len(analysis.pairs_found):
        return f"No pair can be judged yet. {analysis.judged.missing}"
    if analysis.series.settings.ask == "is this pair safe":
        return _of_asked(asked_pairs(analysis))
    return which_pairs(analysis.pairs_found)


def asked_pairs(analysis: Analysis) -> list[Pair]:
    """The pairs that a person asked about: those wished for, else those fired."""
    found, wishes = analysis.pairs_found, analysis.series.settings.wishes
    wished = [found.of(wish.base, wish.overlay) for wish in wishes]
    return [pair for pair in dict.fromkeys(wished) if pair] or found.fired


def wishes_answered(analysis: Analysis) -> str:
    """Answer each pair wished for where the question is another one; blank where none is."""
    settings, found = analysis.series.settings, analysis.pairs_found
    if settings.ask == "is this pair safe" or not settings.wishes or not len(found):
        return ""
    wished = [found.of(wish.base, wish.overlay) for wish in settings.wishes]
    told = [f"{pair.sentence} ({pair.first.ground})" for pair in dict.fromkeys(wished) if pair]
    return f"You wished to know of some pairs above others. {'. '.join(told)}." if told else ""


def spoken_of(analysis: Analysis, found: PairFindings) -> list[Pair]:
    """The pairs that the report speaks of: where some were asked about, those and no others."""
    if analysis.series.settings.ask != "is this pair safe":
        return list(found)
    asked = {pair.name for pair in asked_pairs(analysis)}
    return [pair for pair in found if pair.name in asked]


def which_pairs(found: PairFindings) -> str:
    """Say which colours keep a fine edge over what, how often fired, and what does not."""
    said = [_fine(found), *_seldom(found), *_varies(found)]
    open_pairs = len(found.unknown)
    if len(said) < 3 and open_pairs:
        one = "is" if open_pairs == 1 else "are"
        said.append(
            f"{counted(open_pairs, 'pair')} of {len(found)} {one} {NOT_KNOWN} at any firing count"
        )
    return " ".join(f"{upper_first(sentence)}." for sentence in said)


def _what_matters(analysis: Analysis) -> str:
    """Name every effect that may be claimed: what turns round first, then the largest."""
    effects = [
        effect.finding
        for score in analysis.scores.values()
        for effect in score.effects
        if effect.finding.directed and not effect.factor.endswith("_family")
    ]
    # Of families and colours only the surest are named, and only where no factor has an effect.
    others = [finding for finding in analysis.findings if finding.directed][:_CLAUSES]
    if not effects and not others:
        return "Nothing that was varied can be told from chance in these samples."
    in_order = sorted(effects, key=lambda one: (not one.turns, -abs(one.value))) or others
    told = [f"{adverb(one.chance)}, {one.statement}{one.size}" for one in in_order]
    return " ".join(f"{upper_first(sentence)}." for sentence in told)


def _of_asked(pairs: Sequence[Pair]) -> str:
    if not pairs:
        return "None of the pairs that were asked about has been fired."
    more = len(pairs) - _NAMED
    rest = [f"{counted(more, 'more pair')} below."] if more > 0 else []
    return " ".join([*map(_in_depth, pairs[:_NAMED]), *rest])


def _in_depth(pair: Pair) -> str:
    """Answer for one pair, and say what it comes to at every firing count."""
    alike = groupby(pair.rows, key=lambda row: row.look.label)
    parts = [_at_counts(label, list(rows)) for label, rows in alike]
    return f"{pair.name}: {_is_it_safe(pair)}. {upper_first('; '.join(parts))}."


def _is_it_safe(pair: Pair) -> str:
    kept = f"a fine edge through {counted(pair.through, 'firing')}"
    if pair.through == pair.rows[-1].firings:
        return f"yes, {kept}, the most that was fired"
    if pair.through:
        return f"yes for {kept}, and not beyond"
    known = [row.verdict != NOT_KNOWN for row in pair.rows]
    if all(known):
        return "no"
    return "do not rely on it" if any(known) else NOT_KNOWN


def _at_counts(label: str, rows: Sequence[PairFinding]) -> str:
    """Say what a pair comes to at some counts: 'soft edge after 2 and 3 firings (91 %, 96 %)'."""
    counts = listed([str(row.firings) for row in rows[:-1]] + [counted(rows[-1].firings, "firing")])
    chances = ", ".join(percent(row.chance) for row in rows)
    return f"{label} after {counts} (chance {chances})"


class _Whole(NamedTuple):
    """Overlays that keep a fine edge over every base of a family."""

    families: str
    overlays: tuple[str, ...]
    firings: int
    every: bool
    pairs: tuple[Pair, ...]

    @property
    def said(self) -> str:
        """'Custard over every leaded base, through 3 firings (4 of 9 pairs fired)'."""
        overlay, base = self.families.split(" over ")
        other = "other " if overlay == base else ""
        through = f"through {counted(self.firings, 'firing')}"
        over = f"{_names(self.overlays)} over every {other}{base} base"
        return f"{over}, {through} ({_pairs_fired(self.pairs)})"

    def headed(self) -> str:
        """The same as a sentence: 'every unleaded colour keeps a fine edge over ...'."""
        overlay, _ = self.families.split(" over ")
        over = self.said.partition(" over ")[2]
        if self.every and len(self.overlays) > 1:
            return f"every {overlay} colour keeps a fine edge over {over}"
        keeps = "keeps" if len(self.overlays) == 1 else "keep"
        return f"{_names(self.overlays)} {keeps} a fine edge over {over}"


def _fine(found: PairFindings) -> str:
    if not found.fine:
        least = counted(found.firings[0], "firing")
        return f"no pair is sure to keep a fine edge, even through {least}"
    whole = sorted(_wholes(found), key=lambda one: (-len(one.pairs) * one.firings, one.families))
    if whole:
        return "; ".join(one.headed() for one in whole[:_CLAUSES])
    longest = max(pair.through for pair in found.fine)
    pairs = [pair for pair in found.fine if pair.through == longest]
    keeps = "keeps" if len(pairs) == 1 else "keep"
    kept = f"{keeps} a fine edge through {counted(longest, 'firing')} ({_pairs_fired(pairs)})"
    return f"{_names([pair.name for pair in pairs])} {kept}"


def _wholes(found: PairFindings) -> Iterator[_Whole]:
    """For each pair of families, the overlays that keep it over every base the longest.

    An overlay that was fired over none of those bases is not praised, whatever is expected of it.
    """
    for families in FAMILY_PAIRS:
        over: dict[str, list[Pair]] = defaultdict(list)
        for pair in found:
            if pair.first.families == families:
                over[pair.first.overlay].append(pair)
        reached = {
            overlay: min(pair.through for pair in pairs)
            for overlay, pairs in over.items()
            if len(pairs) >= _LEAST_BASES and any(pair.patches for pair in pairs)
        }
        most = max(reached.values(), default=0)
        if most:
            alike = tuple(overlay for overlay, through in reached.items() if through == most)
            pairs = tuple(pair for overlay in alike for pair in over[overlay])
            yield _Whole(families, alike, most, len(alike) == len(over), pairs)


def _seldom(found: PairFindings) -> Iterator[str]:
    """Say which families are not to be laid over which, or seldom keep a fine edge."""
    avoid, seldom = [], []
    for families in FAMILY_PAIRS:
        pairs = [pair for pair in found if pair.first.families == families]
        kept = [pair for pair in pairs if pair.through]
        overlay, base = families.split(" over ")
        since = _mostly_spoiled_from(pairs)
        if since and not kept:
            avoid.append(
                f"{overlay} colours off {base} bases from {counted(since, 'firing')} on "
                f"({_pairs_fired(pairs)})"
            )
        elif pairs and len(kept) < _RARELY * len(pairs) and len(kept) < len(found.fine):
            seldom.append(f"{families} ({len(kept)} of {len(pairs)})")
    if avoid:
        yield f"keep {listed(avoid)}"
    if seldom:
        yield f"few pairs {listed(seldom)} are sure to keep one"


def _mostly_spoiled_from(pairs: Sequence[Pair]) -> int:
    """The first firing count by which most pairs are known to be spoiled; 0 for none."""
    spoiled_at = sorted(
        min(row.firings for row in pair.rows if row.verdict in (SOFT_EDGE, BROKEN_THROUGH))
        for pair in pairs
        if any(row.verdict in (SOFT_EDGE, BROKEN_THROUGH) for row in pair.rows)
    )
    fewest = int(_MOSTLY * len(pairs)) + 1
    return spoiled_at[fewest - 1] if len(spoiled_at) >= fewest else 0


def _varies(found: PairFindings) -> Iterator[str]:
    """Name the overlay that is hit or miss over most bases of a family, or the pair."""
    over: dict[tuple[str, str], list[Pair]] = defaultdict(list)
    for pair in found.varying:
        over[pair.first.overlay, pair.first.base_family].append(pair)
    if over:
        (overlay, family), pairs = max(over.items(), key=lambda item: (len(item[1]), item[0]))
        if len(pairs) > 1:
            said = f"{overlay} is hit or miss over {counted(len(pairs), f'{family} base')}"
        else:
            said = f"{pairs[0].name} is hit or miss"
        yield f"{said} ({_pairs_fired(pairs)})"


def _pairs_fired(pairs: Sequence[Pair]) -> str:
    """What a claim about pairs rests on: '3 of 27 pairs fired'."""
    fired = sum(bool(pair.patches) for pair in pairs)
    if len(pairs) == 1:
        return "fired" if fired else "not fired"
    return f"{fired} of {len(pairs)} pairs fired"


def _names(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return listed([*names[:_NAMED], *([f"{more} more"] if more > 0 else [])])
