"""From a series to the files of its report: one way, whoever asks for them."""

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path

from kit.errors import Misuse, NotebookFailed
from kit.report.analysis import Analysis, analyse
from kit.report.report_files import report_files
from kit.report.run_notebook import notebook, run_notebook, settled
from kit.report.sections.closing import made_by
from kit.report.sections.composition import whole_report
from kit.series import (
    Series,
    read_series,
    replace_files,
    report_folder,
    series_folder,
    series_tables,
    studio_folder,
    write_whole,
)

Say = Callable[[str], None]

NOTEBOOK = "06_series_report"
MARK = "made-from.txt"
"""Holds the fingerprint of the data that a report was made from."""


def write_report(
    series: str | Path | Series | Analysis, into: Path | str | None = None,
    progress: Say | None = None,
) -> Path:  # fmt: skip
    """Make the report of a series and put its files in place, all or none.

    Writes report.html, report.pdf, summary.pdf, the pair chart and the tables behind the pictures
    (`report_files`). The same data give the same bytes.

    Parameters
    ----------
    series : str, Path, Series or Analysis
        A name below data/, a folder, or what was read or worked out already.
    into : Path, optional
        Folder for the report; reports/<series> beside data/ by default.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    Path
        Of report.html.

    Raises
    ------
    Misuse, DataProblems
        When the series is not there, has problems, or has nothing to report yet.
    """
    say = progress or (lambda text: None)
    into = Path(into) if into else _place_of(series)
    if not isinstance(series, Analysis):
        read = series if isinstance(series, Series) else read_series(series_folder(str(series)))
        say("Fitting the models")
        series = analyse(checked_ready(read))
    say("Drawing the pictures")
    files = {
        **report_files(series, whole_report(series)),
        MARK: f"{fingerprint(series.series.files())}\n".encode(),
    }
    say("Writing the files")
    into.mkdir(parents=True, exist_ok=True)
    replace_files(into, files, {name: _content(into / name) for name in files})
    (into / "report.ipynb").unlink(missing_ok=True)  # It told of the data as they were before.
    return into / "report.html"


def write_notebook(series: str | Path, into: Path | str | None = None) -> Path:
    """Run the notebook of the report from top to bottom through papermill, and keep it.

    The notebook calls `write_report` itself, so its files are put in place too.

    Parameters
    ----------
    series : str or Path
        A name below data/, or a folder.
    into : Path, optional
        As for `write_report`.

    Returns
    -------
    Path
        Of report.ipynb, with the results in it.

    Raises
    ------
    Misuse, DataProblems
        As `write_report` does.
    NotebookFailed
        When a cell fails. An earlier report stays as it was; the notebook is kept, as far as it
        came, as failed.ipynb.
    """
    folder = series_folder(str(series)).resolve()
    name = checked_ready(read_series(folder)).name
    into = Path(into or report_folder(folder))
    into.mkdir(parents=True, exist_ok=True)
    output, failed = into / "report.ipynb", into / "failed.ipynb"
    try:
        run_notebook(notebook(NOTEBOOK), {"series": str(folder), "into": str(into)}, failed)
    except NotebookFailed as failure:
        raise failure.kept_at(failed) from None
    told = settled(failed.read_text("utf-8"), {"series": name, "into": None})
    write_whole(output, told.encode("utf-8"))
    failed.unlink()
    return output


def checked_ready(series: Series) -> Series:
    """Hand the series back if a report of it would say something.

    Raises
    ------
    Misuse
        When no colour is listed, or nothing is planned.
    """
    name = series.name
    if series.colours.empty:
        raise Misuse(
            f"Nothing is graded yet in {name}, and no colour is listed: list your jars in "
            f"colours.csv, then kit plan {name}"
        )
    if series.patches.empty:
        raise Misuse(f"Nothing is graded yet in {name}, and nothing is planned: kit plan {name}")
    return series


def fingerprint(files: Mapping[str, bytes]) -> str:
    """Condense the files that a report is made from, and the kit's version, into one line.

    Parameters
    ----------
    files : mapping of str to bytes
        Of a series, by name; only series.toml and the tables count.
    """
    digest = hashlib.sha256(made_by().encode())
    for name in _made_from():
        if name in files:
            digest.update(f"{name}\0{len(files[name])}\0".encode() + files[name])
    return digest.hexdigest()


def fingerprint_on_disk(folder: Path) -> str:
    """Fingerprint of a series as it lies on disk, whether or not it can be read."""
    return fingerprint({n: (folder / n).read_bytes() for n in _made_from() if _is_file(folder / n)})


def is_current(reports: Path, mark: str) -> bool:
    """Say whether the report in a folder was made from data with this fingerprint."""
    made = reports / MARK
    return made.is_file() and made.read_text("utf-8").strip() == mark


def _made_from() -> list[str]:
    return ["series.toml", *sorted(table.file for table in series_tables(()).values())]


def _place_of(series: str | Path | Series | Analysis) -> Path:
    if isinstance(series, Analysis):
        series = series.series
    if isinstance(series, Series):
        return studio_folder() / "reports" / series.name
    return report_folder(series_folder(str(series)).resolve())


def _is_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None
