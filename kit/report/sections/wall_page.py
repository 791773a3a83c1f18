"""The one-page summary for the class wall."""

from kit.drawing import pair_charts
from kit.model import LOOKS, NOT_KNOWN, VERDICTS
from kit.report.analysis import Analysis
from kit.report.findings.headline import answer
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import Answer, Bullets, Paragraph, Point, Section
from kit.wording import counted, percent

_NAMED = 6


def summary(analysis: Analysis) -> tuple[Section, ...]:
    """Say the most useful things in as few words as a wall allows."""
    told = Answer(answer(analysis))
    found = analysis.pairs_found
    if not len(found):
        return (Section("answer", "The answer", (told,)),)
    charts = pair_charts(analysis.pairs, analysis.series.colours)
    lists = tuple(
        _list(place, verdict, found.by_verdict[verdict]) for place, verdict in enumerate(VERDICTS)
    )
    return (Section("answer", "The answer", (told, *charts)), *lists)


def _list(place: int, verdict: str, pairs: list[Pair]) -> Section:
    heading = LOOKS[verdict].heading
    if not pairs:
        none = "None: every pair has a verdict." if verdict == NOT_KNOWN else "None is sure yet."
        return Section(f"wall-{place}", heading, (Paragraph(none),))
    points = Bullets(tuple(Point(_said(pair)) for pair in pairs[:_NAMED]))
    more = len(pairs) - _NAMED
    rest = (Paragraph(f"and {more} more."),) if more > 0 else ()
    return Section(f"wall-{place}", heading, (points, *rest))


def _said(pair: Pair) -> str:
    through = f", through {counted(pair.through, 'firing')}" if pair.through else ""
    return f"{pair.name}{through} ({percent(pair.shown.chance)})"
