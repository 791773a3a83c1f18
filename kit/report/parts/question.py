"""The question."""

from kit.report.analysis import Analysis
from kit.report.answer import answer
from kit.report.document import Answer, Paragraph, Section
from kit.report.parts.next_round import command

_ASKED = {
    "which things matter": "It asks which things matter: family, sifter, coat weight, firings.",
    "which pairs work": "It asks which pairs of colours work, fired or foretold.",
    "is this pair safe": "It asks whether a few chosen pairs are safe, and fires them repeatedly.",
}


def _onwards(analysis: Analysis) -> str:
    if analysis.observations.empty:
        return "Nothing is graded yet: this report shows the plan, and what there is to fire."
    return f"To go on from here: {command(analysis)} See 'What to fire next'."


def question(analysis: Analysis) -> Section:
    """State the question and the short answer."""
    settings = analysis.series.settings
    return Section(
        "question",
        "The question, and the answer",
        (
            Paragraph(f"{_onwards(analysis)}"),
            Paragraph(f"{settings.question} {_ASKED[settings.ask]}"),
            Answer(f"In one line: {answer(analysis)}"),
        ),
    )
