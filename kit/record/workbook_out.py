"""The workbook that is filled in at the bench: a row for each patch and firing."""

import io
import math
import re
from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pandas as pd
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from kit.record.grid import PLANNED_SESSION, WHICH, WHO, heading_for
from kit.record.workbook_in import read_workbook
from kit.record.worklist import grading_order, planned_firings, planned_grades
from kit.series import ACCIDENTS, Scale, Series, write_whole, writing

_TITLE = Font(bold=True, size=14)
_BOLD = Font(bold=True)
_GIVEN = PatternFill("solid", fgColor="E7E7E7")
_FILL_IN = PatternFill("solid", fgColor="FFFFFF")
_THIN = Side(style="thin", color="888888")
_BOX = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
_WRAP = Alignment(wrap_text=True, vertical="top")
_MIDDLE = Alignment(horizontal="center", vertical="center")
_OPEN = Protection(locked=False)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_WORDS = "Words"
_SPARE_ROWS = 40
_LINE = 70
"""Characters on a line of the first sheet; one wide column is not shrunk to fit by every office."""
_ROW_PT = 15
_WIDEST_UPRIGHT = 110
"""Characters across beyond which a sheet is printed on its side, so that it can be read."""
_FIRST = 6
"""Row of the headings; the name of the series and of the grader stand above."""


def write_workbook(series: Series, path: Path | str, grader: str = "") -> Path:
    """Write the workbook that grades, firings and accidents are typed into.

    Parameters
    ----------
    series : Series
        Needs tiles and patches.
    path : Path
        Ends in .xlsx.
    grader : str
        Who will fill it in; they may also write their name into it.

    Returns
    -------
    Path
        Where it is. Every cell that is not to be filled in is protected, without a password.
    """
    book = openpyxl.Workbook()
    assert isinstance(book.active, Worksheet)
    path = Path(path)
    _start_here(book.active, series, path.name)
    _grades(book.create_sheet("Grades"), series, grader)
    _firings(book.create_sheet("Firings"), series)
    _accidents(book.create_sheet("Accidents"), series)
    _words(book.create_sheet(_WORDS), series)
    for sheet in book.worksheets:
        sheet.protection.sheet = True
        sheet.protection.formatCells = False
        sheet.protection.formatColumns = False
        sheet.protection.formatRows = False
    packed = io.BytesIO()
    book.save(packed)
    with writing(path.parent):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, packed.getvalue())
    return path


def write_workbooks(
    series: Series, folder: Path, only_there: bool = False
) -> tuple[list[Path], list[Path]]:
    """Write a workbook for each grader; one that was filled in is never written over.

    Parameters
    ----------
    series : Series
        Needs tiles and patches.
    folder : Path
    only_there : bool
        Whether only workbooks that are there already are brought up to date.

    Returns
    -------
    written, kept : list of Path
    """
    written, kept = [], []
    for grader in series.settings.graders or ("",):
        whose = re.sub(r"\W+", "-", f"-{grader}" if grader else "")
        path = folder / f"{series.name}-grades{whose}.xlsx"
        if path.is_file() and _is_filled_in(path, series):
            kept.append(path)
        elif path.is_file() or not only_there:
            written.append(write_workbook(series, path, grader))
    return written, kept


def _is_filled_in(path: Path, series: Series) -> bool:
    """Whether anything beyond what the kit writes is in a workbook, or it cannot be read."""
    scales = series.settings.scales
    grids, problems, _ = read_workbook(path.name, path.read_bytes(), series.name, scales)
    given = {"patch", "firing", "tile", PLANNED_SESSION}
    return bool(problems) or any(set(row) - given for grid in grids for row in grid.rows)


def _start_here(sheet: Worksheet, series: Series, file: str) -> None:
    sheet.title = "Start here"
    sheet.column_dimensions["A"].width = _LINE
    _put(sheet["A1"], series.settings.title, font=_TITLE)
    lines = [series.settings.question, "", *_instructions(series.name, file)]
    for scale in series.settings.scales:
        lines += [f"{scale.title}: {scale.question}"]
        lines += [f"    {grade}  {step}" for grade, step in enumerate(scale.steps)]
    for row, line in enumerate(lines, start=2):
        _put(sheet.cell(row, 1), line)
        sheet.row_dimensions[row].height = _ROW_PT * max(1, math.ceil(len(line) / (0.9 * _LINE)))
    lines_of_title = math.ceil(len(series.settings.title) / (0.6 * _LINE))
    sheet.row_dimensions[1].height = 1.4 * _ROW_PT * max(1, lines_of_title)
    for (cell,) in sheet.iter_rows(max_col=1):
        cell.alignment = _WRAP
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def _grades(sheet: Worksheet, series: Series, grader: str) -> None:
    scales = series.settings.scales
    shown = ["patch", "firing"] if series.settings.blind else ["patch", "firing", "base", "overlay"]
    scored = [heading_for(scale, scales) for scale in scales]
    headings = [*map(str.capitalize, shown), *scored, "Note"]
    widths = [9, 7, *[22] * (len(shown) - 2), *[max(11, len(title) + 3) for title in scored], 40]
    _head(sheet, series, "Grades: a number from each drop-down", headings, widths)
    _put(sheet["A3"], f"{WHO}:", font=_BOLD)
    sheet.merge_cells("A3:B3")
    named = series.settings.graders
    only = named[0] if len(named) == 1 else ""
    _put(sheet["C3"], grader or only)
    sheet["C3"].protection, sheet["C3"].border = _OPEN, _BOX
    if named:
        _choose(sheet, "C3", f"='{_WORDS}'!$A$2:$A${len(named) + 1}", "Choose your name.")
    table = planned_grades(series)
    if grader or len(named) < 2:
        table = _as_on_paper(series, table, grader or only)
    row = _FIRST
    for row, known in enumerate(table.to_dict("records"), _FIRST + 1):
        _given(sheet, row, [known[name] for name in shown])
        _open_cells(sheet, row, len(shown) + 1, len(headings))
    for column, scale in enumerate(scales, start=len(shown) + 1):
        letter = get_column_letter(column)
        _limit_to(sheet, f"{letter}{_FIRST + 1}:{letter}{max(row, _FIRST + 1)}", scale)


def _as_on_paper(series: Series, table: pd.DataFrame, grader: str) -> pd.DataFrame:
    """Bring the rows into the order of the grader's own sheets.

    A workbook for several graders keeps the tiles' order: each finds the patch by its number.
    """
    order = [
        (int(firing), patch)
        for firing in sorted(set(table["firing"]))
        for patch in grading_order(series, int(firing), grader)
    ]
    return table.set_index(["firing", "patch"]).loc[order].reset_index()


def _firings(sheet: Worksheet, series: Series) -> None:
    headings = [
        "Tile", "Firing", "Planned session", "Session (if different)", "Minutes (in the heat)",
        "Heat (kiln or torch; °C, °F or colour)", "Note",
    ]  # fmt: skip
    told = "Firings: how long and how hot; firing 0 is the base coat's"
    if len(series.sessions):
        told += ". Blank: as planned for the session, see the order of work"
    _head(
        sheet,
        series,
        told,
        headings,
        [8, 8, 16, 20, 12, 26, 40],
    )
    planned = planned_firings(series).sort_values(["session", "firing", "tile"])
    for row, (tile, firing, session) in enumerate(planned.itertuples(index=False), _FIRST + 1):
        _given(sheet, row, [int(tile), int(firing), int(session)])
        _open_cells(sheet, row, 4, len(headings))
    last = _FIRST + max(len(planned), 1)
    wrong = "Minutes in the heat: a number from 0.1 to 60, such as 1.5."
    minutes = DataValidation(
        type="decimal",
        operator="between",
        formula1="0.1",
        formula2="60",
        allow_blank=True,
        showErrorMessage=True,
        errorTitle="Minutes",
        error=wrong,
    )
    minutes.add(f"E{_FIRST + 1}:E{last}")
    sheet.add_data_validation(minutes)


def _accidents(sheet: Worksheet, series: Series) -> None:
    headings = ["Tile or patch", "Firing", "What happened"]
    title = "Accidents: a whole tile (7) or one patch (T7-3), and the firing it was lost at"
    _head(sheet, series, title, headings, [16, 10, 40])
    for row in range(_FIRST + 1, _FIRST + 1 + _SPARE_ROWS):
        _open_cells(sheet, row, 1, len(headings))
        sheet.cell(row, 1).number_format = "@"
    words = f"='{_WORDS}'!$B$2:$B${len(ACCIDENTS) + 1}"
    choice = DataValidation(type="list", formula1=words, allow_blank=True, showErrorMessage=False)
    choice.add(f"C{_FIRST + 1}:C{_FIRST + _SPARE_ROWS}")
    sheet.add_data_validation(choice)


def _words(sheet: Worksheet, series: Series) -> None:
    """The words that drop-downs offer; out of sight, but nothing secret."""
    sheet.sheet_state = "hidden"
    for column, (heading, words) in enumerate(
        [("Graders", series.settings.graders), ("Accidents", ACCIDENTS)], start=1
    ):
        _put(sheet.cell(1, column), heading)
        for row, word in enumerate(words, start=2):
            _put(sheet.cell(row, column), word)


def _head(
    sheet: Worksheet, series: Series, title: str, headings: Sequence[str], widths: Sequence[int]
) -> None:
    _put(sheet["A1"], title, font=_TITLE)
    _put(sheet["A2"], f"{WHICH}:", font=_BOLD)
    sheet.merge_cells("A2:B2")
    _put(sheet["C2"], series.name)
    _put(sheet["A4"], "White cells are yours. Leave blank what you have not seen.")
    for column, (heading, width) in enumerate(zip(headings, widths, strict=True), start=1):
        cell = sheet.cell(_FIRST, column)
        _put(cell, heading, font=_BOLD)
        cell.border, cell.fill, cell.alignment = _BOX, _GIVEN, _WRAP
        sheet.column_dimensions[get_column_letter(column)].width = width
    lines = [math.ceil(1.3 * len(h) / w) for h, w in zip(headings, widths, strict=True)]
    sheet.row_dimensions[_FIRST].height = _ROW_PT * max(lines)
    sheet.freeze_panes = sheet.cell(_FIRST + 1, 3)
    if sum(widths) > _WIDEST_UPRIGHT:
        sheet.page_setup.orientation = "landscape"
    sheet.print_title_rows = f"{_FIRST}:{_FIRST}"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def _given(sheet: Worksheet, row: int, values: Sequence[object]) -> None:
    for column, value in enumerate(values, start=1):
        cell = sheet.cell(row, column)
        _put(cell, value)
        cell.border, cell.fill = _BOX, _GIVEN


def _open_cells(sheet: Worksheet, row: int, first: int, last: int) -> None:
    for column in range(first, last + 1):
        cell = sheet.cell(row, column)
        cell.border, cell.fill, cell.protection = _BOX, _FILL_IN, _OPEN
        cell.alignment = _MIDDLE if column < last else _WRAP


def _limit_to(sheet: Worksheet, cells: str, scale: Scale) -> None:
    steps = [f"{grade} {step}" for grade, step in enumerate(scale.steps)]
    grades = ",".join(map(str, scale.grades))
    choice = DataValidation(
        type="list",
        formula1=f'"{grades}"',
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
        errorTitle=scale.title[:31],
        error=f"Choose one of {grades}, or leave it blank.",
        promptTitle=scale.title[:31],
        prompt="\n".join(steps)[:254],
    )
    choice.add(cells)
    sheet.add_data_validation(choice)


def _choose(sheet: Worksheet, cells: str, words: str, error: str) -> None:
    choice = DataValidation(type="list", formula1=words, allow_blank=True, showErrorMessage=True)
    choice.error = error
    choice.add(cells)
    sheet.add_data_validation(choice)


def _put(cell: Cell, value: object, font: Font | None = None) -> None:
    """Fill a cell; text stays text even where a spreadsheet would see a formula."""
    if isinstance(value, str):
        cell.value = _CONTROL.sub("", value)
        cell.data_type = "s"
        cell.quotePrefix = value.startswith(("=", "+", "-", "@"))
    else:
        cell.value = value
    if font:
        cell.font = font


def _instructions(series: str, file: str) -> tuple[str, ...]:
    """Say how a workbook is filled in and handed back.

    Parameters
    ----------
    series : str
        Name of the series.
    file : str
        Name of the workbook.
    """
    return (
        "How to fill this in",
        "1. On the sheet Grades, choose or write your name beside 'Who grades'.",
        "2. Find the patch by the tile's number and the place on it: T7-3 is tile 7, place 3.",
        "3. Choose a number for each thing that is graded; the words are below. Only whole "
        "numbers.",
        "4. Leave blank what you have not seen. A blank never erases anything.",
        "5. On the sheet Firings, write the minutes in the heat, such as 1.5. Under Heat write "
        "kiln or torch, and how hot: °C or °F, or the colour you saw, such as 'torch, orange'. On "
        "the sheet Accidents, write what was chipped, dropped or mis-sifted, and at which firing: "
        "it is data too, and what you graded before still counts. Leave the firing of a patch "
        "blank where nothing of it is to count, such as when it was mis-sifted.",
        f"6. Save as .xlsx and hand it back with: kit enter {series} {file} - or whatever you "
        "have called your copy. You will see what is new, what changes an earlier grade and what "
        "is wrong before anything is written.",
        "Several people may each fill in a copy. To correct a grade, type the new one and hand "
        "the file in again; the old grade is kept beside it.",
        "Grade in good, even light, with your glasses on; samples can have sharp edges. Wash your "
        "hands after handling them, and keep them away from food and children.",
        "",
    )
