"""The commands as a person types them: what they say and how they end."""

import subprocess
import sys
from dataclasses import replace

import openpyxl
import pytest
from typer.testing import CliRunner

import kit
from kit.cli import app
from kit.series import patches_in_full

COMMANDS = sorted(command.callback.__name__ for command in app.registered_commands)
JARS = "colour,family\nAsh,leaded\nBee,leaded\nCod,unleaded\nDew,unleaded\nElm,unleaded\n"


def run(*words, cwd, typed=""):
    return subprocess.run(
        [sys.executable, "-m", "kit.cli", *words],
        cwd=cwd, input=typed, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip


@pytest.fixture
def studio(tmp_path):
    (tmp_path / "data").mkdir(exist_ok=True)
    return tmp_path


def test_check_says_that_all_is_well(folder):
    done = run("check", "small", cwd=folder.parent.parent)
    assert done.returncode == 0
    assert "8 tiles, 32 patches" in done.stdout


def test_check_begins_the_journal_of_a_series_without_one(folder):
    for path in folder.glob("journal-*"):
        path.unlink()
    first, second = (run("check", "small", cwd=folder.parent.parent) for _ in range(2))
    assert "Its journal begins now" in first.stdout and second.returncode == 0
    assert "Its journal begins now" not in second.stdout
    (folder / "tiles.csv").unlink()
    run("restore", "small", "--yes", cwd=folder.parent.parent)
    assert run("check", "small", cwd=folder.parent.parent).returncode == 0


def test_report_of_tables_that_lack_something_entered_says_so(folder):
    grades = folder / "grades.csv"
    grades.write_text("".join(grades.read_text().splitlines(keepends=True)[:-3]))
    done = run("report", "small", cwd=folder.parent.parent)
    assert done.returncode == 0
    assert "It may lack something that was entered; look first: kit check small" in done.stdout


def test_problems_in_the_data_end_with_1_and_name_the_place(folder):
    path = folder / "tiles.csv"
    path.write_text(path.read_text().replace(",80,", ",81,", 1))
    done = run("check", "small", cwd=folder.parent.parent)
    assert done.returncode == 1
    assert "tiles.csv, row 2, column mesh" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words",
    [["check", "nothing-here"], ["check"], ["fly"], ["new", "Über uns"], ["report"]],
)
def test_misuse_ends_with_2_and_no_traceback(studio, words):
    done = run(*words, cwd=studio)
    assert done.returncode == 2
    assert done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["plan", "x", "--tiles", "many"], "'many' should be a whole number of 1 or more."),
        (["plan", "x", "--trips", "0"], "'0' should be a whole number of 1 or more."),
        (["new", "x", "--seed=-1"], "'-1' should be a whole number of 0 or more."),
        (["grade", "x", "--port", "70000"], "'70000' should be a whole number from 1 to 65535."),
        (["undo", "x", "1.5"], "'1.5' should be a whole number of 1 or more."),
    ],
)
def test_a_number_that_is_none_is_named_with_what_it_should_be(words, wanted):
    refused = CliRunner().invoke(app, words)
    assert refused.exit_code == 2
    assert wanted in " ".join(refused.output.replace("│", " ").split())


def test_a_series_from_nothing_to_its_workbook(studio):
    assert run("new", "autumn", "--seed", "4", cwd=studio).returncode == 0
    folder = studio / "data" / "autumn"
    early = run("plan", "autumn", "--yes", cwd=studio)
    assert early.returncode == 2
    assert "colours.csv" in early.stderr
    (folder / "colours.csv").write_text(JARS)
    planned = run("plan", "autumn", cwd=studio, typed="2\n6\ny\n")
    assert planned.returncode == 0, planned.stderr
    series = kit.read_series(folder)
    assert series.settings.tiles == len(series.tiles) == 6
    full = patches_in_full(series)
    assert not (full["base"] == full["overlay"]).any()
    again = run("plan", "autumn", "--yes", cwd=studio)
    assert again.returncode == 0, again.stderr
    assert "replaces the plan of 6 tiles" in again.stdout
    sheets = run("sheets", "autumn", "--workbook", cwd=studio)
    assert sheets.returncode == 0, sheets.stderr
    *paths, grade, enter = sheets.stdout.splitlines()
    assert paths and all(path.endswith((".pdf", ".xlsx")) for path in paths)
    assert "kit grade autumn" in grade and "kit enter autumn FILE" in enter
    unasked = run("plan", "autumn", cwd=studio)
    assert unasked.returncode == 2
    assert "nobody is there to answer" in unasked.stderr and "--yes" in unasked.stderr


def test_each_grader_gets_a_workbook_and_no_name_climbs(folder, studio):
    path = folder / "series.toml"
    path.write_text(path.read_text().replace('["AB", "CD"]', '["AB", "CD", "../../up"]'))
    made = run("sheets", "small", "--workbook", cwd=studio)
    assert made.returncode == 0, made.stderr
    books = sorted(p.name for p in studio.rglob("*.xlsx"))
    assert books == ["small-grades-AB.xlsx", "small-grades-CD.xlsx", "small-grades-up.xlsx"]
    assert {p.parent for p in studio.rglob("*.xlsx")} == {studio / "reports" / "small" / "sheets"}


def test_a_changed_plan_brings_workbooks_and_photo_card_up_to_date(folder, studio):
    printed = studio / "reports" / "small" / "sheets"
    series = kit.read_series(folder)
    made = ("firings", "grades", "measurements", "corrections")
    replace(series, **{name: getattr(series, name).iloc[:0] for name in made}).write(folder)
    assert run("sheets", "small", "--workbook", "--photo-card", cwd=studio).returncode == 0
    filled = printed / "small-grades-CD.xlsx"
    book = openpyxl.load_workbook(filled)
    book["Accidents"]["A7"] = "tile 2"
    book.save(filled)
    before = {path.name: path.read_bytes() for path in printed.iterdir()}
    done = run("change", "small", "drop", "8", "--yes", cwd=studio)
    assert done.returncode == 0, done.stderr
    after = {path.name: path.read_bytes() for path in printed.iterdir()}
    same = {name for name in before if before[name] == after[name]}
    assert {"small-grades-AB.xlsx", "photo-card.pdf"}.isdisjoint(same)
    assert filled.name in same and "T8-1" not in str(list(_cells(printed / "small-grades-AB.xlsx")))
    assert "Use the new workbook: small-grades-AB.xlsx" in done.stdout
    assert "small-grades-CD.xlsx was filled in meanwhile, so it was kept" in done.stdout
    assert "(8 files in" in done.stdout


def _cells(path):
    return openpyxl.load_workbook(path)["Grades"].values


def test_a_plan_declined_changes_nothing(studio):
    run("new", "autumn", cwd=studio)
    folder = studio / "data" / "autumn"
    (folder / "colours.csv").write_text(JARS)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    declined = run("plan", "autumn", "--tiles", "4", cwd=studio, typed="n\n")
    assert "Nothing was written" in declined.stdout
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_grades_are_taken_in_once(folder, studio):
    handed = studio / "mine.csv"
    row = (folder / "grades.csv").read_text().splitlines()
    changed = row[1].split(",")
    changed[3] = str((int(changed[3]) + 1) % 5)
    handed.write_text("\n".join([row[0], ",".join(changed)]))
    first = run("enter", "small", str(handed), "--by", "AB", "--yes", cwd=studio)
    assert first.returncode == 0, first.stderr
    assert len(kit.read_series(folder).corrections) == 1
    second = run("enter", "small", str(handed), "--by", "AB", "--yes", cwd=studio)
    assert second.returncode == 0
    assert len(kit.read_series(folder).corrections) == 1


@pytest.mark.parametrize("words", [[], *([command] for command in COMMANDS)], ids=" ".join)
def test_help_fits_80_columns_in_whole_words_and_names_no_type(words, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    told = CliRunner().invoke(app, [*words, "--help"]).output
    assert told.startswith("Usage: ")
    assert max(map(len, told.splitlines())) <= 80
    for sign in ("<", ">", "{", "}", "...", "--no-", "-\n"):
        assert sign not in told
    for command in [] if words else COMMANDS:
        assert f"\n  {command} " in told
