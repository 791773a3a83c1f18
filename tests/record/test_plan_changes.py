"""A plan is changed as easily as on paper, and what is made stays."""

import shutil
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest
from typer.testing import CliRunner

from kit.cli import app
from kit.errors import Misuse
from kit.record import (
    apply,
    change_plan,
    first_free_number,
    plan_saver,
    reconcile,
    replanned,
    split,
    take_in,
    undo,
    unplanned,
)
from kit.series import heat_of_session, new_series, read_journal, read_series

HEAD = "patch,firing,grader,spread\n"


@pytest.fixture
def fired(folder, tmp_path):
    """Tile 1 is fired and graded."""
    file = tmp_path / "first.csv"
    file.write_text(HEAD + "T1-1,1,Ada,2\n")
    apply(take_in(folder, file, "Ada"))
    return folder


def tiles(folder):
    return read_series(folder).tiles["tile"].tolist()


def test_plan_is_replaced_freely_until_something_is_fired_and_stays_in_the_journal(folder):
    series = read_series(folder)
    bare = unplanned(series)
    assert bare.tiles.empty and bare.patches.empty
    replace(bare, tiles=series.tiles[:2], patches=series.patches[:6]).write(folder)
    assert tiles(folder) == [1, 2]
    undo(folder).write()
    assert read_series(folder).patches.equals(series.patches)


def test_plan_of_which_something_is_fired_is_not_replaced(fired):
    with pytest.raises(Misuse, match="kit change"):
        unplanned(read_series(fired))


def test_tiles_not_made_yet_are_dropped_and_their_numbers_never_used_again(fired):
    change_plan(fired, "drop", [3, 4], why="no copper left").write()
    series = read_series(fired)
    assert tiles(fired) == [1, 2] and len(series.patches) == 6
    assert first_free_number(fired) == 5
    assert reconcile(fired).in_step


def test_a_plan_is_written_beside_what_is_made_and_never_over_it(fired):
    series = read_series(fired)
    kept = replace(series, tiles=series.tiles[:1], patches=series.patches[:3])
    replanned(fired, kept)
    assert tiles(fired) == [1]
    other = series.patches.assign(overlay=series.patches["overlay"].iloc[::-1].to_numpy())
    for wrong in (
        replace(series, tiles=series.tiles[1:], patches=series.patches[3:]),
        replace(series, patches=other),
    ):
        with pytest.raises(Misuse, match="knows nothing of that"):
            replanned(fired, wrong)
    assert tiles(fired) == [1]


def test_made_tiles_are_neither_dropped_nor_moved(fired):
    before = (fired / "tiles.csv").read_bytes()
    for what, to in (("drop", None), ("move", 3)):
        with pytest.raises(Misuse, match="1 tile is made already: 1"):
            change_plan(fired, what, [1, 2], to)
    with pytest.raises(Misuse, match="made already"):
        change_plan(fired, "cancel", [1])
    assert (fired / "tiles.csv").read_bytes() == before


def test_sitting_is_cancelled_or_moved(fired):
    change_plan(fired, "postpone", [2], to=5).write()
    assert read_series(fired).tiles["session"].tolist() == [1, 1, 5, 5]
    change_plan(fired, "move", [2], to=5).write()
    assert read_series(fired).tiles["session"].tolist() == [1, 5, 5, 5]
    change_plan(fired, "cancel", [5]).write()
    assert tiles(fired) == [1]


def entered(folder, tmp_path, text):
    file = tmp_path / "late.csv"
    file.write_text(text)
    return take_in(folder, file, "Ada")


def test_what_was_cancelled_or_dropped_is_answered_with_what_became_of_it(fired, tmp_path):
    change_plan(fired, "drop", [2]).write()
    change_plan(fired, "cancel", [2], why="power cut").write()
    grades = entered(
        fired, tmp_path, HEAD + "T1-2,1,Ada,2\nT3-1,1,Ada,2\nT2-1,1,Ada,1\nT9-1,1,Ada,1\n"
    )
    said = [problem.wrong for problem in grades.problems]
    assert said[0].startswith("Patch T3-1 was cancelled with its sitting on ")
    assert said[0].endswith("(power cut).")
    assert said[1].startswith("Patch T2-1 was dropped from the plan on ")
    assert said[2] == "This series has no patch 'T9-1'."
    (fire,) = entered(fired, tmp_path, "tile,firing,minutes\n4,1,2\n").problems
    assert fire.wrong.startswith("Tile 4 was cancelled") and "kit undo" in fire.fix
    empty = entered(fired, tmp_path, HEAD + "T1-2,1,Ada,2\nT3-1,1,Ada,\nT2-1,1,Ada,\n")
    assert not empty.problems and len(empty.entries) == 1


def test_a_tile_that_was_moved_is_written_to_the_sitting_it_was_moved_to(fired, tmp_path):
    change_plan(fired, "move", [3], to=5, why="no gas").write()
    head = "tile,firing,planned session,minutes\n"
    late = entered(fired, tmp_path, head + "3,0,2,2\n3,1,2,2\n4,1,2,2\n")
    (said,) = late.ignored
    assert "session 2 for tile 3, which was moved to another sitting on " in said
    assert "(no gas); its firings stand under session 5." in said
    firings = apply(late).firings
    assert firings[firings["tile"] > 1].groupby("tile")["session"].unique().to_dict() == {
        3: [5],
        4: [2],
    }
    assert not entered(fired, tmp_path, head + "3,2,5,2\n").ignored


def test_a_postponed_sitting_takes_its_heat_along_and_a_moved_tile_takes_that_of_its_new_one(
    folder,
):
    heat = pd.DataFrame({"session": [1, 2], "minutes": [1.5, 2.5], "heat": ["kiln", "torch"]})
    series = read_series(folder)
    replace(series, sessions=heat.astype({"heat": "str"})).write(folder)
    change_plan(folder, "postpone", [2], to=5).write()
    assert heat_of_session(read_series(folder), 5) == "2.5 minutes under the torch"
    change_plan(folder, "move", [1], to=5).write()
    assert heat_of_session(read_series(folder), 5) == "2.5 minutes under the torch"
    assert reconcile(folder).in_step
    bare = unplanned(read_series(folder))
    assert bare.sessions.empty
    assert split(folder, [1], "apart").sessions["session"].tolist() == [5]


@pytest.mark.parametrize(
    ("what", "numbers", "to", "says"),
    [
        ("drop", [9], None, "no tile 9"), ("drop", [], None, "Name some"),
        ("move", [2], None, "--to"), ("cancel", [1, 2], None, "one sitting"),
        ("cancel", [7], None, "sitting 7"), ("fold", [1], None, "Choose one of: drop"),
        ("move", [2], 0, "from 1"),
    ],
)  # fmt: skip
def test_what_cannot_be_changed_is_said(fired, what, numbers, to, says):
    with pytest.raises(Misuse, match=says):
        change_plan(fired, what, numbers, to)


def test_series_is_split_with_all_that_was_entered(fired):
    before = read_series(fired)
    new = split(fired, [1, 3], "trial-two", "Ada")
    old = read_series(fired)
    assert old.tiles["tile"].tolist() == [2, 4] and new.tiles["tile"].tolist() == [1, 3]
    assert new.grades.equals(before.grades) and old.grades.empty
    assert len(new.firings) == len(before.firings)
    assert reconcile(fired).in_step and reconcile(fired.parent / "trial-two").in_step
    assert "into trial-two" in read_journal(fired).events[-1].occasion.why
    with pytest.raises(Misuse, match="exists already"):
        split(fired, [2], "trial-two")
    with pytest.raises(Misuse, match="No tile would be left"):
        split(fired, [2, 4], "trial-three")


def test_split_that_was_cut_short_goes_on_unless_the_new_series_is_another(fired, tmp_path):
    whole = tmp_path / "whole" / "trial"
    shutil.copytree(fired, whole)
    split(fired, [1, 3], "apart")
    shutil.copytree(fired.parent / "apart", whole.parent / "apart")
    with pytest.raises(Misuse, match="exists already"):
        split(whole, [1], "apart")
    file = tmp_path / "more.csv"
    file.write_text(HEAD + "T3-1,1,Ada,2\n")
    graded = tmp_path / "graded" / "trial"
    shutil.copytree(whole.parent, graded.parent)
    apply(take_in(graded.parent / "apart", file, "Ada"))
    apply(take_in(graded, file, "Ada"))
    with pytest.raises(Misuse, match="exists already"):
        split(graded, [1, 3], "apart")
    split(whole, [1, 3], "apart")
    assert tiles(whole) == tiles(fired) == [2, 4]


def test_more_tiles_for_what_is_not_graded_yet_are_asked_for_otherwise(folder, monkeypatch):
    monkeypatch.chdir(folder.parent.parent)
    said = str(CliRunner().invoke(app, ["plan", "trial", "--more", "2"]).exception)
    assert "kit plan trial --tiles 6" in said


def test_plan_is_written_by_a_tap_and_never_over_another(series, tmp_path):
    planned = SimpleNamespace(series=series)
    folder = new_series("fresh", series.settings, series.colours).write(tmp_path / "fresh")
    button, told = plan_saver(folder, planned).children
    assert read_series(folder).tiles.empty
    button.click()
    assert "Written." in told.value
    assert len(read_series(folder).tiles) == len(series.tiles)
    again, _ = plan_saver(folder, planned).children
    assert again.description.startswith("Replace")
    fired = read_series(folder)
    told = {"tile": 1, "firing": 1, "session": 1, "heat": "", "accident": "", "note": ""}
    firings = pd.DataFrame([{**told, "minutes": 1.5}])[list(fired.firings)]
    firings = firings.astype(fired.firings.dtypes)
    replace(fired, firings=firings).write(folder)
    other = series.patches.assign(overlay=series.patches["overlay"].iloc[::-1].to_numpy())
    planned = SimpleNamespace(series=replace(series, patches=other))
    button, told = plan_saver(folder, planned).children
    button.click()
    assert "planned already" in told.value
