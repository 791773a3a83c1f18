"""The first screen: the answer, the chart with the look-up beside it, the essential cautions."""

import re

import pandas as pd

from kit.drawing import chance_charts, ending_bar, pair_charts
from kit.report.analysis import Analysis
from kit.report.figures.interval_lines import effects_in_steps
from kit.report.findings.headline import answer, asked_pairs
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.findings.verdict_history import what_it_added
from kit.report.page.document import (
    Answer,
    Beside,
    Block,
    Caution,
    Fold,
    Paragraph,
    Point,
    Section,
)
from kit.report.sections.chart_explained import how_to_read
from kit.report.sections.look_up_data import look_up
from kit.report.sections.pair_lists import pair_groups
from kit.series import CAUTIONS, DEFERENCE
from kit.wording import counted, upper_first

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
    shown = (Answer(answer(analysis)), *rounds, *_shown(analysis), essential_cautions())
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
