"""How to read the chart."""

from collections.abc import Sequence

import pandas as pd

from kit.model import LOOKS, NOT_KNOWN, VERDICTS, VerdictRule
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.page.document import (
    Block,
    Bullets,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.series import PULL_THROUGH, SPREAD, Scale, Settings
from kit.wording import coat_weight, exact_percent, upper_first


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
