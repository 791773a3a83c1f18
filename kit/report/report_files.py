"""The files of a report."""

from collections.abc import Mapping

from kit.report.analysis import Analysis
from kit.report.gallery import index_entry
from kit.report.page.document import Document
from kit.report.page.html import page
from kit.report.page.pdf import pages, wall_sheet
from kit.report.sections.chart_explained import rule_in_words
from kit.report.sections.composition import wall_summary
from kit.report.sections.photographed_pairs import measured_rule
from kit.sheets import wall_chart


def report_files(analysis: Analysis, report: Document) -> Mapping[str, bytes]:
    """Set a report in every form it is kept in.

    Returns
    -------
    mapping of str to bytes
        report.html, report.pdf, summary.pdf and entry.json; when pairs can be judged also
        pair-chart.svg, pair-chart.png, wall-chart.pdf and pairs.csv; when photographs can judge
        them also wall-chart-measured.pdf and pairs-measured.csv.
    """
    return {
        "report.html": page(report).encode("utf-8"),
        "report.pdf": pages(report),
        "summary.pdf": wall_sheet(wall_summary(analysis)),
        **_pair_files(analysis, report),
        **photographed_pair_files(analysis),
        index_entry.FILE: index_entry.format_entry(index_entry.entry_of(analysis, report)),
    }


def _pair_files(analysis: Analysis, report: Document) -> dict[str, bytes]:
    if analysis.pairs.empty:
        return {}
    pictures = (picture for section in report.sections for picture in section.pictures())
    chart = next(picture for picture in pictures if picture.name == "pair-chart")
    table = analysis.pairs.round(4).to_csv(index=False, lineterminator="\n").encode("utf-8")
    settings = analysis.series.settings
    return {
        "pair-chart.svg": chart.svg,
        "pair-chart.png": chart.png(),
        "pairs.csv": table,
        "wall-chart.pdf": wall_chart(analysis.pairs, settings.title, rule=rule_in_words(settings)),
    }


def photographed_pair_files(analysis: Analysis) -> dict[str, bytes]:
    """The wall chart and the table of pairs from photographs; none when they cannot judge."""
    pairs, settings = analysis.photographs.judged.table, analysis.series.settings
    if pairs.empty:
        return {}
    table = pairs.round(4).to_csv(index=False, lineterminator="\n").encode("utf-8")
    rule = f"{rule_in_words(settings)} {measured_rule(settings.verdict)}"
    return {
        "pairs-measured.csv": table,
        "wall-chart-measured.pdf": wall_chart(
            pairs, f"{settings.title}, by photographs", rule=rule
        ),
    }
