"""The files of a report, and its entry in the list of all."""

import datetime as dt
import json
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

import typst

from kit.drawing import Drawing, pair_charts
from kit.report.analysis import Analysis
from kit.report.findings.headline import answer
from kit.report.findings.pair_findings import PAIRS, PairFindings
from kit.report.page.document import Document
from kit.report.page.html import page
from kit.report.page.pdf import pages, wall_sheet
from kit.report.sections.composition import wall_summary
from kit.report.sections.cover import rule_in_words
from kit.report.sections.photographs import measured_rule
from kit.sheets import font_options, wall_chart

ENTRY = "entry.json"
"""What the page over all series says about one."""


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
        ENTRY: format_entry(entry_of(analysis, report)),
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


@dataclass(frozen=True)
class Entry:
    """One series in the list of all.

    Parameters
    ----------
    name, title, question, answer : str
    dated : str
        ISO 8601; blank when the series has no date.
    chart : str
        What is to be seen on its pair chart; blank when it has none.
    """

    name: str
    title: str
    question: str
    answer: str
    dated: str
    chart: str

    @property
    def date(self) -> dt.date | None:
        return dt.date.fromisoformat(self.dated) if self.dated else None


def entry_of(analysis: Analysis, report: Document) -> Entry:
    """Sum a series up for the list."""
    settings = analysis.series.settings
    pictures = [picture for section in report.sections for picture in section.pictures()]
    chart = next((picture.alt for picture in pictures if picture.name == "pair-chart"), "")
    return Entry(
        analysis.series.name,
        settings.title,
        settings.question,
        answer(analysis),
        settings.started.isoformat() if settings.started else "",
        chart,
    )


def format_entry(entry: Entry) -> bytes:
    """Write an entry as the bytes of entry.json."""
    return (json.dumps(asdict(entry), indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def read_entry(folder: Path) -> Entry:
    """Read the entry from the folder of a report."""
    return Entry(**json.loads((folder / ENTRY).read_text("utf-8")))
