"""Running the kit's notebooks without a screen, and keeping that of a report."""

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import nbformat
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

import kit
from kit.errors import Misuse, NotebookFailed
from kit.report.publish import checked_ready
from kit.series import read_series, report_folder, series_folder, write_whole

Say = Callable[[str], None]

NOTEBOOK = "07_series_report"


class _ThisPython(AsyncKernelManager):
    """Starts kernels in the Python that runs now, whatever kernels a machine has registered."""

    @property
    def kernel_spec(self) -> KernelSpec:
        return KernelSpec(
            argv=[
                sys.executable, "-Xfrozen_modules=off", "-m", "ipykernel_launcher",
                "-f", "{connection_file}", "--IPKernelApp.log_level=40",
            ],
            display_name="Python 3",
            language="python",
            env={"PYDEVD_DISABLE_FILE_VALIDATION": "1"},
        )  # fmt: skip


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


def notebook(name: str) -> Path:
    """Find one of the kit's notebooks, such as '06_series_report'.

    Raises
    ------
    Misuse
        When there is none of that name.
    """
    package = Path(kit.__file__).parent
    places = (package / "notebooks", package.parent / "notebooks")
    found = next((p / f"{name}.ipynb" for p in places if (p / f"{name}.ipynb").is_file()), None)
    if found is None:
        raise Misuse(f"The notebook {name} is missing from {places[0]} and {places[1]}.")
    return found


def run_notebook(
    source: Path, parameters: Mapping[str, Any], output: Path, progress: Say | None = None
) -> None:
    """Run a notebook from top to bottom through papermill.

    Parameters
    ----------
    source : Path
    parameters : mapping of str to value
        Set after the cell tagged 'parameters'.
    output : Path
        Where the notebook with its results goes, as far as it came.
    progress : callable, optional
        Told the heading of each part as it starts.

    Raises
    ------
    NotebookFailed
        When a cell fails. It names the cell and what went wrong.
    """
    import papermill
    from papermill.exceptions import PapermillExecutionError

    headings = _headings(source)

    def started(cell: Any, cell_index: int) -> None:
        heading = headings.get(cell.get("id", ""))
        if progress and heading:
            progress(heading)

    try:
        papermill.execute_notebook(
            source,
            output,
            parameters=dict(parameters),
            kernel_name="python3",
            progress_bar=False,
            request_save_on_cell_execute=False,
            kernel_manager_class=_ThisPython,
            on_cell_start=started,
        )
    except PapermillExecutionError as failure:
        place = headings.get(_failed_cell(output), "its first part")
        raise NotebookFailed(source.name, place, failure.ename, failure.evalue) from None


def settled(content: str, parameters: Mapping[str, Any]) -> str:
    """Take out of a run notebook what changes from run to run: times, durations, places.

    Parameters
    ----------
    content : str
        The notebook as JSON.
    parameters : mapping of str to value
        What the cell with the injected parameters shall say instead.
    """
    book = nbformat.reads(content, as_version=4)
    book.metadata.pop("papermill", None)
    for n, cell in enumerate(book.cells):
        cell.metadata.pop("papermill", None)
        cell.metadata.pop("execution", None)
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell["id"] = f"given-{n}"
            cell.source = "\n".join(f"{name} = {value!r}" for name, value in parameters.items())
    return f"{nbformat.writes(book)}\n"


def _headings(source: Path) -> dict[str, str]:
    """The nearest heading above each code cell, by cell id."""
    heading, found = "", {}
    for cell in nbformat.read(source, as_version=4).cells:
        if cell.cell_type == "markdown":
            lines = [line for line in cell.source.splitlines() if line.startswith("#")]
            heading = lines[-1].lstrip("# ") if lines else heading
        else:
            found[cell["id"]] = heading
    return found


def _failed_cell(output: Path) -> str:
    for cell in nbformat.read(output, as_version=4).cells:
        if any(out.get("output_type") == "error" for out in cell.get("outputs", [])):
            failed: str = cell["id"]
            return failed
    return ""
