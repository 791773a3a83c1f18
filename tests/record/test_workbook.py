"""The workbook out and back: read right, or refused by cell."""

import datetime as dt
import io
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula

from kit.record import apply, grading_order, read_file, take_in, write_workbook, write_workbooks
from kit.series import Scale, read_series


@pytest.fixture
def path(series, tmp_path) -> Path:
    return write_workbook(series, tmp_path / "grades.xlsx")


@pytest.fixture
def book(path):
    """The workbook with Ada's name on it."""
    book = openpyxl.load_workbook(path)
    book["Grades"]["C3"] = "Ada"
    return book


def save(book, path: Path) -> Path:
    book.save(path)
    return path


def row_of(sheet, patch: str, firing: int) -> int:
    return next(
        row[0].row
        for row in sheet.iter_rows(min_row=7)
        if (row[0].value, row[1].value) == (patch, firing)
    )


def values(entered) -> dict:
    return {(*e.key, e.column): e.value for e in entered.entries}


def wrong(entered) -> list[str]:
    return [str(problem) for problem in entered.problems]


def rows_of(path) -> list[tuple[str, int]]:
    sheet = openpyxl.load_workbook(path)["Grades"]
    return [(r[0].value, r[1].value) for r in sheet.iter_rows(min_row=7)]


def test_a_workbook_for_several_graders_has_a_row_for_each_patch_and_firing_in_the_tiles_order(
    path, book, series
):
    rows = rows_of(path)
    for firing in (1, 2, 3):
        patches = [patch for patch, f in rows if f == firing]
        assert patches == sorted(grading_order(series, firing, "Ada"))
    assert len(rows) == 4 * (2 + 3 + 3)
    sheet = book["Grades"]
    assert [c.value for c in sheet[6]] == ["Patch", "Firing", "Spread", "Pull-through", "Note"]


@pytest.mark.parametrize(("graders", "grader"), [(("Ada", "Ben"), "Ben"), (("Ben",), ""), ((), "")])
def test_a_graders_own_workbook_has_the_order_of_their_sheets(plan, tmp_path, graders, grader):
    series = plan(graders=graders)
    rows = rows_of(write_workbook(series, tmp_path / "own.xlsx", grader))
    named = grader or "".join(graders)
    expected = [(p, f) for f in (1, 2, 3) for p in grading_order(series, f, named)]
    assert rows == expected and expected != sorted(expected, key=lambda row: row[::-1])


def test_it_says_how_to_hand_it_back_and_what_heat_is(path, book):
    said = "\n".join(str(c.value) for (c,) in book["Start here"].iter_rows(max_col=1))
    assert "kit enter trial grades.xlsx" in said
    assert "°C or °F" in said
    headings = [c.value for c in book["Firings"][6]]
    assert headings[5] == "Heat (kiln or torch; °C, °F or colour)"


def test_nothing_on_the_first_sheet_runs_out_of_its_column(plan, tmp_path):
    series = plan(title="Long title. " * 20, question="A long question? " * 20)
    sheet = openpyxl.load_workbook(write_workbook(series, tmp_path / "x.xlsx"))["Start here"]
    filled = [cell for row in sheet.iter_rows() for cell in row if cell.value]
    assert {cell.column for cell in filled} == {1}
    assert all(cell.alignment.wrap_text for cell in filled)
    assert sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.fitToWidth == 1


def test_the_format_of_a_cell_may_be_set_as_the_message_about_a_date_asks(book):
    assert not any(sheet.protection.formatCells for sheet in book.worksheets)


def test_the_recipe_stands_there_only_when_grading_is_not_blind(plan, tmp_path):
    path = write_workbook(plan(blind=False), tmp_path / "open.xlsx")
    headings = [c.value for c in openpyxl.load_workbook(path)["Grades"][6]]
    assert headings[2:4] == ["Base", "Overlay"]


def test_drop_downs_offer_the_scale_and_only_open_cells_are_not_locked(book):
    sheet = book["Grades"]
    limits = {str(v.sqref).split(":")[0]: v.formula1 for v in sheet.data_validations.dataValidation}
    assert limits["C7"] == limits["D7"] == '"0,1,2,3,4"'
    assert sheet.protection.sheet
    assert [c.protection.locked for c in sheet[7]] == [True, True, False, False, False]


def test_an_untouched_workbook_says_nothing(series, path):
    entered = read_file(series, path)
    assert entered.entries == () and entered.problems == ()


def test_a_half_filled_workbook_gives_what_is_filled(series, book, path):
    sheet = book["Grades"]
    row = row_of(sheet, "T2-1", 2)
    sheet.cell(row, 3).value = 3
    sheet.cell(row, 5).value = "  glassy \n rim "
    entered = read_file(series, save(book, path))
    assert values(entered) == {
        ("T2-1", 2, "Ada", "spread"): 3,
        ("T2-1", 2, "Ada", "note"): "glassy \n rim",
    }


@pytest.mark.parametrize("typed", [2, 2.0, "2", " 2 ", "2.0"])
def test_a_grade_is_read_however_a_spreadsheet_holds_it(series, book, path, typed):
    book["Grades"]["C7"] = typed
    assert list(values(read_file(series, save(book, path))).values()) == [2]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (dt.datetime(2026, 3, 1), "date"),
        (dt.time(3, 0), "time"),
        ("=1+1", "formula"),
        (True, "TRUE"),
        ("#REF!", "error"),
        (2.5, "not a whole number"),
        (7, "must be one of: 0, 1, 2, 3, 4"),
        ("two", "not a whole number"),
        ("1-Mar", "looks like a date"),
        ("2,5", "whole number"),
    ],
)
def test_what_is_no_grade_is_refused_with_its_cell(series, book, path, typed, says):
    book["Grades"]["D9"] = typed
    entered = read_file(series, save(book, path))
    assert len(entered.problems) == 1 and entered.entries == ()
    assert "grades.xlsx, sheet Grades, cell D9" in wrong(entered)[0]
    assert says in wrong(entered)[0]


def test_an_array_formula_is_refused(series, book, path):
    book["Grades"]["C7"] = ArrayFormula("C7:C8", "=A1:A2")
    assert "formula" in wrong(read_file(series, save(book, path)))[0]


def test_text_that_looks_like_a_formula_stays_text(series, book, path, tmp_path):
    cell = book["Grades"]["E7"]
    cell.value, cell.data_type = "=HYPERLINK(1)", "s"
    entered = read_file(series, save(book, path))
    assert list(values(entered).values()) == ["=HYPERLINK(1)"]


def test_nothing_that_the_kit_writes_is_a_formula(plan, tmp_path):
    series = plan(title="=1+1", question="@SUM(A1)", graders=("+cmd", "-2+3"), blind=False)
    stock = series.colours.assign(colour=["=Fog", "+Slate", "-Amber", "@Moss"])
    swap = dict(zip(series.colours["colour"], stock["colour"], strict=True))
    from dataclasses import replace

    series = replace(
        series,
        colours=stock,
        tiles=series.tiles.assign(base=series.tiles["base"].map(swap)),
        patches=series.patches.assign(overlay=series.patches["overlay"].map(swap)),
    )
    book = openpyxl.load_workbook(write_workbook(series, tmp_path / "x.xlsx"))
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None]
    assert {c.data_type for c in cells} <= {"s", "n"}
    assert {"=1+1", "=Fog", "@Moss", "+cmd"} <= {c.value for c in cells}


def test_rows_and_columns_may_be_reordered_sheets_renamed_and_notes_added(series, book, path):
    sheet = book["Grades"]
    sheet.title = "Ada's eyes"
    sheet["C7"], sheet["D7"], sheet["E7"] = 1, 2, "first"
    sheet["C8"] = 4
    first, second = sheet["A7"].value, sheet["A8"].value
    grid = [[c.value for c in row] for row in sheet.iter_rows(min_row=6)]
    head, rows = grid[0], grid[:0:-1]
    order = [4, 2, 0, 3, 1]
    for r, cells in enumerate([head, *rows], start=6):
        for c, old in enumerate(order, start=1):
            sheet.cell(r, c).value = cells[old]
    sheet.insert_rows(2, amount=3)
    sheet.cell(2, 9).value = "graded by the window"
    sheet.cell(60, 12).value = "end of the day"
    book.create_sheet("Shopping")["A1"] = "milk"
    entered = read_file(series, save(book, path))
    assert wrong(entered) == []
    assert values(entered) == {
        (first, 1, "Ada", "spread"): 1,
        (first, 1, "Ada", "pull_through"): 2,
        (first, 1, "Ada", "note"): "first",
        (second, 1, "Ada", "spread"): 4,
    }


def test_a_column_of_ones_own_is_named_as_left_aside(series, book, path):
    book["Grades"]["F6"] = "Weather"
    book["Grades"]["F7"] = "rain"
    book["Grades"]["C7"] = 1
    entered = read_file(series, save(book, path))
    assert len(entered.entries) == 1
    assert "column F: 'weather'" in entered.ignored[0]


def test_a_deleted_column_or_sheet_is_said(folder, book, path):
    book["Grades"]["C7"] = 1
    book["Grades"].delete_cols(4)
    del book["Accidents"]
    said = take_in(folder, save(book, path), "Ada").describe()
    assert "sheet Grades has no column 'Pull-through': nothing was taken from it" in said
    assert "grades.xlsx has no sheet 'Accidents': nothing was taken from it" in said


def test_a_whole_workbook_lacks_nothing(series, path):
    assert read_file(series, path).missing == ()


def test_merged_cells_that_hold_a_grade_are_refused_and_empty_ones_are_not(series, book, path):
    sheet = book["Grades"]
    sheet["C7"] = 3
    sheet.merge_cells("C7:C9")
    sheet.merge_cells("D10:D12")
    entered = read_file(series, save(book, path))
    assert len(entered.problems) == 1
    assert "cells C7:C9" in wrong(entered)[0] and "merged" in wrong(entered)[0]


def test_grades_without_a_name_or_by_a_stranger_are_refused(series, book, path):
    sheet = book["Grades"]
    sheet["C7"], sheet["C8"] = 1, 2
    sheet["C3"] = None
    (problem,) = read_file(series, save(book, path)).problems
    assert "Say who graded" in str(problem) and "Who grades" in str(problem)
    sheet["C3"] = "Benn"
    (problem,) = read_file(series, save(book, path)).problems
    assert "cell C3" in str(problem) and "Did you mean 'Ben'?" in str(problem)


def test_a_workbook_of_another_series_is_refused(series, book, path):
    book["Grades"]["C2"], book["Grades"]["C7"] = "winter-pinks", 1
    assert "belongs to the series 'winter-pinks'" in wrong(read_file(series, save(book, path)))[0]


def test_a_patch_or_firing_that_cannot_be_is_refused_with_its_cell(series, book, path):
    sheet = book["Grades"]
    sheet["A7"], sheet["C7"] = "T9-1", 1
    sheet["B8"], sheet["C8"] = 9, 1
    late = row_of(sheet, "T2-3", 2)
    sheet.cell(late, 2).value, sheet.cell(late, 3).value = 1, 1
    said = "\n".join(wrong(read_file(series, save(book, path))))
    assert "cell A7, column patch: This series has no patch 'T9-1'" in said
    assert "cell B8" in said and "no tile has had a firing 9" in said
    assert f"cell B{late}" in said and "goes on before firing 2" in said


def test_the_same_patch_twice_is_one_entry_alike_and_a_problem_unlike(series, book, path):
    sheet = book["Grades"]
    for row, grade in ((7, 2), (8, 2)):
        sheet.cell(row, 1).value, sheet.cell(row, 3).value = "T1-1", grade
    assert len(read_file(series, save(book, path)).entries) == 1
    sheet["C8"] = 3
    assert "cell C7" in wrong(read_file(series, save(book, path)))[0]


def test_lost_headings_are_named(series, book, path):
    book["Grades"]["A6"] = "Piece"
    assert "sheet Grades" in wrong(read_file(series, save(book, path)))[0]


@pytest.mark.parametrize(
    "content",
    [b"", b"not a workbook", b"PK\x03\x04 torn", b"\xd0\xcf\x11\xe0 an old .xls", b"\x00" * 5000],
)
def test_what_is_no_workbook_is_refused_in_words(series, tmp_path, content):
    file = tmp_path / "grades.xlsx"
    file.write_bytes(content)
    assert "not a workbook" in wrong(read_file(series, file))[0]


def test_a_workbook_that_would_unpack_to_far_too_much_is_refused(series, tmp_path):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bomb:
        bomb.writestr("xl/workbook.xml", b"0" * 210_000_000)
    file = tmp_path / "bomb.xlsx"
    file.write_bytes(packed.getvalue())
    assert "Unpacked it is larger than" in wrong(read_file(series, file))[0]


def test_firings_and_accidents_come_in_with_the_session_that_was_planned(folder, book, path):
    firings, accidents = book["Firings"], book["Accidents"]
    row = next(
        r[0].row for r in firings.iter_rows(min_row=7) if r[0].value == 3 and r[1].value == 1
    )
    firings.cell(row, 5).value, firings.cell(row, 6).value = 1.6, "kiln, 800"
    accidents["A7"], accidents["B7"], accidents["C7"] = "tile 2", 1, "dropped"
    accidents["A8"], accidents["C8"] = "T1-2", "mis-sifted"
    accidents["A9"], accidents["B9"], accidents["C9"] = "t4-1", 2, "chipped"
    intake = take_in(folder, save(book, path), "Ada")
    assert intake.problems == ()
    series = apply(intake)
    told = series.firings.set_index(["tile", "firing"])
    assert told.loc[(3, 1), ["session", "minutes", "heat"]].tolist() == [2, 1.6, "kiln, 800"]
    assert told.loc[(2, 1), ["session", "accident"]].tolist() == [1, "dropped"]
    lost = series.patches.set_index("patch")["accident"]
    assert lost[lost != ""].to_dict() == {"T1-2": "mis-sifted", "T4-1": "chipped"}
    since = series.patches.set_index("patch")["lost_at"].dropna()
    assert since.to_dict() == {"T4-1": 2}
    assert {(4, 1), (4, 2)} <= set(told.index)
    assert read_series(folder).firings.equals(series.firings)


def test_an_accident_that_is_half_told_is_refused(folder, book, path):
    sheet = book["Accidents"]
    sheet["A7"], sheet["C7"] = "2", "dropped"
    sheet["A8"], sheet["B8"] = "3", 1
    said = "\n".join(wrong(read_file(read_series(folder), save(book, path))))
    assert "at which firing" in said and "what happened" in said


def test_two_peoples_copies_of_one_workbook_stand_side_by_side(folder, book, path, tmp_path):
    sheet = book["Grades"]
    sheet["C7"] = 1
    apply(take_in(folder, save(book, tmp_path / "ada.xlsx"), "Ada"))
    sheet["C3"], sheet["C7"] = "Ben", 3
    apply(take_in(folder, save(book, tmp_path / "ben.xlsx"), "Ben"))
    grades = read_series(folder).grades
    assert grades[["grader", "spread"]].values.tolist() == [["Ada", 1], ["Ben", 3]]


def test_scales_with_awkward_titles_are_told_apart(plan, tmp_path):
    titles = {"gloss": "Gloss (shine)", "shine": "Gloss", "mottle": "Note", "pits": "Spread"}
    more = [Scale(name, title, "How much?", tuple("abcde")) for name, title in titles.items()]
    series = plan(graders=("Ada",), scales=(*plan().settings.scales, *more))
    path = write_workbook(series, tmp_path / "more.xlsx")
    book = openpyxl.load_workbook(path)
    for column, grade in enumerate((0, 1, 2, 3, 4, 0), start=3):
        book["Grades"].cell(7, column).value = grade
    entered = read_file(series, save(book, path))
    assert wrong(entered) == []
    assert {e.column: e.value for e in entered.entries} == {
        "spread": 0, "pull_through": 1, "gloss": 2, "shine": 3, "mottle": 4, "pits": 0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("sheet", "cell"), [("Grades", "C7"), ("Firings", "E7"), ("Accidents", "A7"), ("Grades", None)]
)
def test_a_workbook_is_brought_up_to_date_unless_it_was_filled_in(series, tmp_path, sheet, cell):
    (ada, ben), none = write_workbooks(series, tmp_path)
    assert none == [] and write_workbooks(series, tmp_path / "elsewhere", True) == ([], [])
    ben.unlink()
    if cell:
        book = openpyxl.load_workbook(ada)
        book[sheet][cell] = 1
        book.save(ada)
    else:
        ada.write_bytes(b"torn")
    before = ada.read_bytes()
    assert write_workbooks(series, tmp_path, True) == ([], [ada])
    assert ada.read_bytes() == before
    write_workbook(series, ada, "Ada")
    gone = series.patches["tile"] == 4
    fewer = replace(series, tiles=series.tiles.iloc[:3], patches=series.patches[~gone])
    assert write_workbooks(fewer, tmp_path, True) == ([ada], []) and not ben.exists()
    assert {patch for patch, _ in rows_of(ada)} == set(fewer.patches["patch"])
