"""The question."""

from kit.report.analysis import Analysis
from kit.report.answer import answer
from kit.report.document import Answer, Paragraph, Section

_ASKED = {
    "which things matter": "It asks which things matter: family, sifter, coat weight, firings.",
    "which pairs work": "It asks which pairs of colours work, fired or foretold.",
    "is this pair safe": "It asks whether a few chosen pairs are safe, and fires them repeatedly.",
}


def question(analysis: Analysis) -> Section:
    """State the question and the short answer."""
    settings = analysis.series.settings
    return Section(
        "question",
        "The question",
        (
            Paragraph(settings.question),
            Paragraph(_ASKED[settings.ask]),
            Answer(f"In one line: {answer(analysis)}"),
        ),
    )
