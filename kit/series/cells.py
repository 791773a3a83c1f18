"""A table's cells to typed columns, and back to text."""

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from kit.errors import Problem
from kit.series.csv_text import Records, read_records, write_records
from kit.series.tables import Column, Table
from kit.series.vocabulary import MEANT, ON_JARS

_ALIKE = 0.8
"""How alike two words must be for one to be suggested: 'leadfree' must not become 'leaded'."""

_LOOKS_LIKE_DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[-. ]?[A-Za-z]{3,}\.?[- ]?\d*"
)


def parse_table(table: Table, content: bytes) -> tuple[pd.DataFrame | None, list[Problem]]:
    """Read a CSV file's bytes into a typed frame.

    Columns that the table does not know are kept as text, after those it does. The frame's index
    is the row number of the spreadsheet, so that later checks can name it.

    Returns
    -------
    DataFrame or None
        None when the file or its headings cannot be read. A cell with a problem is missing.
    list of Problem
    """
    known = [column.name for column in table.columns]
    records, problems = read_records(table.file, content, known)
    if records is None:
        return None, problems
    missing = [name for name in known if name not in records.headings]
    absent_required = [name for name in missing if table[name].required]
    problems += [
        Problem(
            table.file,
            1,
            name,
            "This column is missing.",
            f"Add a column headed '{name}'{_near(name, records.headings, known)}.",
        )
        for name in absent_required
    ]
    if absent_required:
        return None, problems
    columns = [*table.columns, *_extra_columns(records, known)]
    values, cell_problems = _convert(table, columns, records)
    return values, problems + cell_problems


def empty_frame(table: Table) -> pd.DataFrame:
    """Return the table with its columns and no rows."""
    return pd.DataFrame({c.name: pd.Series(dtype=c.dtype) for c in table.columns})


def with_every_column(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """Add the columns that a frame lacks and that may be blank, and put all in their order."""
    blank = {"text": "", "whole": pd.NA, "number": math.nan}
    lacking = [c for c in table.columns if not c.required and c.name not in frame]
    if not lacking:
        return frame
    added = {c.name: pd.Series(blank[c.kind], frame.index, dtype=c.dtype) for c in lacking}
    full = frame.assign(**added)
    known = [c.name for c in table.columns if c.name in full]
    return full[[*known, *(name for name in full if name not in known)]]


def csv_of(frame: pd.DataFrame) -> bytes:
    """Write a frame as CSV: the one way by which tables leave; no cell runs in a spreadsheet."""
    rows = zip(*(map(cell_text, frame[name]) for name in frame.columns), strict=True)
    return write_records(list(frame.columns), rows)


def plain_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain Python values; None for every blank."""
    columns = [[_plain(value) for value in frame[name].tolist()] for name in frame.columns]
    return [dict(zip(frame.columns, row, strict=True)) for row in zip(*columns, strict=True)]


def typed_frame(columns: Mapping[str, list[Any]], like: pd.DataFrame) -> pd.DataFrame:
    """Build a frame with the column types of another; text has blanks, not gaps."""
    filled = {
        name: ["" if v is None else v for v in values] if like[name].dtype == "str" else values
        for name, values in columns.items()
    }
    return pd.DataFrame({n: pd.Series(v, dtype=like[n].dtype) for n, v in filled.items()})


def convert_cell(column: Column, cell: str) -> tuple[str | int | float | None, str, str]:
    """Turn one cell's text into a value.

    Returns
    -------
    value, wrong, fix
        `wrong` is blank when the value is good; None is the value of an allowed blank.
    """
    if cell == "":
        if column.required:
            return None, "It is blank.", f"Fill it in: {column.meaning}"
        return ("" if column.kind == "text" else None), "", ""
    if column.kind == "text":
        return _convert_text(column, cell)
    return _convert_number(column, cell)


def nearest(word: str, choices: Iterable[str]) -> str:
    """Suggest the most similar of some words, as '. Did you mean ...?', or nothing."""
    folded = {choice.casefold(): choice for choice in choices}
    close = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=_ALIKE)
    meant = MEANT.get(word.casefold())
    suggested = meant if meant in folded else folded[close[0]] if close else ""
    return f" Did you mean '{suggested}'?" if suggested else ""


def _convert_text(column: Column, cell: str) -> tuple[str | None, str, str]:
    text = re.sub(r"[ \t ]+", " ", cell)
    if not column.allowed:
        return text, "", ""
    words = [str(word) for word in column.allowed]
    for word in words:
        if word.casefold() == text.casefold():
            return word, "", ""
    if (meant := ON_JARS.get(text.casefold())) in words:
        return meant, "", ""
    fix = f"It must be one of: {', '.join(words)}.{nearest(text, words)}"
    return None, f"'{text}' is not a word for this column.", fix


def _convert_number(column: Column, cell: str) -> tuple[int | float | None, str, str]:
    what = "a whole number" if column.kind == "whole" else "a number"
    plain = cell.replace(" ", "").replace(" ", "")
    if column.kind == "whole" and re.fullmatch(r"[+-]?\d{1,3},\d{3}", plain):
        whole, short = plain.replace(",", ""), plain.split(",")[0]
        return None, f"'{cell}' may mean {whole} or {short}.", f"Write {whole}, or {short}."
    if re.fullmatch(r"[+-]?\d+,\d+", plain):
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in plain:
        date = " It looks like a date that a spreadsheet made." if _is_date(cell) else ""
        return None, f"'{cell}' is not {what}.{date}", _limits(column, what)
    if column.kind == "whole":
        if value != int(value):
            return None, f"'{cell}' is not a whole number.", _limits(column, what)
        value = int(value)
    low = -math.inf if column.minimum is None else column.minimum
    high = math.inf if column.maximum is None else column.maximum
    if (column.allowed and value not in column.allowed) or not low <= value <= high:
        return None, f"{cell} is out of range.", _limits(column, what)
    return value, "", ""


def _is_date(cell: str) -> bool:
    return _LOOKS_LIKE_DATE.fullmatch(cell) is not None


def _limits(column: Column, what: str) -> str:
    unit = f" {column.unit}" if column.unit else ""
    if column.allowed:
        return f"It must be one of: {', '.join(map(str, column.allowed))}."
    if column.minimum is not None and column.maximum is not None:
        return f"It must be {what} from {column.minimum:g} to {column.maximum:g}{unit}."
    if column.minimum is not None:
        return f"It must be {what} of at least {column.minimum:g}{unit}."
    return f"It must be {what}{unit}."


def _extra_columns(records: Records, known: Sequence[str]) -> list[Column]:
    return [
        Column(name, "text", "Added by hand.", required=False)
        for name in records.headings
        if name and name not in known
    ]


def _near(name: str, headings: Sequence[str], known: Sequence[str]) -> str:
    unknown = [h for h in headings if h and h not in known]
    close = difflib.get_close_matches(name, unknown, n=1, cutoff=0.6)
    return f" (is it the one now headed '{close[0]}'?)" if close else ""


def _convert(
    table: Table, columns: Sequence[Column], records: Records
) -> tuple[pd.DataFrame, list[Problem]]:
    where = {name: i for i, name in reversed(list(enumerate(records.headings)))}
    rows = [number for number, _ in records.rows]
    problems: list[Problem] = []
    filled = {}
    for column in columns:
        values = []
        for number, cells in records.rows:
            cell = cells[where[column.name]] if column.name in where else ""
            value, wrong, fix = convert_cell(column, cell)
            if wrong:
                problems.append(Problem(table.file, number, column.name, wrong, fix))
            values.append(value)
        holed = column.dtype == "int64" and None in values
        dtype = "Int64" if holed else column.dtype
        filled[column.name] = pd.Series(values, index=rows, dtype=dtype)
    return pd.DataFrame(filled, index=rows), problems


def cell_text(value: object) -> str:
    """Write a value the way a table shows it; blank for a missing one."""
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float):
        return str(int(value)) if value == int(value) else repr(float(value))
    return str(value)


def _plain(value: Any) -> Any:
    blank = value is pd.NA or value == "" or (isinstance(value, float) and math.isnan(value))
    return None if blank else value
