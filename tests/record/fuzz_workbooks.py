"""Filled workbooks, disturbed at random, and what must be true whatever was done to them.

Harmless disturbances (order, names, notes, how a number is held) must be read exactly; harmful
ones must be refused in words. Neither may change anything that nobody entered.
"""

import datetime as dt
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from kit.record import read_file
from kit.record.comparison import Comparison, compare, laid_over
from kit.record.intake import describe
from kit.series import Series

HEADING_ROW = 6
Random = np.random.Generator


@dataclass(frozen=True)
class Case:
    """A workbook and what it must come to.

    Parameters
    ----------
    content : bytes
    told : dict
        (patch, firing, column) to value, as filled in.
    harm : str
        Name of the harmful disturbance; blank for none.
    """

    content: bytes
    told: dict
    harm: str


def only_grades(path: Path) -> bytes:
    """A workbook without the sheets that are not disturbed, so that a case is quick."""
    book = openpyxl.load_workbook(path)
    for name in ("Firings", "Accidents"):
        del book[name]
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def workbook_case(template: bytes, random: Random) -> Case:
    """Fill some cells, disturb harmlessly, and in half of the cases harmfully too."""
    book = openpyxl.load_workbook(io.BytesIO(template))
    sheet = book["Grades"]
    sheet["C3"] = "Ada"
    told = fill(sheet, random)
    for disturb in random.permutation(HARMLESS)[: random.integers(0, 5)]:
        disturb(book, random)
    harm = ""
    if random.random() < 0.5:
        spoil = HARMFUL[random.integers(len(HARMFUL))]
        spoil(book, random)
        harm = spoil.__name__
    packed = io.BytesIO()
    book.save(packed)
    content = packed.getvalue()
    if not harm and random.random() < 0.3:
        content, harm = damaged(content, random), "damaged"
    return Case(content, told, harm)


def check(case: Case, series: Series, scratch: Path) -> str:
    """Read the case and assert all that must hold. Returns how it ended."""
    file = scratch / "filled.xlsx"
    file.write_bytes(case.content)
    entered = read_file(series, file)
    comparison = compare(series, entered.entries, entered.sessions)
    assert describe(comparison, entered.problems, entered.ignored)
    if entered.problems:
        assert case.harm, [str(p) for p in entered.problems]
        assert all("filled.xlsx" in str(p) and p.fix for p in entered.problems)
        return "refused"
    told = {(*e.key[:2], e.column): e.value for e in entered.entries}
    assert case.harm in ("", "damaged"), (case.harm, told, case.told)
    assert told == case.told
    nothing_lost(series, comparison)
    return "read"


def nothing_lost(series: Series, comparison: Comparison) -> None:
    """Every row stays, every cell that changed was entered, every old value is in corrections."""
    after = laid_over(series, comparison, "Ada", "filled.xlsx")
    assert after.problems() == []
    entered = {(e.key, e.column): e.value for e in comparison.new}
    entered |= {(c.entry.key, c.entry.column): c.entry.value for c in comparison.changed}
    old, new = cells(series), cells(after)
    assert {at: value for at, value in new.items() if old.get(at) != value} == {
        at: value for at, value in entered.items() if at[1] in series.grades.columns
    }
    assert set(old) <= set(new)
    kept = {(c.patch, c.firing, c.grader, c.column): c.was for c in after.corrections.itertuples()}
    written_over = {at for at, value in old.items() if new[at] != value}
    assert {(*key, column): str(old[(key, column)]) for key, column in written_over} == kept


def cells(series: Series) -> dict:
    """(key, column) to value of every cell of the grades that is not blank."""
    key = ["patch", "firing", "grader"]
    table = series.grades.set_index(key).astype(object)
    return {
        (row, column): table.at[row, column]
        for row in table.index
        for column in table.columns
        if not pd.isna(table.at[row, column]) and table.at[row, column] != ""
    }


def fill(sheet, random: Random) -> dict:
    told = {}
    for row in range(HEADING_ROW + 1, sheet.max_row + 1):
        patch, firing = sheet.cell(row, 1).value, sheet.cell(row, 2).value
        for column, name in ((3, "spread"), (4, "pull_through")):
            if random.random() < 0.5:
                grade = int(random.integers(5))
                sheet.cell(row, column).value = held(grade, random)
                told[(patch, firing, name)] = grade
        if random.random() < 0.3:
            note = NOTES[random.integers(len(NOTES))]
            sheet.cell(row, 5).value = note
            sheet.cell(row, 5).data_type = "s"
            told[(patch, firing, "note")] = note
    first = (sheet.cell(HEADING_ROW + 1, 1).value, sheet.cell(HEADING_ROW + 1, 2).value, "spread")
    sheet.cell(HEADING_ROW + 1, 3).value = told.setdefault(first, 2)
    return told


NOTES = ("=1+1", "+cmd", "@x", "-", "'quoted", 'a, "b"; c', "süß Ж 中", "#REF", "x" * 300)


def held(grade: int, random: Random) -> object:
    return [grade, float(grade), str(grade), f" {grade} ", f"{grade}.0"][random.integers(5)]


def grid(sheet) -> list[list[object]]:
    return [[c.value for c in row] for row in sheet.iter_rows(min_row=HEADING_ROW, max_col=5)]


def put(sheet, rows: list[list[object]]) -> None:
    for r, cells in enumerate(rows, start=HEADING_ROW):
        for c, value in enumerate(cells, start=1):
            cell = sheet.cell(r, c)
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"


def grades_of(book):
    """The sheet of grades, whatever it is called by now."""
    return book.worksheets[1]


def row_order(book, random: Random) -> None:
    head, *rows = grid(grades_of(book))
    put(grades_of(book), [head, *(rows[i] for i in random.permutation(len(rows)))])


def column_order(book, random: Random) -> None:
    order = random.permutation(5)
    put(grades_of(book), [[row[i] for i in order] for row in grid(grades_of(book))])


def other_names(book, random: Random) -> None:
    grades_of(book).title = f"Sheet {random.integers(100)}"


def another_sheet(book, random: Random) -> None:
    book.create_sheet("My notes")["B7"] = dt.datetime(2026, 3, 1)


def words_beside(book, random: Random) -> None:
    sheet = grades_of(book)
    sheet.cell(int(random.integers(1, 60)), int(random.integers(7, 20))).value = "by the window"


def empty_merge(book, random: Random) -> None:
    grades_of(book).merge_cells("U10:W12")


def headings_in_other_words(book, random: Random) -> None:
    for cell in grades_of(book)[HEADING_ROW]:
        if isinstance(cell.value, str):
            cell.value = [str.upper, str.lower, lambda s: f" {s} "][random.integers(3)](cell.value)


def hidden_rows(book, random: Random) -> None:
    grades_of(book).row_dimensions[int(random.integers(7, 12))].hidden = True


HARMLESS: list[Callable] = [
    row_order, column_order, other_names, another_sheet, words_beside, empty_merge,
    headings_in_other_words, hidden_rows,
]  # fmt: skip


def first_filled(book):
    """A cell with a grade in it."""
    sheet = grades_of(book)
    names = {str(c.value).strip().lower(): c.column for c in sheet[HEADING_ROW] if c.value}
    for row in range(HEADING_ROW + 1, sheet.max_row + 1):
        cell = sheet.cell(row, names["spread"])
        if cell.value is not None:
            return sheet, cell, names
    raise AssertionError("fill() fills at least one")


def no_grade(book, random: Random) -> None:
    _, cell, _ = first_filled(book)
    wrong = [
        dt.datetime(2026, 1, 3), dt.date(1900, 1, 2), dt.time(2, 0), True, 2.5, -1, 5, 99, 1e300,
        "two", "1-3", "1/3", "3 of 4", "=2", "=A1", "#N/A", "2,5", "1_0", "nan", "inf", "٣x",
    ]  # fmt: skip
    cell.value = wrong[random.integers(len(wrong))]


def no_patch(book, random: Random) -> None:
    sheet, cell, names = first_filled(book)
    wrong = [None, "", "T99-1", "T1", 7, "=A8", dt.datetime(2026, 1, 3), "T1-1-1", "../T1-1"]
    sheet.cell(cell.row, names["patch"]).value = wrong[random.integers(len(wrong))]


def no_firing(book, random: Random) -> None:
    sheet, cell, names = first_filled(book)
    wrong = [None, 0, 9, -1, 1.5, "first", "=1", dt.date(2026, 1, 1), 10**12]
    sheet.cell(cell.row, names["firing"]).value = wrong[random.integers(len(wrong))]


def no_name(book, random: Random) -> None:
    wrong = [None, "  ", "Nobody", "=A1", dt.date(2026, 1, 1), 5]
    grades_of(book)["C3"] = wrong[random.integers(len(wrong))]


def merged(book, random: Random) -> None:
    sheet, cell, _ = first_filled(book)
    sheet.merge_cells(
        start_row=cell.row, end_row=cell.row + 1, start_column=cell.column, end_column=cell.column
    )


def said_twice(book, random: Random) -> None:
    sheet, cell, names = first_filled(book)
    row = sheet.max_row + 3
    for name in ("patch", "firing"):
        sheet.cell(row, names[name]).value = sheet.cell(cell.row, names[name]).value
    sheet.cell(row, names["spread"]).value = (int(float(cell.value)) + 1) % 5


def lost_heading(book, random: Random) -> None:
    sheet, _, names = first_filled(book)
    sheet.title = "Grades"
    sheet.cell(HEADING_ROW, names["patch"]).value = [None, "Which", "=A1"][random.integers(3)]


def twin_heading(book, random: Random) -> None:
    sheet, _, _ = first_filled(book)
    sheet.cell(HEADING_ROW, 6).value = "Spread"


def other_series(book, random: Random) -> None:
    grades_of(book)["C2"] = "winter-pinks"


HARMFUL: list[Callable] = [
    no_grade, no_patch, no_firing, no_name, merged, said_twice, lost_heading, twin_heading,
    other_series,
]  # fmt: skip


def damaged(content: bytes, random: Random) -> bytes:
    """Cut, flip, fill or swap some bytes of the file."""
    raw = bytearray(content)
    kind = random.integers(4)
    if kind == 0:
        return bytes(raw[: random.integers(len(raw))])
    for _ in range(random.integers(1, 30)):
        raw[random.integers(len(raw))] = random.integers(256)
    if kind == 1:
        start = int(random.integers(len(raw)))
        raw[start : start + 200] = b"\0" * len(raw[start : start + 200])
    return bytes(raw)
