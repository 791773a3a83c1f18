"""The whole report, and the sheet for the wall."""

from kit.report.analysis import Analysis
from kit.report.page.document import Document
from kit.report.sections.chart_explained import how_to_read
from kit.report.sections.closing import colophon, data, foot
from kit.report.sections.cover import cautions, question
from kit.report.sections.doubts import doubts
from kit.report.sections.grader_agreement import graders
from kit.report.sections.method import method
from kit.report.sections.next_round import next_round
from kit.report.sections.pair_lists import pairs_by_verdict
from kit.report.sections.photographs import measured
from kit.report.sections.score_pictures import findings
from kit.report.sections.surprises import surprises
from kit.report.sections.tile_by_tile import samples
from kit.report.sections.tiles_fired import fired
from kit.report.sections.wall_page import summary


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
