"""`kit report SERIES`: the report notebook, run from top to bottom, its files put in place."""

import tempfile
from collections.abc import Callable
from pathlib import Path

from kit.errors import NotebookFailed
from kit.report.fingerprint import MARK, fingerprint
from kit.report.notebooks import notebook, run_notebook, settled
from kit.report.readiness import checked_ready
from kit.series import read_series, replace_files, report_folder, write_whole

NOTEBOOK = "06_series_report"

_DOING = {
    "Work it out": "Fitting the models",
    "Put the report together": "Drawing the pictures",
    "Write the files": "Writing the files",
}
"""What to say while a part of the notebook runs; the others take no time."""


def render(
    series: Path | str, progress: Callable[[str], None] | None = None, into: Path | None = None
) -> Path:
    """Make the report of a series.

    Writes report.html, report.pdf, summary.pdf, pair-chart.png, pair-chart.svg, report.ipynb and
    the tables behind the pictures. The same data give the same bytes.

    Parameters
    ----------
    series : Path
        Folder of the series.
    progress : callable, optional
        Told what is being done.
    into : Path, optional
        Folder for the report; reports/<series> beside data/ by default.

    Returns
    -------
    Path
        Of report.html.

    Raises
    ------
    Misuse, DataProblems
        When the series is not there, has problems, or has nothing to report yet.
    NotebookFailed
        When a cell of the notebook fails. An earlier report stays as it was; the notebook is kept,
        as far as it came, as failed.ipynb.
    """
    folder = Path(series).resolve()
    name = checked_ready(read_series(folder)).name
    into = into or report_folder(folder)
    into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=into, prefix=".making-") as scratch:
        files = _make(folder, name, Path(scratch), into / "failed.ipynb", progress)
    files[MARK] = f"{fingerprint(folder)}\n".encode()
    replace_files(into, files, {made: _content(into / made) for made in files})
    (into / "failed.ipynb").unlink(missing_ok=True)
    return into / "report.html"


def _make(
    folder: Path, name: str, scratch: Path, failed: Path, progress: Callable[[str], None] | None
) -> dict[str, bytes]:
    output = scratch / "report.ipynb"
    given = {"series": str(folder), "into": str(scratch)}
    try:
        run_notebook(notebook(NOTEBOOK), given, output, _telling(progress))
    except NotebookFailed as failure:
        if output.exists():
            write_whole(failed, output.read_bytes())
        raise failure.kept_at(failed) from None
    told = settled(output.read_text("utf-8"), {"series": name, "into": None})
    files = {made.name: made.read_bytes() for made in sorted(scratch.iterdir())}
    return files | {output.name: told.encode("utf-8")}


def _telling(progress: Callable[[str], None] | None) -> Callable[[str], None]:
    def told(heading: str) -> None:
        if progress and heading in _DOING:
            progress(_DOING[heading])

    return told


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None
