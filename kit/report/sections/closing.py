"""The end of a report: the data to download, and how to rebuild and cite it."""

from importlib.metadata import version

from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import PAIRS
from kit.report.page.document import Download, Paragraph, Section
from kit.wording import counted

PACKAGE = "enamel-tile-kit"

_ABOUT = {
    "colours": "the stock: families, opacity, grain",
    "tiles": "base colour, coats, sifter and coat weight of every tile",
    "stripes": "the bases of tiles that carry several",
    "sessions": "the minutes and the heat planned for each session",
    "patches": "what was stencilled where",
    "firings": "every trip through the heat, and every accident",
    "grades": "every grade by every grader",
    "measurements": "what the photographs gave, patch by patch",
    "corrections": "grades as they were before they were corrected",
}


def data(analysis: Analysis) -> Section:
    """Carry the tables of the series inside the report."""
    files = analysis.series.files()
    tables = analysis.series.tables
    downloads = tuple(
        Download(
            tables[name].file,
            f"{counted(len(frame), 'row')}: {_ABOUT[name]}",
            files[tables[name].file],
        )
        for name, frame in analysis.series.frames.items()
        if tables[name].file in files
    )
    settings = Download(
        "series.toml",
        "the question, the scales and every setting",
        files["series.toml"],
        "text/plain",
    )
    pairs = analysis.pairs_found
    judged = (
        (Download(PAIRS, f"{counted(len(pairs), 'pair')}: verdicts and chances", pairs.csv),)
        if len(pairs)
        else ()
    )
    told = "The tables are plain CSV; any spreadsheet opens them. They are inside this page."
    carried = (Paragraph(told), *judged, *downloads, settings)
    return Section("data", "Data to download", carried)


def colophon(analysis: Analysis) -> Section:
    """Say with what the report was made."""
    series = analysis.series
    year = f" ({series.settings.started.year})" if series.settings.started else ""
    return Section(
        "rebuild",
        "How to rebuild and cite this report",
        (
            Paragraph(
                f"Made by {foot(analysis)} from the folder '{series.name}'. The same folder and "
                f"version give this report again, to the last byte: kit report {series.name}"
            ),
            Paragraph(
                f"To cite it: '{series.settings.title}'{year}, test tile series "
                f"'{series.name}', seed {series.settings.seed}, {made_by()}."
            ),
        ),
    )


def made_by() -> str:
    """Name the kit with its version."""
    return f"{PACKAGE} {version(PACKAGE)}"


def foot(analysis: Analysis) -> str:
    """Version and seed in a few words."""
    return f"{made_by()}, seed {analysis.series.settings.seed}"
