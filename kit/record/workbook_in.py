"""A workbook that somebody filled in, to grids: read right or refused by cell."""

import datetime as dt
import io
import re
from collections.abc import Iterator
from typing import Any

import openpyxl
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.worksheet.worksheet import Worksheet

from kit.errors import Problem
from kit.record.grid import (
    WHICH,
    WHO,
    Grid,
    GridCell,
    Kind,
    column_of,
    columns_of,
    kind_of,
    missing_columns,
)
from kit.record.ods_in import is_ods, workbook_of_ods
from kit.series import Scale, heading_of, packed_excess

SHEETS: dict[str, Kind] = {"Grades": "grades", "Firings": "firings", "Accidents": "accidents"}

_HEADING_WITHIN = 40
_SHOWN = 12
_FOR_THE_EYE = frozenset({"base", "overlay"})
"""Columns that the kit itself writes and does not read."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")

Cells = dict[int, dict[int, Cell]]


def read_workbook(
    name: str, content: bytes, series: str, scales: tuple[Scale, ...]
) -> tuple[list[Grid], list[Problem], list[str]]:
    """Read the bytes of an .xlsx workbook of grades, firings and accidents.

    Sheets are known by their headings, whatever they are called and however the columns stand.

    Parameters
    ----------
    name : str
        Of the file, for the problems.
    content : bytes
    series : str
        Name of the series it must belong to.
    scales : tuple of Scale

    Returns
    -------
    list of Grid
    list of Problem
    list of str
        Which of the kit's sheets are not there, in words.
    """
    book, excess = _open(content)
    if book is None:
        fix = "Save it as a workbook (.xlsx or .ods) or as CSV, and try again."
        wrong = excess or "It is not a workbook that can be read."
        return [], [Problem(name, None, "", wrong, fix)], []
    grids, problems = [], []
    for sheet in book.worksheets:
        if elsewhere := _of_another_series(sheet, name, series):
            return [], [elsewhere], []
    for sheet in book.worksheets:
        place = f"{name}, sheet {sheet.title}"
        cells = _filled(sheet)
        heading = _heading_row(cells, scales)
        if heading is None:
            problems += _lost_headings(sheet.title, place, cells)
            continue
        grid, found = _grid(sheet, place, cells, heading, scales)
        problems += found
        grids.append(grid)
    if not grids and not problems:
        wrong = "No sheet has the headings that can be taken in."
        fix = "Fill in the workbook that `kit sheets --workbook` made."
        problems.append(Problem(name, None, "", wrong, fix))
    have = {grid.kind for grid in grids} | {SHEETS.get(title) for title in book.sheetnames}
    missing = [
        f"{name} has no sheet '{title}': nothing was taken from it. Was it deleted by mistake?"
        for title, kind in SHEETS.items()
        if kind not in have
    ]
    return grids, problems, missing


def _open(content: bytes) -> tuple[openpyxl.Workbook | None, str]:
    """Open a workbook; None for anything that is not one, or with what there is too much of."""
    try:
        if excess := packed_excess(content):
            return None, excess
        if is_ods(content):
            return workbook_of_ods(content), ""
        return openpyxl.load_workbook(io.BytesIO(content), keep_links=False), ""
    except Exception:  # a damaged file makes the parser fail in any way whatever
        return None, ""


def _filled(sheet: Worksheet) -> Cells:
    """Cells that hold something, by row and column.

    The sheet's own iteration would build every empty cell up to the last formatted one.
    """
    rows: Cells = {}
    for (row, column), cell in sorted(sheet._cells.items()):
        if not isinstance(cell, MergedCell) and cell.value not in (None, ""):
            rows.setdefault(row, {})[column] = cell
    return rows


def _heading_row(cells: Cells, scales: tuple[Scale, ...]) -> int | None:
    for row, across in cells.items():
        if row <= _HEADING_WITHIN and kind_of([_plain(c.value) for c in across.values()], scales):
            return row
    return None


def _lost_headings(title: str, place: str, cells: Cells) -> list[Problem]:
    if title not in SHEETS or not cells:
        return []
    wrong = "The row of headings is not what it was."
    fix = "Copy the headings from a fresh workbook, or delete the sheet if nothing is on it."
    return [Problem(place, None, "", wrong, fix)]


def _grid(
    sheet: Worksheet,
    place: str,
    cells: Cells,
    heading: int,
    scales: tuple[Scale, ...],
) -> tuple[Grid, list[Problem]]:
    across = {c: column_of(_plain(cell.value), scales) for c, cell in cells[heading].items()}
    kind = kind_of(list(across.values()), scales)
    assert kind is not None
    wanted = columns_of(kind, scales)
    problems = _repeated_headings(place, heading, across, wanted)
    columns = {c: name for c, name in across.items() if name in wanted}
    problems += _merged(sheet, place, cells, heading, columns)
    rows = tuple(
        {
            columns[c]: _grid_cell(place, cell)
            for c, cell in row.items()
            if c in columns and _plain(cell.value).strip()
        }
        for number, row in cells.items()
        if number > heading
    )
    ignored = tuple(
        f"{place}, column {sheet.cell(heading, c).column_letter}: '{name}' is not one that is "
        "taken in."
        for c, name in across.items()
        if name not in wanted and name not in _FOR_THE_EYE
    )
    doubts = _out_of_sight(sheet, place, cells, heading, columns)
    who = _beside(cells, heading, WHO)
    if who is None:
        grader = GridCell("", f"{place}, beside '{WHO}'") if kind == "grades" else None
    else:
        grader = _grid_cell(place, who)
    missing = missing_columns(place, kind, across.values(), scales)
    return Grid(kind, place, rows, grader, ignored, missing, doubts), problems


def _out_of_sight(
    sheet: Worksheet, place: str, cells: Cells, heading: int, columns: dict[int, str]
) -> tuple[str, ...]:
    """Name what was read though nobody looking at the sheet sees it, or though it is struck out."""
    said = []
    if sheet.sheet_state != "visible":
        said.append(f"{place} is hidden, and was read.")
    rows = [number for number in cells if number > heading]
    hidden = [n for n in rows if sheet.row_dimensions[n].hidden and set(cells[n]) & set(columns)]
    if hidden:
        shown = ", ".join(map(str, hidden[:_SHOWN])) + (" ..." if len(hidden) > _SHOWN else "")
        said.append(f"{place}: hidden rows were read: {shown}.")
    struck = [
        cell.coordinate
        for number in rows
        for c, cell in cells[number].items()
        if c in columns and cell.font is not None and cell.font.strike
    ]
    if struck:
        shown = ", ".join(struck[:_SHOWN]) + (" ..." if len(struck) > _SHOWN else "")
        said.append(f"{place}: struck-out cells were read: {shown}.")
    return tuple(said)


def _repeated_headings(
    place: str, heading: int, across: dict[int, str], wanted: tuple[str, ...]
) -> list[Problem]:
    names = [name for name in across.values() if name in wanted]
    return [
        Problem(f"{place}, row {heading}", None, name, "This heading stands twice.", "Delete one.")
        for name in sorted({name for name in names if names.count(name) > 1})
    ]


def _of_another_series(sheet: Worksheet, name: str, series: str) -> Problem | None:
    cells = _filled(sheet)
    named = _beside(cells, _HEADING_WITHIN, WHICH)
    if named is None or _plain(named.value).strip() == series:
        return None
    wrong = f"This workbook belongs to the series '{_plain(named.value)}', not to '{series}'."
    fix = "Take it in there, or fill in the workbook of this series."
    return Problem(f"{name}, sheet {sheet.title}, cell {named.coordinate}", None, "", wrong, fix)


def _merged(
    sheet: Worksheet, place: str, cells: Cells, heading: int, columns: dict[int, str]
) -> list[Problem]:
    """Refuse merged cells that hold something, for nobody can say which row it is meant for."""
    problems = []
    for merged in sheet.merged_cells.ranges:
        first, last = merged.min_col, merged.max_col
        touched = [name for c, name in columns.items() if first <= c <= last]
        holds = cells.get(merged.min_row, {}).get(first)
        if merged.max_row > heading and touched and holds is not None:
            wrong = "These cells are merged."
            fix = "Take the merging off and fill in each cell by itself."
            problems.append(Problem(f"{place}, cells {merged.coord}", None, touched[0], wrong, fix))
    return problems


def _beside(cells: Cells, heading: int, label: str) -> Cell | None:
    """Find the cell to the right of a label above the headings."""
    for row, across in cells.items():
        labels = [c for c, cell in across.items() if _is_label(cell, label)]
        right = [cell for c, cell in across.items() if labels and c > labels[0]]
        if row < heading and right:
            return right[0]
    return None


def _is_label(cell: Cell, label: str) -> bool:
    return heading_of(_plain(cell.value).rstrip(" :?")) == heading_of(label)


def _grid_cell(place: str, cell: Cell) -> GridCell:
    where = f"{place}, cell {cell.coordinate}"
    for wrong, fix in _cannot_be_read(cell):
        return GridCell("", where, None, wrong, fix)
    return GridCell(_CONTROL.sub("", _plain(cell.value)).strip(), where)


def _cannot_be_read(cell: Cell) -> Iterator[tuple[str, str]]:
    value: Any = cell.value
    if cell.data_type == "f":
        shown = value if isinstance(value, str) else "an array formula"
        yield f"It holds a formula ({shown}).", "Type the value itself."
    elif cell.data_type == "e":
        yield f"It holds an error ({value}).", "Type the value itself."
    elif isinstance(value, bool):
        yield f"It holds {str(value).upper()}.", "Type the value itself."
    elif isinstance(value, dt.date | dt.time | dt.timedelta):
        yield (
            f"It holds a date or a time ({value}), perhaps made by the spreadsheet.",
            "Set the cell's format to plain number or text and type the value again.",
        )


def _plain(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value)
