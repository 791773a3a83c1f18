"""The front of a report: the question with its answer, and the cautions."""

from kit.report.analysis import Analysis
from kit.report.findings.headline import answer
from kit.report.page.document import Answer, Caution, Paragraph, Point, Section
from kit.report.sections.next_round import command
from kit.series import CAUTIONS, DEFERENCE

_ASKED = {
    "which things matter": "It asks which things matter: family, sifter, coat weight, firings.",
    "which pairs work": "It asks which pairs of colours work, fired or expected.",
    "is this pair safe": "It asks whether a few chosen pairs are safe, and fires them repeatedly.",
}


def question(analysis: Analysis) -> Section:
    """State the question and the short answer."""
    settings = analysis.series.settings
    return Section(
        "question",
        "The question, and the answer",
        (
            Paragraph(_onwards(analysis)),
            Paragraph(f"{settings.question} {_ASKED[settings.ask]}"),
            Answer(f"In one line: {answer(analysis)}"),
        ),
    )


def cautions() -> Section:
    """Give the usual cautions, in the words that the bench paper has."""
    points = tuple(Point(caution.text, caution.title + ":") for caution in CAUTIONS)
    return Section(
        "cautions",
        "Cautions",
        (Caution("Before you fire any of this", points), Paragraph(DEFERENCE)),
    )


def _onwards(analysis: Analysis) -> str:
    if analysis.observations.empty:
        return "Nothing is graded yet: this report shows the plan, and what there is to fire."
    return f"To go on from here: {command(analysis)} See 'What to fire next'."
