"""The first pages: the answer, the chart and how to read it, the cautions, every pair once."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

import pandas as pd

from kit.drawing import chance_charts, ending_bar, pair_charts
from kit.model import (
    BROKEN_THROUGH,
    FINE_EDGE,
    HIT_OR_MISS,
    LOOKS,
    NOT_KNOWN,
    SOFT_EDGE,
    VERDICTS,
    VerdictRule,
)
from kit.report.analysis import Analysis
from kit.report.figures.interval_lines import effects_in_steps
from kit.report.findings.headline import answer, asked_pairs, wishes_answered
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.findings.verdict_history import what_it_added
from kit.report.page.document import (
    Answer,
    Beside,
    Block,
    Bullets,
    Caution,
    Fold,
    PairGroup,
    PairGroups,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.report.sections.look_up_data import look_up
from kit.series import CAUTIONS, DEFERENCE, PULL_THROUGH, SPREAD, Scale, Settings
from kit.wording import coat_weight, counted, exact_percent, upper_first

_IN_DEPTH = 6
"""Pairs that are shown one by one; more are listed."""

_ESSENTIAL = (
    Point("a fitted respirator for sifting; clean up wet, never sweep or blow.", "Lead and dust:"),
    Point("never lead-bearing colours where they touch food, drink or mouths.", "Food, children:"),
    Point("eye protection, gloves; let tiles cool slowly; open the window.", "Heat and fumes:"),
)


def question(analysis: Analysis) -> Section:
    """Answer the question; show what the answer rests on."""
    added = what_it_added(analysis)
    rounds = (Paragraph(added),) if added else ()
    wished = wishes_answered(analysis)
    wishes = (Paragraph(wished),) if wished else ()
    shown = (Answer(answer(analysis)), *wishes, *rounds, *_shown(analysis), essential_cautions())
    return Section("answer", "The answer", shown)


def essential_cautions() -> Caution:
    """The cautions that nobody may overlook, on the first page."""
    rest = Point(f"{DEFERENCE} They all stand further down.")
    return Caution("Before you fire any of this", (*_ESSENTIAL, rest))


def cautions() -> Section:
    """Give the usual cautions, in the words that the bench paper has."""
    points = tuple(Point(caution.text, caution.title + ":") for caution in CAUTIONS)
    return Section(
        "cautions",
        "Cautions",
        (Caution("Before you fire any of this", points), Paragraph(DEFERENCE)),
    )


def _shown(analysis: Analysis) -> tuple[Block, ...]:
    """The chart and the look-up; effects first where the question is what matters."""
    if analysis.pairs.empty:
        return () if analysis.observations.empty else _effects(analysis)
    ask = analysis.series.settings.ask
    if ask == "is this pair safe":
        return _asked(analysis)
    first = _effects(analysis) if ask == "which things matter" else ()
    return (*first, *chart_and_look_up(analysis))


def chart_and_look_up(analysis: Analysis) -> tuple[Block, ...]:
    """The pair chart beside the look-up, then the chances at each firing count, folded."""
    pairs, stock = analysis.pairs, analysis.series.stock
    charts = pair_charts(pairs, stock)
    explained = how_to_read(analysis).blocks
    return (
        Beside(charts, (look_up(analysis),)),
        Fold("How to read the chart, and what each grade means", explained),
        *((_chances(pairs, stock),) if len(charts) == 1 else ()),
    )


def _chances(pairs: pd.DataFrame, stock: pd.DataFrame) -> Fold:
    """The chances at each firing count; where they fill several charts the list has them alone."""
    charts = tuple(
        chart
        for firings in sorted(set(pairs["firings"]))
        for chart in chance_charts(pairs, stock, int(firings))
    )
    return Fold("The chances, firing by firing", charts, on_paper=False)


def _effects(analysis: Analysis) -> tuple[Block, ...]:
    drawn = (
        effects_in_steps(analysis.scores[scale.name].effects, scale)
        for scale in analysis.scales
        if scale.name in analysis.scores
    )
    return tuple(picture for picture in drawn if picture is not None)


def _asked(analysis: Analysis) -> tuple[Block, ...]:
    """The pairs that were asked about, and nothing of others."""
    found = asked_pairs(analysis)
    asked = [(pair.first.base, pair.first.overlay) for pair in found]
    table = analysis.pairs
    keep = [pair in asked for pair in zip(table["base"], table["overlay"], strict=True)]
    if not found:
        return ()
    told = counted(len(asked), "pair was", "pairs were")
    return (
        Paragraph(f"{told} asked about; the look-up and the list speak of no others."),
        *(_in_depth(pair) for pair in found[:_IN_DEPTH]),
        *((pair_groups(PairFindings(table[keep])),) if len(found) > _IN_DEPTH else ()),
        look_up(analysis, asked),
    )


def _in_depth(pair: Pair) -> Section:
    """One pair at every firing count: its chances as bars, and what is known of it."""
    name = "-".join(re.findall(r"\w+", pair.name.lower()))
    blocks: list[Block] = []
    for row in pair.rows:
        chances = (row.fine_edge, row.soft_edge, row.broken_through)
        after = f"{pair.name} after {counted(row.firings, 'firing')}"
        blocks += [ending_bar(chances, after, f"{name}-{row.firings}"), Paragraph(row.sentence)]
    seen = Paragraph(f"{upper_first(pair.first.ground)}.")
    return Section(name, pair.name, (seen, *blocks))


def how_to_read(analysis: Analysis) -> Section:
    """Explain the grades, the five verdicts and the chart, with one pair read aloud."""
    settings = analysis.series.settings
    blocks: list[Block] = [
        Paragraph(
            "Each patch was graded from 0 to 4. 0 is the best a stencil can do; 4 is the loss of "
            "the thing graded."
        ),
        Bullets(tuple(Point(scale.question, f"{scale.title}:") for scale in settings.scales)),
        _steps(settings.scales),
    ]
    found = analysis.pairs_found
    if not len(found):
        blocks.append(Paragraph(f"There is no pair chart yet: {analysis.judged.missing}"))
    else:
        blocks += [
            Paragraph(rule_in_words(settings)),
            verdict_points(),
            *(Paragraph(warning) for warning in analysis.judged.warned),
            Paragraph(_read_aloud(found)),
        ]
    return Section("chart", "How to read the chart", tuple(blocks))


def _steps(scales: Sequence[Scale]) -> TableBlock:
    frame = pd.DataFrame({"Grade": [str(grade) for grade in scales[0].grades]})
    for scale in scales:
        frame[scale.title] = list(scale.steps)
    return table_of("What each grade means", frame)


def rule_in_words(settings: Settings) -> str:
    """Say what the verdicts hold for, by which rule, and how sure they must be."""
    verdict = settings.verdict
    scales = {scale.name: scale for scale in settings.scales}
    rule = VerdictRule.of(verdict).sentence(
        scales.get(SPREAD.name, SPREAD), scales.get(PULL_THROUGH.name, PULL_THROUGH)
    )
    return (
        "The chart says what to expect of a new patch on a new tile, with the overlay sifted at "
        f"{coat_weight(verdict.coat_weight)} through mesh {verdict.mesh} on a base of "
        f"{coat_weight(verdict.base_coat_weight)} a coat through mesh {verdict.base_mesh}. "
        f"{upper_first(rule)}. A verdict is given only when its chance is at least "
        f"{exact_percent(verdict.confidence)}."
    )


def verdict_points() -> Bullets:
    """Say what each of the five verdicts means."""
    return Bullets(tuple(Point(LOOKS[v].sentence, f"{upper_first(v)}:") for v in VERDICTS))


def telling_pair(found: PairFindings) -> Pair:
    """A pair with a verdict if there is one, of two families if may be, fired most often."""
    return min(
        found,
        key=lambda pair: (
            pair.shown.verdict == NOT_KNOWN,
            pair.first.base_family == pair.first.overlay_family,
            -pair.patches,
            pair.name,
        ),
    )


def _read_aloud(found: PairFindings) -> str:
    pair = telling_pair(found)
    back = found.back(pair)
    told = f"One pair read aloud: {pair.sentence}. {pair.shown.sentence} It was {_ground(pair)}."
    if back is None:
        return told
    return f"{told} The other way round, {back.sentence}."


def _ground(pair: Pair) -> str:
    ground = pair.shown.ground
    return ground if ground.startswith(("seen", "not")) else f"seen {ground}"


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
