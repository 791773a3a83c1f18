"""Taking a file in: what is new, what changes, what is the same, what is wrong, and the history."""

import re

import frictionless
import pytest

from kit.errors import ChangedMeanwhile, DataProblems, Misuse
from kit.record import Grading, apply, take_in
from kit.record.comparison import compare, enter
from kit.record.entries import Entry
from kit.series import observations, read_series

HEAD = "patch,firing,grader,spread,pull_through,note\n"


@pytest.fixture
def take(folder, tmp_path):
    """Take text in as a file, and apply it."""

    def taken(text: str, name: str = "grades.csv", by: str = "Ada"):
        file = tmp_path / name
        file.write_text(text)
        intake = take_in(folder, file, by)
        apply(intake)
        return intake

    return taken


def test_new_rows_are_added_and_the_firings_they_prove_with_them(folder, take):
    intake = take(HEAD + "T1-1,2,Ada,1,0,\nT3-1,1,Ben,4,,matt\n")
    assert intake.comparison.same == 0 and intake.comparison.changed == ()
    series = read_series(folder)
    assert series.grades["patch"].tolist() == ["T1-1", "T3-1"]
    firings = series.firings[["tile", "firing", "session"]].values.tolist()
    assert firings == [[1, 1, 1], [1, 2, 1], [3, 1, 2]]
    assert "grades for 2 patches by Ada, Ben" in intake.describe()
    assert "3 firings of 2 tiles will be put on record too" in intake.describe()


def test_nothing_is_written_before_the_intake_is_applied(folder, tmp_path):
    before = {p: p.read_bytes() for p in folder.iterdir()}
    file = tmp_path / "grades.csv"
    file.write_text(HEAD + "T1-1,1,Ada,1,0,\n")
    take_in(folder, file, "Ada")
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_a_changed_grade_keeps_the_old_one_with_who_and_when(folder, take):
    take(HEAD + "T1-1,1,Ada,1,0,\n")
    intake = take(HEAD + "T1-1,1,Ada,3,0,\n", "again.csv", by="Ben")
    assert "patch T1-1 after firing 1 by Ada: spread was 1, becomes 3" in intake.describe()
    series = read_series(folder)
    assert series.grades["spread"].tolist() == [3]
    (row,) = series.corrections.to_dict("records")
    kept = row.pop("source")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", row.pop("at"))
    assert row == {
        "change": 1, "table": "grades", "tile": 1, "patch": "T1-1", "firing": 1, "grader": "Ada",
        "column": "spread", "was": "1", "now": "3", "by": "Ben",
    }  # fmt: skip
    assert kept.endswith("-again.csv")


def test_a_series_with_corrections_is_still_a_valid_data_package(folder, take):
    take(HEAD + "T1-1,1,Ada,1,0,\n")
    take(HEAD + "T1-1,1,Ada,3,0,=odd\n", "again.csv")
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["type", "message"])
    assert {task.name for task in report.tasks} >= {"grades", "corrections"}


def test_the_file_is_kept_as_it_came(folder, take):
    text = "\ufeffpatch;firing;grader;spread;pull_through\r\nT1-1;1;Ada;1;0\r\n\r\n"
    intake = take(text)
    assert (folder / "received" / intake.source).read_bytes() == text.encode()


def test_the_same_file_twice_adds_nothing(folder, take):
    text = HEAD + "T1-1,1,Ada,1,0,=odd\nT2-2,3,Ben,0,4,\n"
    take(text)
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    intake = take(text)
    assert intake.adds_nothing and "NEW: nothing" in intake.describe()
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_a_file_from_before_does_not_undo_what_was_corrected_since(folder, take):
    old = HEAD + "T1-1,1,Ada,4,2,\nT2-1,1,Ada,3,1,\n"
    take(old, "old.csv")
    take(HEAD + "T1-1,1,Ada,1,2,\nT2-1,1,Ada,3,0,\n", "better.csv")
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    again = take(old, "under-another-name.csv")
    assert again.adds_nothing and len(again.held_back) == 2
    said = again.describe()
    assert "handed in before (as received/" in said and "-old.csv)" in said
    assert "would undo 2 later corrections" in said
    assert "patch T1-1 after firing 1 by Ada: spread stays 1; this file says 4" in said
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before
    take(HEAD + "T1-1,1,Ada,4,2,typed again\n", "newer.csv")
    assert read_series(folder).grades["spread"].tolist() == [4, 3]


def test_an_old_file_does_not_bring_back_what_was_taken_back_in_the_form(folder, take):
    grading = Grading(folder, "Ada", 1)
    text = HEAD + f"{grading.patch},1,Ada,4,,\n"
    take(text)
    grading.grade("spread", 2)
    grading.grade("spread", 4)
    grading.undo()
    assert take(text).adds_nothing
    assert read_series(folder).grades["spread"].tolist() == [2]


def test_a_file_that_was_kept_but_never_written_can_still_be_taken_in(folder, take, tmp_path):
    take(HEAD + "T1-1,1,Ada,2,0,\n")
    file = tmp_path / "cut-short.csv"
    file.write_text(HEAD + "T1-1,1,Ada,3,0,\nT1-2,1,Ada,1,1,\n")
    first = take_in(folder, file, "Ada")
    (folder / "received" / first.source).write_bytes(first.content)
    again = take_in(folder, file, "Ada")
    assert again.before == first.source and not again.held_back
    assert apply(again).grades["spread"].tolist() == [3, 1]


def test_a_column_that_is_not_there_is_said_and_is_no_error(folder, take):
    intake = take("patch,firing,grader,spread\nT1-1,1,Ada,1\n")
    assert "no column 'Pull-through': nothing was taken from it" in intake.describe()
    assert len(read_series(folder).grades) == 1
    assert "no column" not in take(HEAD + "T1-2,1,Ada,1,0,\n", "whole.csv").describe()


def test_grades_of_what_is_lost_are_kept_and_said_to_be_left_out(folder, take):
    take("tile,firing,session,minutes,accident\n1,2,1,1.5,dropped\n", "firings.csv")
    intake = take(HEAD + "T1-1,1,Ada,1,0,\nT1-1,2,Ada,2,0,\nT1-1,3,Ada,2,0,\n")
    said = intake.describe()
    assert "LEFT OUT by the models" in said
    assert "patch T1-1 after firing 2, 3 by Ada: tile 1 was lost at firing 2 (dropped)." in said
    assert len(read_series(folder).grades) == 3 and len(observations(read_series(folder))) == 1
    assert "LEFT OUT" not in take(HEAD + "T2-1,1,Ada,1,0,\n", "sound.csv").describe()


def test_an_accident_says_which_grades_on_record_it_leaves_out(folder, take):
    take(HEAD + "T1-1,1,Ada,1,0,\n")
    said = take("tile_or_patch,firing,what_happened\nT1-1,1,broke\n", "lost.csv").describe()
    assert "patch T1-1 after firing 1 by Ada: the patch was lost at firing 1 (broke)." in said
    assert "YOUR OWN WORDS for an accident are kept: 'broke'" in said and "mis-sifted" in said
    usual = take("tile_or_patch,firing,what_happened\nT2-1,1,chipped\n", "usual.csv")
    again = take("tile_or_patch,firing,what_happened\nT1-1,1,broke\n\n", "again.csv")
    assert "YOUR OWN" not in usual.describe() + again.describe()


def test_a_blank_never_erases(folder, take):
    take(HEAD + "T1-1,1,Ada,1,2,glossy\n")
    take(HEAD + "T1-1,1,Ada,,3,\n", "later.csv")
    (row,) = read_series(folder).grades.to_dict("records")
    assert (row["spread"], row["pull_through"], row["note"]) == (1, 3, "glossy")


def test_the_series_own_grades_file_can_be_taken_in_elsewhere(folder, take, series, tmp_path):
    take(HEAD + "T1-1,1,Ada,1,2,glossy\n")
    other = series.write(tmp_path / "elsewhere" / "trial")
    apply(take_in(other, folder / "grades.csv", "Ada"))
    assert read_series(other).grades.equals(read_series(folder).grades)


def test_firings_come_in_by_csv_too(folder, take):
    intake = take(
        'tile,firing,session,minutes,heat,accident,note\n2,1,1,1.5,torch,,\n2,2,2,"1,7",,cracked,\n'
    )
    assert "session, minutes and heat of 2 firings, 1 accident" in intake.describe()
    firings = read_series(folder).firings
    assert firings["minutes"].tolist() == [1.5, 1.7]
    assert firings["accident"].tolist() == ["", "cracked"]


def test_a_firing_beyond_the_plan_is_of_the_last_session_of_its_tile(folder, take):
    head = "tile,firing,session,minutes,heat,accident,note\n"
    take(head + "".join(f"1,{firing},{session},1.5,,,\n" for firing, session in enumerate(
        (1, 1, 1, 5))))  # fmt: skip
    take(head + "1,4,,1.5,,,\n", "fourth.csv")
    firings = read_series(folder).firings.set_index(["tile", "firing"])["session"]
    assert firings[1, 4] == 5
    assert not take(HEAD + "T1-1,4,Ada,1,0,\n").problems


def test_a_firing_of_a_tile_that_is_not_there_is_refused_at_its_row(take):
    with pytest.raises(DataProblems, match="This series has no tile '9'"):
        take("tile,firing,session,minutes,heat,accident,note\n9,1,1,1.5,,,\n")


def test_a_session_that_a_file_tells_goes_before_the_planned_one(series):
    entry = Entry("grades", ("T1-1", 1, "Ada"), "spread", 1, "")
    assert [e.value for e in compare(series, [entry], {(1, 1): 7}).implied] == [7]
    assert [e.value for e in compare(series, [entry]).implied] == [1]


def test_corrections_are_numbered_on(folder, take):
    for grade in (1, 2, 3, 4):
        take(HEAD + f"T1-1,1,Ada,{grade},0,\n", f"{grade}.csv")
    corrections = read_series(folder).corrections
    assert corrections["change"].tolist() == [1, 2, 3]
    assert corrections["was"].tolist() == ["1", "2", "3"]


def test_only_the_changes_that_were_agreed_to_are_written(folder, take):
    take(HEAD + "T1-1,1,Ada,1,0,\n")
    agreed = [Entry("grades", ("T1-1", 1, "Ada"), "spread", 3, "")]
    seen = compare(read_series(folder), agreed)
    take(HEAD + "T1-1,1,Ada,2,0,\n", "meanwhile.csv", by="Ben")
    with pytest.raises(ChangedMeanwhile):
        enter(folder, agreed, "Ada", "sheet", seen)
    assert read_series(folder).grades["spread"].tolist() == [2]


def test_every_problem_is_named_at_once_and_then_nothing_is_taken_in(folder, take):
    text = HEAD + "T1-1,1,Ada,5,0,\nT9-9,1,Ada,1,0,\nT1-2,1,Cid,1,0,\nT1-2,1,Ada,1,0,\n"
    with pytest.raises(DataProblems) as refused:
        take(text)
    said = str(refused.value)
    assert "3 problems found. Nothing was changed." in said
    for place in ("row 2, column spread", "row 3, column patch", "row 4, column grader"):
        assert place in said
    assert read_series(folder).grades.empty
    assert not (folder / "received").exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n1,2\n",
        'patch,firing,grader,spread\n"T1-1,1,Ada,1\n',
        "\x00\x01\x02",
        "patch,firing\n",
    ],
)
def test_what_is_no_table_of_grades_is_refused_in_words(folder, tmp_path, text):
    file = tmp_path / "x.csv"
    file.write_text(text)
    intake = take_in(folder, file, "Ada")
    assert intake.problems and "x.csv" in str(intake.problems[0])


def test_misuse_is_said_plainly(folder, tmp_path):
    with pytest.raises(Misuse, match="no file"):
        take_in(folder, tmp_path / "nowhere.csv", "Ada")
    file = tmp_path / "x.csv"
    file.write_text(HEAD)
    with pytest.raises(Misuse, match="who hands"):
        take_in(folder, file, "  ")


@pytest.mark.parametrize(
    "name", ["..csv", "a b;c$(x).csv", "-rf.csv", "x" * 200 + ".csv", "ö&ü.csv"]
)
def test_a_received_file_has_a_harmless_name_inside_the_series(folder, take, name):
    intake = take(HEAD + "T1-1,1,Ada,1,0,\n", name)
    (kept,) = (folder / "received").iterdir()
    assert kept.name == intake.source
    assert re.fullmatch(r"[0-9a-f]{12}-[A-Za-z0-9._-]{1,80}", kept.name)


def test_received_is_not_followed_when_it_is_a_link(folder, take, tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (folder / "received").symlink_to(outside)
    with pytest.raises(DataProblems, match="link to another place"):
        take(HEAD + "T1-1,1,Ada,1,0,\n")
    assert list(outside.iterdir()) == []
