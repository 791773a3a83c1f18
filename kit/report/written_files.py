"""The files of a report."""

import tempfile
from collections.abc import Mapping
from pathlib import Path

import typst

from kit.drawing import Drawing, pair_charts
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import PAIRS, PairFindings
from kit.report.gallery import index_entry
from kit.report.page.document import Document
from kit.report.page.html import page
from kit.report.page.pdf import pages, wall_sheet
from kit.report.sections.chart_explained import rule_in_words
from kit.report.sections.composition import wall_summary
from kit.report.sections.photographed_pairs import measured_rule
from kit.sheets import font_options, wall_chart


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
        **_pair_files(analysis),
        **photographed_pair_files(analysis),
        index_entry.FILE: index_entry.format_entry(index_entry.entry_of(analysis, report)),
    }


def _pair_files(analysis: Analysis) -> dict[str, bytes]:
    if analysis.pairs.empty:
        return {}
    settings, colours = analysis.series.settings, analysis.series.colours
    chart, *_ = pair_charts(analysis.pairs, colours)
    rule = rule_in_words(settings)
    return {
        "pair-chart.svg": chart.svg,
        "pair-chart.png": png_of(chart),
        PAIRS: analysis.pairs_found.csv,
        "wall-chart.pdf": wall_chart(analysis.pairs, colours, settings.title, rule=rule),
    }


def photographed_pair_files(analysis: Analysis) -> dict[str, bytes]:
    """The wall chart and the table of pairs from photographs; none when they cannot judge."""
    pairs, settings = analysis.photographs.judged.table, analysis.series.settings
    if pairs.empty:
        return {}
    rule = f"{rule_in_words(settings)} {measured_rule(settings.verdict)}"
    title = f"{settings.title}, by photographs"
    return {
        "pairs-measured.csv": PairFindings(pairs).csv,
        "wall-chart-measured.pdf": wall_chart(pairs, analysis.series.colours, title, rule=rule),
    }


def png_of(drawing: Drawing, dots_per_inch: int = 200) -> bytes:
    """Turn a drawing into dots."""
    with tempfile.TemporaryDirectory() as scratch:
        (Path(scratch) / "drawing.svg").write_bytes(drawing.svg)
        page = Path(scratch) / "page.typ"
        page.write_text('#set page(width: auto, height: auto, margin: 3pt)\n#image("drawing.svg")')
        dots = typst.compile(
            page,
            format="png",
            ppi=dots_per_inch,
            **font_options(drawing.svg.decode()),
        )
    assert isinstance(dots, bytes)
    return dots
