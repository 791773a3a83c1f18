"""An OpenDocument spreadsheet (.ods), to the workbook that the reader of workbooks takes.

Source of the names: OASIS OpenDocument v1.2, part 1, sections 9 (tables) and 19 (attributes).
"""

import datetime as dt
import io
import zipfile
from typing import Any
from xml.etree import ElementTree

import openpyxl
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_MOST_ROWS, _MOST_COLUMNS = 50_000, 200


def is_ods(content: bytes) -> bool:
    """Whether a package holds an OpenDocument file."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return "content.xml" in packed.namelist()


def workbook_of_ods(content: bytes) -> openpyxl.Workbook:
    """Read the bytes of an .ods file into a workbook in memory: values, merges, what is hidden."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        root = ElementTree.fromstring(packed.read("content.xml"))
    styles = {s.get(f"{_STYLE}name", ""): s for s in root.iter(f"{_STYLE}style")}
    hidden = {name for name, style in styles.items() if _hides(style)}
    struck = {name for name, style in styles.items() if _strikes(style)}
    book = openpyxl.Workbook()
    if book.active is not None:
        book.remove(book.active)
    for table in root.iter(f"{_TABLE}table"):
        sheet = book.create_sheet(table.get(f"{_TABLE}name", "Sheet")[:31])
        if table.get(f"{_TABLE}style-name") in hidden:
            sheet.sheet_state = "hidden"
        _fill(sheet, table, struck)
    return book


def _fill(sheet: Worksheet, table: ElementTree.Element, struck: set[str]) -> None:
    number = 0
    for row in table.iter(f"{_TABLE}table-row"):
        repeat = _count(row, "number-rows-repeated")
        cells = [cell for cell in row if cell.tag in (f"{_TABLE}table-cell", _COVERED)]
        holds = any(_value(cell) is not None for cell in cells)
        if holds and number + repeat <= _MOST_ROWS:
            for n in range(number + 1, number + repeat + 1):
                _fill_row(sheet, n, cells, struck)
                if row.get(f"{_TABLE}visibility") in ("collapse", "filter"):
                    sheet.row_dimensions[n].hidden = True
        number += repeat


_COVERED = f"{_TABLE}covered-table-cell"


def _fill_row(
    sheet: Worksheet, number: int, cells: list[ElementTree.Element], struck: set[str]
) -> None:
    column = 0
    for cell in cells:
        repeat = _count(cell, "number-columns-repeated")
        value = _value(cell)
        for c in range(column + 1, min(column + repeat, _MOST_COLUMNS) + 1):
            if value is None:
                break
            here: Any = sheet.cell(number, c, value)
            if cell.get(f"{_TABLE}formula"):
                here.value, here.data_type = cell.get(f"{_TABLE}formula"), "f"
            if cell.get(f"{_TABLE}style-name") in struck:
                here.font = Font(strike=True)
        across = _count(cell, "number-columns-spanned")
        down = _count(cell, "number-rows-spanned")
        if value is not None and across * down > 1 and across * down < _MOST_ROWS:
            sheet.merge_cells(
                start_row=number, start_column=column + 1,
                end_row=number + down - 1, end_column=column + across,
            )  # fmt: skip
        column += repeat


def _value(cell: ElementTree.Element) -> Any:
    if cell.tag == _COVERED:
        return None
    kind = cell.get(f"{_OFFICE}value-type")
    if kind in ("float", "percentage", "currency"):
        number = float(cell.get(f"{_OFFICE}value", "nan"))
        return int(number) if number.is_integer() else number
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value") == "true"
    if kind == "date":
        return dt.date.fromisoformat(cell.get(f"{_OFFICE}date-value", "")[:10])
    if kind == "time":
        return dt.time()
    lines = ["".join(p.itertext()) for p in cell.iter(f"{_TEXT}p")]
    return "\n".join(lines) or None


def _count(element: ElementTree.Element, name: str) -> int:
    told = element.get(f"{_TABLE}{name}", "1")
    return max(1, min(int(told), 2_000_000)) if told.isdigit() else 1


def _hides(style: ElementTree.Element) -> bool:
    properties = style.find(f"{_STYLE}table-properties")
    return properties is not None and properties.get(f"{_TABLE}display") == "false"


def _strikes(style: ElementTree.Element) -> bool:
    text = style.find(f"{_STYLE}text-properties")
    kind = None if text is None else text.get(f"{_STYLE}text-line-through-style")
    return kind not in (None, "none")
