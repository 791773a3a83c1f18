"""For notebooks: forms to pick a pair or a number of tiles, and running one without a screen."""

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets
import nbformat
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

import kit
from kit.design import NEXT_TILES
from kit.errors import Misuse, NotebookFailed
from kit.report.analysis import Analysis
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import Bullets, Paragraph, Point, Shown
from kit.report.page.html import fragment
from kit.report.publish import checked_ready
from kit.report.sections.suggested_patches import suggest, suggestion_table
from kit.series import read_series, report_folder, series_folder, write_whole
from kit.wording import upper_first

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


_WIDE = ipywidgets.Layout(width="20rem")
_MOST_TILES = 12


def pair_picker(analysis: Analysis) -> ipywidgets.Widget:
    """Pick an overlay and a base, and read what is known of them both ways round."""
    if analysis.pairs.empty:
        return ipywidgets.HTML(fragment(Paragraph(analysis.judged.missing)))
    overlays, bases = (sorted(set(analysis.pairs[role])) for role in ("overlay", "base"))
    overlay = ipywidgets.Dropdown(options=overlays, description="Overlay", layout=_WIDE)
    base = ipywidgets.Dropdown(
        options=bases, value=bases[-1], description="over base", layout=_WIDE
    )
    told = ipywidgets.HTML()

    def tell(_: object = None) -> None:
        told.value = fragment(pair_told(analysis, overlay.value, base.value))

    overlay.observe(tell, "value")
    base.observe(tell, "value")
    tell()
    return ipywidgets.VBox([ipywidgets.HBox([overlay, base]), told])


def next_picker(analysis: Analysis) -> ipywidgets.Widget:
    """Pick how many tiles you will make next, and see which patches they should carry."""
    tiles = ipywidgets.IntSlider(
        NEXT_TILES, 1, _MOST_TILES, description="Tiles", continuous_update=False, layout=_WIDE
    )
    told = ipywidgets.HTML()

    def tell(_: object = None) -> None:
        told.value = fragment(_suggestion(analysis, tiles.value))

    tiles.observe(tell, "value")
    tell()
    return ipywidgets.VBox([tiles, told])


def pair_told(analysis: Analysis, overlay: str, base: str) -> Bullets:
    """Say what is known of two colours at every firing count, both ways round."""
    ways = (analysis.pairs_found.of(base, overlay), analysis.pairs_found.of(overlay, base))
    points = [point for pair in ways if pair for point in _points(pair)]
    itself = Point("A colour over itself is a control, and is not judged.", f"{overlay}:")
    return Bullets(tuple(points) or (itself,))


def _points(pair: Pair) -> list[Point]:
    told = [f"{row.sentence} {upper_first(row.ground)}." for row in pair.rows]
    return [Point(" ".join([f"{upper_first(pair.headline)}.", *told]), f"{pair.name}:")]


def _suggestion(analysis: Analysis, tiles: int) -> Shown:
    try:
        return suggestion_table(suggest(analysis, tiles))
    except Misuse as reason:
        return Paragraph(str(reason))
