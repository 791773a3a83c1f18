"""What people, spreadsheets and drives do to the files of a series, and what the kit says then."""

import shutil
from pathlib import Path

import pytest

from kit.errors import DataProblems, Misuse
from kit.record import apply, correct, history, merge, reconcile, restore, take_in, undo, withdraw
from kit.series import (
    machine,
    observations,
    read_journal,
    read_series,
    rows_of_files,
    take_in_by_hand,
)

HEAD = "patch,firing,grader,spread,pull_through,note\n"
FIRST = HEAD + "T1-1,1,Ada,1,0,\nT1-2,1,Ada,2,1,matt\nT2-1,1,Ada,3,2,\n"
MORE = HEAD + "".join(f"T{t}-{p},1,Ben,{p},{t % 5},\n" for t in (1, 2, 3, 4) for p in (1, 2))


@pytest.fixture
def enter(folder, tmp_path):
    """Take text in as a file."""

    def entered(text: str, name: str = "grades.csv", by: str = "Ada") -> None:
        file = tmp_path / name
        file.write_text(text)
        apply(take_in(folder, file, by))

    return entered


def said(folder: Path) -> str:
    return "\n".join(reconcile(folder).sentences)


def table(folder: Path, name: str = "grades.csv") -> str:
    return (folder / name).read_text()


def test_nothing_is_said_of_a_series_that_only_the_kit_wrote(folder, enter):
    enter(FIRST)
    enter(MORE, "more.csv", "Ben")
    assert reconcile(folder).in_step


def test_old_state_saved_over_new_rows_is_named_and_restored(folder, enter):
    enter(FIRST)
    old = table(folder)
    enter(MORE, "more.csv", "Ben")
    new = table(folder)
    (folder / "grades.csv").write_text(old)
    assert "8 grades entered on" in said(folder)
    assert "by Ben are no longer in grades.csv: kit restore trial grades" in said(folder)
    restore(folder, "grades").write()
    assert table(folder) == new
    assert reconcile(folder).in_step


def test_correction_overwritten_by_an_old_copy_is_named_and_restored(folder, enter):
    enter(FIRST)
    old = table(folder)
    enter(HEAD + "T1-1,1,Ada,4,0,\n", "again.csv")
    (folder / "grades.csv").write_text(old)
    (sentence,) = reconcile(folder).sentences
    assert sentence.startswith(
        "patch T1-1 after firing 1 by Ada had the spread 4, the table now says 1"
    )
    restore(folder, "grades").write()
    assert read_series(folder).grades["spread"].tolist() == [4, 2, 3]


def test_correction_overwritten_is_named_in_a_series_without_a_journal_too(folder, enter):
    enter(FIRST)
    old = table(folder)
    enter(HEAD + "T1-1,1,Ada,4,0,\n", "again.csv")
    (folder / "grades.csv").write_text(old)
    for path in folder.glob("journal-*"):
        path.unlink()
    assert "corrections.csv says that spread became 4, grades.csv says 1" in said(folder)


def test_overlay_changed_under_graded_patches_is_named(folder, enter):
    enter(FIRST)
    patches = table(folder, "patches.csv")
    (folder / "patches.csv").write_text(patches.replace("T1-1,1,1,Slate", "T1-1,1,1,Moss"))
    assert "patch T1-1 was graded as Slate, the table now says Moss" in said(folder)
    restore(folder, "patches").write()
    assert table(folder, "patches.csv") == patches


def test_deleted_table_comes_back_whole(folder, enter):
    enter(FIRST)
    tiles = rows_of_files(read_series(folder).sources)
    (folder / "tiles.csv").unlink()
    with pytest.raises(DataProblems, match="kit restore trial"):
        read_series(folder)
    (sentence,) = reconcile(folder).sentences
    assert sentence.startswith("tiles.csv is not there or cannot be read; the journal has its 4")
    restore(folder).write()
    assert rows_of_files(read_series(folder).sources) == tiles


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04\x00\xff", b"tile;base\n", b"x" * 999])
def test_spoilt_table_comes_back_whole(folder, enter, content):
    enter(FIRST)
    before = rows_of_files(read_series(folder).sources)
    (folder / "tiles.csv").write_bytes(content)
    restore(folder, "tiles").write()
    assert rows_of_files(read_series(folder).sources) == before


def test_settings_come_back_with_their_remarks(folder, enter):
    enter(FIRST)
    text = table(folder, "series.toml")
    (folder / "series.toml").write_text("title = 'x\n")
    with pytest.raises(DataProblems):
        read_series(folder)
    restore(folder, "series").write()
    assert table(folder, "series.toml") == text


def test_grades_for_a_patch_never_fired_can_be_withdrawn(folder, enter):
    enter(FIRST)
    amendment = withdraw(folder, "T2-1", why="never fired", by="Ada")
    assert "grades.csv: 1 row taken out: patch T2-1 after firing 1 by Ada" in amendment.describe()
    amendment.write()
    series = read_series(folder)
    assert series.grades["patch"].tolist() == ["T1-1", "T1-2"]
    assert series.patches.set_index("patch").at["T2-1", "accident"] == "withdrawn: never fired"
    assert "because: never fired" in history(folder)[-1]
    assert reconcile(folder).in_step


def test_file_handed_in_again_does_not_bring_back_what_was_withdrawn(folder, enter, tmp_path):
    enter(FIRST)
    withdraw(folder, "T2-1", firing=1, why="another tile").write()
    intake = take_in(folder, tmp_path / "grades.csv", "Ada")
    assert intake.adds_nothing
    assert [change.entry.key for change in intake.held_back][:1] == [("T2-1", 1, "Ada")]


def test_firing_that_never_was_goes_with_its_grades_and_the_later_ones(folder, enter):
    enter(HEAD + "T1-1,1,Ada,1,0,\nT1-1,2,Ada,2,0,\nT1-1,3,Ada,3,0,\nT2-1,2,Ada,1,1,\n")
    withdraw(folder, "1", firing=2, why="counted wrong").write()
    series = read_series(folder)
    assert series.grades[["patch", "firing"]].values.tolist() == [["T1-1", 1], ["T2-1", 2]]
    assert series.firings.query("tile == 1")["firing"].tolist() == [1]


def test_withdrawing_needs_a_reason_and_something_to_withdraw(folder, enter):
    enter(FIRST)
    with pytest.raises(Misuse, match="Say why"):
        withdraw(folder, "T1-1", why=" ")
    with pytest.raises(Misuse, match="Nothing that fits"):
        withdraw(folder, "T3-1", firing=1, why="x")
    with pytest.raises(Misuse, match="no patch or tile 'T9-9'"):
        withdraw(folder, "T9-9", why="x")
    with pytest.raises(Misuse, match="Graders are: Ada"):
        withdraw(folder, "T1-1", grader="Eve", why="x")


def test_what_was_really_sifted_is_judged_as_what_it_was(folder, enter):
    enter(FIRST)
    correct(folder, "T1-1", "overlay", "Moss", why="wrong jar", by="Ada").write()
    correct(folder, "T1-1", "sifter", "80", by="Ada", why="").write()
    correct(folder, "tile 2", "base", "Amber", by="Ada", why="").write()
    seen = observations(read_series(folder)).set_index("patch")
    assert seen.at["T1-1", "overlay"] == "Moss" and seen.at["T1-1", "mesh"] == 80
    assert seen.at["T2-1", "base"] == "Amber"
    assert read_series(folder).corrections[["column", "was", "now"]].values.tolist() == [
        ["overlay", "Slate", "Moss"], ["mesh", "100", "80"], ["base", "Slate", "Amber"],
    ]  # fmt: skip
    assert reconcile(folder).in_step
    with pytest.raises(DataProblems, match=r"not in colours\.csv"):
        correct(folder, "T1-2", "overlay", "Nobody's Blue", why="").write()
    with pytest.raises(Misuse, match="Choose one of: overlay"):
        correct(folder, "T1-2", "tile", "3", why="")


def test_undo_takes_back_the_last_event_and_then_the_one_before(folder, enter):
    enter(FIRST)
    first = rows_of_files(read_series(folder).sources)
    enter(HEAD + "T1-1,1,Ada,4,0,\n", "again.csv")
    enter(MORE, "more.csv", "Ben")
    undo(folder).write()
    undo(folder).write()
    assert rows_of_files(read_series(folder).sources) == first
    assert reconcile(folder).in_step
    assert len(read_journal(folder).events) == 6
    undo(folder).write()
    assert read_series(folder).grades.empty


def test_undo_leaves_what_was_changed_since(folder, enter):
    enter(FIRST)
    enter(HEAD + "T1-1,1,Ada,4,0,\n", "again.csv")
    amendment = undo(folder, 2)
    assert "patch T1-1 after firing 1 by Ada was changed since" in amendment.describe()
    assert len([c for c in amendment.changes if c.table == "grades"]) == 2


def test_restoring_as_of_a_moment_keeps_what_it_writes_over_in_the_journal(folder, enter):
    enter(FIRST)
    moment = read_journal(folder).events[-1].at
    enter(MORE, "more.csv", "Ben")
    (folder / "grades.csv").write_text(table(folder) + "T3-2,1,Cy,0,0,\n")
    (folder / "series.toml").write_text(
        table(folder, "series.toml").replace('["Ada", "Ben"]', '["Ada", "Ben", "Cy"]')
    )
    restore(folder, "grades", at=moment).write()
    assert len(read_series(folder).grades) == 3
    undo(folder).write()
    assert "Cy" in set(read_series(folder).grades["grader"])
    with pytest.raises(Misuse, match="is not a moment"):
        restore(folder, at="yesterday")


def test_a_table_put_back_keeps_the_rows_that_were_added_by_hand(folder, enter):
    enter(FIRST)
    rows = table(folder).replace("T1-1,1,Ada,1", "T1-1,1,Ada,4")
    (folder / "grades.csv").write_text(rows + "T2-2,1,Ben,0,0,\n")
    restore(folder, "grades").write()
    grades = read_series(folder).grades.set_index("patch")
    assert grades.at["T1-1", "spread"] == 1
    assert "T2-2" in grades.index


def test_hand_edits_are_taken_into_the_journal_when_told_to(folder, enter):
    enter(FIRST)
    (folder / "grades.csv").write_text(table(folder).replace("matt", "glossy"))
    differs = reconcile(folder)
    assert "had the note matt, the table now says glossy" in differs.sentences[0]
    take_in_by_hand(folder, read_series(folder).sources, "Ada")
    assert reconcile(folder).in_step
    assert "changed by hand" in history(folder)[-1]


def test_colours_and_settings_written_by_hand_enter_the_journal_with_the_next_write(folder, enter):
    enter(FIRST)
    path = folder / "colours.csv"
    path.write_text(path.read_text().replace("Amber,leaded,opaque", "Amber,leaded,transparent"))
    enter(MORE, "more.csv", "Ben")
    assert reconcile(folder).in_step
    assert [e.occasion.what for e in read_journal(folder).events][-2:] == [
        "changed by hand", "entered",
    ]  # fmt: skip


def test_a_colour_added_by_hand_is_remarked_on_and_one_that_became_another_must_be_looked_at(
    folder, enter
):
    enter(FIRST)
    path = folder / "colours.csv"
    path.write_text(path.read_text() + "Peat,leaded,,,,,\n")
    differs = reconcile(folder)
    assert differs.in_step and differs.changes
    assert "1 colour in colours.csv came in by hand" in differs.describe()
    path.write_text(path.read_text().replace("Amber,leaded", "Amber,unleaded"))
    assert "had the family leaded, the table now says unleaded" in said(folder)


def test_journal_of_a_series_without_one_begins_when_told_to(folder, enter):
    enter(FIRST)
    for name in ("datapackage.json", *(p.name for p in folder.glob("journal-*"))):
        (folder / name).unlink()
    take_in_by_hand(folder, read_series(folder).sources, "Ada")
    assert "found" in history(folder)[0]
    (folder / "tiles.csv").unlink()
    restore(folder).write()
    assert len(read_series(folder).tiles) == 4


def test_tampered_and_shortened_journals_are_named(folder, enter):
    enter(FIRST)
    enter(MORE, "more.csv", "Ben")
    (path,) = folder.glob("journal-*.log")
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:-1]) + lines[-1].replace('"Ben"', '"Eve"'))
    assert "line 3 is not as it was written" in said(folder)
    path.write_text("".join([lines[0], lines[2]]))
    assert "lines are missing before line 2" in said(folder)
    path.write_text("{}\nnonsense\n" + "".join(lines))
    assert "line 1 cannot be read" in said(folder)


def test_file_received_and_never_written_is_named(folder, enter, tmp_path):
    enter(FIRST)
    file = tmp_path / "late.csv"
    file.write_text(MORE)
    intake = take_in(folder, file, "Ben")
    (folder / "received" / intake.source).write_text(MORE)
    assert f"8 grades of received/{intake.source} are not in grades.csv" in said(folder)


def test_copy_of_a_drive_is_found_and_its_rows_are_merged(folder, enter):
    enter(FIRST)
    copy = folder / "grades (conflicted copy).csv"
    copy.write_text(table(folder) + "T1-1,2,Ben,1,1,\nT2-1,2,Ben,3,1,\n")
    assert "grades (conflicted copy).csv is a copy of grades.csv" in said(folder)
    assert "with 2 grades that grades.csv has not: kit merge trial" in said(folder)
    found = merge(folder)
    assert found.conflicts == ()
    with pytest.raises(DataProblems, match="never had a firing 2"):
        found.settled().write()
    enter(HEAD + "T1-1,2,Ada,1,0,\nT2-1,2,Ada,1,0,\n", "second.csv")
    found = merge(folder)
    found.settled(by="Ada").write()
    found.put_copies_away()
    assert len(read_series(folder).grades) == 7
    assert not copy.exists() and len(list((folder / "received").glob("*conflicted*"))) == 1
    assert reconcile(folder).in_step
    undo(folder).write()
    assert reconcile(folder).in_step


@pytest.mark.parametrize(
    "name",
    [
        "grades (Ada's conflicted copy 2026-11-25).csv", "grades-LAPTOP.csv", "grades (1).csv",
        "grades.sync-conflict-20261125-101010-ABCDEFG.csv", "grades 2.csv", "Grades_conflict-1.csv",
    ],
)  # fmt: skip
def test_names_that_drives_give_to_copies_are_known(folder, name):
    (folder / name).write_text(HEAD)
    assert f"{name} is a copy of grades.csv" in said(folder)


def test_stale_copy_takes_nothing_back_and_a_newer_value_wins(folder, enter):
    enter(FIRST)
    (folder / "grades (1).csv").write_text(table(folder))
    (folder / "grades (2).csv").write_text(table(folder).replace("matt", "hairline"))
    enter(HEAD + "T1-1,1,Ada,4,0,\n", "again.csv")
    found = merge(folder)
    assert found.changes == ()
    (conflict,) = found.conflicts
    assert [value for value, _ in conflict.values] == ["matt", "hairline"]
    found.settled(["hairline"]).write()
    found.put_copies_away()
    assert read_series(folder).grades["note"].tolist() == ["", "hairline", ""]
    assert read_series(folder).grades["spread"].tolist() == [4, 2, 3]
    assert reconcile(folder).in_step


@pytest.mark.parametrize("chosen", ["matt", "hairline", "cracked"])
def test_undoing_a_merge_brings_back_what_the_table_held(folder, enter, chosen):
    enter(FIRST)
    before = table(folder)
    (folder / "grades (1).csv").write_text(before.replace("matt", "hairline"))
    (folder / "grades (2).csv").write_text(before.replace("matt", "cracked"))
    found = merge(folder)
    prepared = found.settled([chosen])
    assert (prepared.changes == ()) == (chosen == "matt")
    assert f"note: {chosen} counts, not " in prepared.describe()
    prepared.write()
    found.put_copies_away()
    assert read_series(folder).grades["note"].tolist() == ["", chosen, ""]
    undo(folder).write()
    assert table(folder) == before
    assert reconcile(folder).in_step


def test_two_people_who_corrected_the_same_cell_are_shown_side_by_side(
    folder, enter, tmp_path, monkeypatch
):
    enter(FIRST)
    other = tmp_path / "other" / "trial"
    shutil.copytree(folder, other)
    monkeypatch.setenv("KIT_MACHINE", "a")
    enter(HEAD + "T1-1,1,Ada,3,0,\n", "a.csv", "Ada")
    monkeypatch.setenv("KIT_MACHINE", "b")
    (tmp_path / "b.csv").write_text(HEAD + "T1-1,1,Ada,4,0,\n")
    apply(take_in(other, tmp_path / "b.csv", "Ben"))
    for path in other.glob("journal-b.log"):
        shutil.copy(path, folder)
    assert "spread was made 3 by Ada" in said(folder) and "and 4 by Ben" in said(folder)
    (conflict,) = (c for c in merge(folder).conflicts if c.column == "spread")
    assert [value for value, _ in conflict.values] == ["3", "4"]
    chosen = ["4" if c.column == "spread" else c.values[0][0] for c in merge(folder).conflicts]
    merge(folder).settled(chosen, "Cy").write()
    assert read_series(folder).grades["spread"].tolist() == [4, 2, 3]
    assert merge(folder).conflicts == ()


def test_table_open_in_a_spreadsheet_is_not_written(folder, enter, monkeypatch):
    monkeypatch.setattr("kit.series.disk.SPREADSHEET_PATIENCE_S", 0.2)
    for mark in (".~lock.grades.csv#", "~$grades.csv"):
        (folder / mark).write_text("")
        with pytest.raises(Misuse, match=r"grades\.csv is open in a spreadsheet"):
            enter(FIRST)
        (folder / mark).unlink()
    enter(FIRST)
    assert len(read_series(folder).grades) == 3


def test_two_machines_never_write_to_the_same_file(folder, enter, monkeypatch):
    enter(FIRST)
    monkeypatch.setenv("KIT_MACHINE", "Studio laptop")
    assert machine() == "studio-laptop"
    enter(MORE, "more.csv", "Ben")
    names = sorted(path.name for path in folder.glob("journal-*.log"))
    assert len(names) == 2 and "journal-studio-laptop.log" in names
    events = read_journal(folder).events
    assert [event.step for event in events] == [1, 2, 3]
    assert reconcile(folder).in_step
