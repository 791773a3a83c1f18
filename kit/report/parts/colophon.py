"""Version and seed: how to rebuild the report exactly, and how to cite it."""

from importlib.metadata import version

from kit.report.analysis import Analysis
from kit.report.document import Paragraph, Section
from kit.report.fingerprint import PACKAGE


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
                f"'{series.name}', seed {series.settings.seed}, {PACKAGE} {version(PACKAGE)}."
            ),
        ),
    )


def foot(analysis: Analysis) -> str:
    """Version and seed in a few words."""
    return f"{PACKAGE} {version(PACKAGE)}, seed {analysis.series.settings.seed}"
