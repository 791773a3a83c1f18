"""Cautions."""

from kit.report.document import Caution, Paragraph, Point, Section
from kit.series import CAUTIONS, DEFERENCE


def cautions() -> Section:
    """Give the usual cautions, in the words that the bench paper has."""
    points = tuple(Point(caution.text, caution.title + ":") for caution in CAUTIONS)
    return Section(
        "cautions",
        "Cautions",
        (Caution("Before you fire any of this", points), Paragraph(DEFERENCE)),
    )
