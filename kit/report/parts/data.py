"""Data to download."""

from kit.report.analysis import Analysis
from kit.report.document import Download, Paragraph, Section
from kit.wording import counted

_ABOUT = {
    "colours": "the stock: families, opacity, grain",
    "tiles": "base colour, coats, sifter and coat weight of every tile",
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
    told = "The tables are plain CSV; any spreadsheet opens them. They are inside this page."
    return Section("data", "Data to download", (Paragraph(told), *downloads, settings))
