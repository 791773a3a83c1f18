"""The one-page summary for the class wall."""

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.analysis import Analysis
from kit.report.figures.pair_chart import pair_chart
from kit.report.findings.headline import answer
from kit.report.page.document import Answer, Bullets, Paragraph, Point, Section
from kit.report.page.verdict_looks import LOOKS, leanings
from kit.wording import percent

_NAMED = 6
_SAID = {
    FINE_EDGE: "None can be trusted yet.",
    BROKEN_THROUGH: "None is sure yet.",
    SOFT_EDGE: "None is known to be bad.",
    NOT_KNOWN: "None: every pair has a verdict.",
}


def summary(analysis: Analysis) -> tuple[Section, ...]:
    """Say the most useful things in as few words as a wall allows."""
    if analysis.pairs.empty:
        return (Section("answer", "The answer", (Answer(answer(analysis)),)),)
    chart = pair_chart(analysis.pairs, analysis.series.colours)
    judged = leanings(analysis.pairs)
    lists = []
    for verdict, look in LOOKS.items():
        surest = judged[judged["verdict"] == verdict].sort_values(
            ["sureness", "base", "overlay"], ascending=[False, True, True]
        )
        points = tuple(
            Point(f"{pair.overlay} over {pair.base} ({percent(pair.sureness)})")
            for pair in surest.head(_NAMED).itertuples()
        )
        more = len(surest) - len(points)
        rest = (Paragraph(f"and {more} more."),) if more else ()
        blocks = (Bullets(points), *rest) if points else (Paragraph(_SAID[verdict]),)
        lists.append(Section(f"wall-{list(LOOKS).index(verdict)}", look.heading, blocks))
    return (Section("answer", "The answer", (Answer(answer(analysis)), chart)), *lists)
