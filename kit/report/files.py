"""The files of a report."""

from collections.abc import Mapping
from pathlib import Path

from kit.report import entry, html, pdf
from kit.report.analysis import Analysis
from kit.report.document import Bullets, Document, Point
from kit.report.parts.how_to_read import rule_in_words
from kit.report.parts.measured_pairs import measured_rule
from kit.report.whole import wall_summary
from kit.series import write_whole
from kit.sheets import wall_chart

_ABOUT = {
    "report.html": "the whole report, for a screen or a printer",
    "report.pdf": "the whole report, for paper (fits A4 and US Letter)",
    "summary.pdf": "one page for the class wall",
    "pair-chart.svg": "the pair chart, to scale up as far as you like",
    "pair-chart.png": "the pair chart, for a message or a slide",
    "wall-chart.pdf": "the pair chart alone, one A4 page for the wall",
    "pairs.csv": "every pair with its verdict and chances",
    "wall-chart-measured.pdf": "the same chart, judged by the photographs",
    "pairs-measured.csv": "every pair with its verdict and chances, judged by the photographs",
    "entry.json": "what the page over all series says about this one",
}


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
        "report.html": html.page(report).encode("utf-8"),
        "report.pdf": pdf.pages(report),
        "summary.pdf": pdf.wall_sheet(wall_summary(analysis)),
        **_pair_files(analysis, report),
        **photographed_pair_files(analysis),
        entry.FILE: entry.format_entry(entry.entry_of(analysis, report)),
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


def write_report(analysis: Analysis, report: Document, folder: Path | str) -> Bullets:
    """Write the files of a report, each whole.

    Parameters
    ----------
    analysis : Analysis
    report : Document
    folder : Path
        Made if it is not there.

    Returns
    -------
    Bullets
        What was written, to show.
    """
    into = Path(folder)
    into.mkdir(parents=True, exist_ok=True)
    files = report_files(analysis, report)
    for name, content in files.items():
        write_whole(into / name, content)
    return Bullets(tuple(Point(_ABOUT[name], name) for name in files))
