"""What the page over all series says about one."""

import datetime as dt
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from kit.report.analysis import Analysis
from kit.report.findings.headline import answer
from kit.report.page.document import Document

FILE = "entry.json"


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
    return Entry(**json.loads((folder / FILE).read_text("utf-8")))
