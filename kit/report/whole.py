"""The whole report, and the sheet for the wall."""

from kit.report.analysis import Analysis
from kit.report.document import Document
from kit.report.parts.cautions import cautions
from kit.report.parts.colophon import colophon, foot
from kit.report.parts.data import data
from kit.report.parts.doubts import doubts
from kit.report.parts.findings import findings
from kit.report.parts.fired import fired
from kit.report.parts.graders import graders
from kit.report.parts.how_to_read import how_to_read
from kit.report.parts.measured import measured
from kit.report.parts.method import method
from kit.report.parts.next_round import next_round
from kit.report.parts.pairs import pairs_by_verdict
from kit.report.parts.question import question
from kit.report.parts.samples import samples
from kit.report.parts.summary import summary
from kit.report.parts.surprises import surprises


def whole_report(analysis: Analysis) -> Document:
    """Put the report together."""
    settings = analysis.series.settings
    photographs = measured(analysis)
    sections = (
        question(analysis),
        cautions(),
        fired(analysis),
        how_to_read(analysis),
        findings(analysis),
        pairs_by_verdict(analysis),
        surprises(analysis),
        graders(analysis),
        *((photographs,) if photographs else ()),
        doubts(analysis),
        next_round(analysis),
        samples(analysis),
        method(analysis),
        data(analysis),
        colophon(analysis),
    )
    return Document(settings.title, settings.question, sections, settings.started, foot(analysis))


def wall_summary(analysis: Analysis) -> Document:
    """Put the one-page summary for the class wall together."""
    settings = analysis.series.settings
    lead = "Lead-bearing colours never on anything for food, drink or children."
    return Document(
        settings.title,
        settings.question,
        summary(analysis),
        settings.started,
        f"{lead} {foot(analysis)}",
    )
