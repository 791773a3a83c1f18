"""The command and the notebook say the same of one plan."""

from pathlib import Path

import nbformat
import pandas as pd
from typer.testing import CliRunner

import kit
from kit.cli import app
from kit.series import Settings, new_series

NOTEBOOK = Path(__file__).parents[2] / "notebooks" / "01_plan_a_series.ipynb"
STOCK = pd.DataFrame(
    {
        "colour": ["Ember", "Rowan", "Frost", "Moss"],
        "family": ["leaded", "leaded", "unleaded", "unleaded"],
        "opacity": "opaque",
        "grain": "medium",
        "notes": "",
    }
).astype("str")


def test_command_and_notebook_say_the_same_of_one_plan(tmp_path, monkeypatch):
    settings = Settings(
        "Made", "Which keep?", tiles=4, patches_per_tile=3, graders=("Ada", "Ben", "Cy"), seed=3
    )
    unplanned = new_series("made", settings, STOCK)
    unplanned.write(tmp_path / "data" / "made")
    monkeypatch.chdir(tmp_path)
    said = CliRunner().invoke(app, ["plan", "made", "--yes"]).output
    plan = kit.plan(unplanned)
    sentences = [*kit.precision(plan.series).sentences(), *kit.saving(plan.series).sentences()]
    assert sentences
    assert all(sentence in said for sentence in sentences)
    cells = [cell.source for cell in nbformat.read(NOTEBOOK, as_version=4).cells]
    assert any("kit.plan(unplanned)" in cell for cell in cells)
    assert any("kit.precision(plan.series)" in cell for cell in cells)
    assert any("kit.saving(plan.series)" in cell for cell in cells)
