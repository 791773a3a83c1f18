"""How to read the chart."""

from collections.abc import Sequence

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.figures.pair_chart import pair_chart
from kit.report.page.document import Block, Bullets, Paragraph, Point, Section, TableBlock, table_of
from kit.series import Scale, Settings
from kit.wording import counted, percent


def how_to_read(analysis: Analysis) -> Section:
    """Explain the grades, the four verdicts and the chart, with one pair read aloud."""
    settings = analysis.series.settings
    blocks: list[Block] = [
        Paragraph(
            "Each patch was graded from 0 to 4. 0 is the best a stencil can do; 4 is the loss of "
            "the thing graded."
        ),
        Bullets(tuple(Point(scale.question, f"{scale.title}:") for scale in settings.scales)),
        _steps(settings.scales),
    ]
    if analysis.pairs.empty:
        blocks.append(Paragraph(f"There is no pair chart yet: {analysis.judged.missing}"))
    else:
        blocks += [
            Paragraph(rule_in_words(settings)),
            Bullets(_verdict_points(settings)),
            *(Paragraph(warning) for warning in analysis.judged.warned),
            pair_chart(analysis.pairs, analysis.series.colours),
            Paragraph(_read_aloud(analysis)),
        ]
    return Section("chart", "How to read the chart", tuple(blocks))


def _steps(scales: Sequence[Scale]) -> TableBlock:
    frame = pd.DataFrame({"Grade": [str(grade) for grade in scales[0].grades]})
    for scale in scales:
        frame[scale.title] = list(scale.steps)
    return table_of("What each grade means", frame)


def rule_in_words(settings: Settings) -> str:
    """Say what the verdicts hold for, and how sure they must be."""
    verdict = settings.verdict
    return (
        f"The chart says what to expect of a pair at {counted(verdict.firings, 'firing')}, with "
        f"the overlay sifted at {verdict.coat_weight:g} mg/cm² through mesh {verdict.mesh} on a "
        f"base of {verdict.base_coat_weight:g} mg/cm² a coat through mesh {verdict.base_mesh}. A "
        f"verdict is given only when its chance is at least {percent(verdict.confidence)}."
    )


def _verdict_points(settings: Settings) -> tuple[Point, ...]:
    step = settings.verdict.fine_edge_at_most
    return (
        Point(f"spread and pull-through both stay at grade {step} or below.", f"{FINE_EDGE}:"),
        Point("the base comes up through the overlay; use it for that.", f"{BROKEN_THROUGH}:"),
        Point("it holds no fine edge, and makes no dependable broken effect.", f"{SOFT_EDGE}:"),
        Point("the samples do not decide. It is not a verdict, and not a maybe.", f"{NOT_KNOWN}:"),
    )


def telling_pair(pairs: pd.DataFrame) -> pd.Series:
    """A pair with a verdict if there is one, of two families if may be, fired most often."""
    ranked = pairs.assign(
        open=pairs["verdict"] == NOT_KNOWN,
        alike=pairs["base_family"] == pairs["overlay_family"],
    ).sort_values(
        ["open", "alike", "patches", "base", "overlay"], ascending=[True, True, False, True, True]
    )
    return ranked.iloc[0]


def _read_aloud(analysis: Analysis) -> str:
    pairs = analysis.pairs
    pair = telling_pair(pairs)
    back = pairs[(pairs["base"] == pair["overlay"]) & (pairs["overlay"] == pair["base"])].iloc[0]
    fired = (
        f"It was fired on {counted(int(pair['patches']), 'patch', 'patches')}."
        if pair["patches"]
        else "It was not fired; it is foretold from what its two colours did elsewhere."
    )
    return (
        f"One pair read aloud: {pair['overlay']} over {pair['base']} holds a fine edge with a "
        f"chance of {percent(pair['fine_edge'])} and is broken through with a chance of "
        f"{percent(pair['broken_through'])}. The verdict is '{pair['verdict']}'. {fired} The "
        f"other way round, {back['overlay']} over {back['base']}, the verdict is "
        f"'{back['verdict']}'."
    )
