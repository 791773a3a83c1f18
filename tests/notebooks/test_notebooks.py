"""Every notebook runs from top to bottom, and keeps to the house rules."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

from kit import record
from kit.report import notebook, run_notebook
from kit.series import read_journal, read_series
from kit.studio import demo_photographs, demo_piece

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
REPORT = "07_series_report"
LOGIC = re.compile(r"^\s*(def|class|for|while|if|try|with|import numpy|import pandas)\b", re.M)


def read(path):
    return nbformat.read(path, as_version=4)


def code_cells(path):
    return [cell for cell in read(path).cells if cell.cell_type == "code"]


# The report's notebook is run in tests/report/test_render.py, where its files are looked at too.
@pytest.mark.parametrize("path", [p for p in NOTEBOOKS if p.stem != REPORT], ids=lambda p: p.stem)
def test_runs_on_the_demo_from_top_to_bottom(path, tmp_path, monkeypatch):
    shutil.copytree(ROOT / "data" / "demo", tmp_path / "data" / "demo")
    if path.stem.endswith("photographs"):
        demo_photographs(tmp_path / "data" / "demo")
    if path.stem.endswith("piece_hold"):
        demo_piece(tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    if "photographs" in path.stem:
        demo_photographs(tmp_path / "data" / "demo")
    output = tmp_path / path.name
    run_notebook(notebook(path.stem), {}, output)
    ran = code_cells(output)
    assert all(cell.execution_count for cell in ran)
    said = [o for cell in ran for o in cell.outputs if o.output_type == "stream"]
    assert [o.text for o in said if o.name == "stderr"] == []


@pytest.mark.parametrize(
    ("name", "first", "then"),
    [
        ("03_record", "withdraw", ["look", "write"]),
        ("03_record", "correct", ["look", "write"]),
        ("03_record", "undo", ["look", "write", "differs"]),
        ("03_record", "restore", ["look", "write"]),
        ("03_record", "merge", ["merge-chosen", "look", "write"]),
        ("01_plan_a_series", "change-plan", ["change-write"]),
        ("01_plan_a_series", "split", []),
    ],
)
def test_lines_whose_sign_is_taken_away_set_a_series_right(name, first, then, tmp_path):
    folder = tmp_path / "data" / "demo"
    shutil.copytree(ROOT / "data" / "demo", folder)
    series = read_series(folder)
    made = 20
    kept = series.patches["patch"][series.patches["tile"] <= made]
    grades = series.grades[series.grades["patch"].isin(kept)].reset_index(drop=True)
    firings = series.firings[series.firings["tile"] <= made].reset_index(drop=True)
    replace(series, grades=grades, firings=firings).write(folder)
    (folder / "grades (1).csv").write_bytes((folder / "grades.csv").read_bytes())
    cells = {cell["id"]: cell.source for cell in code_cells(ROOT / "notebooks" / f"{name}.ipynb")}
    names = {"folder": folder, "series": str(folder), "series_folder": Path, "record": record}
    before = read_journal(folder).events
    for cell in (first, *then):
        exec(cells[cell].replace("# ", ""), names)
    assert len(read_journal(folder).events) - len(before) == (first not in ("restore", "merge"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_is_committed_valid_without_outputs_and_with_lasting_cell_names(path):
    book = read(path)
    nbformat.validate(book)
    assert all(not c.outputs and c.execution_count is None for c in code_cells(path))
    names = [cell["id"] for cell in book.cells]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[a-z][a-z-]+", name) for name in names)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_opens_with_what_it_does_needs_and_gives(path):
    first = read(path).cells[0].source
    assert all(word in first for word in ("**Does:**", "**Needs:**", "**Gives:**"))
    assert len(first.splitlines()) <= 9


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_changes_series_by_one_line_and_holds_no_logic(path):
    cells = code_cells(path)
    tagged = [c for c in cells if "parameters" in c.metadata.get("tags", [])]
    assert len(tagged) == 1
    named = r'^(series = "demo"|piece = "hedge-panel")$'
    assert len(re.findall(named, tagged[0].source, re.M)) == (0 if "all_series" in path.stem else 1)
    for cell in cells:
        assert not LOGIC.search(cell.source), cell.source
        assert len(cell.source.splitlines()) <= 15


def test_there_is_one_for_each_step_of_the_job_in_order():
    assert [path.stem[:2] for path in NOTEBOOKS] == [f"0{n}" for n in range(1, 10)]
