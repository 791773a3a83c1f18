"""CSV as spreadsheets really save it: to plain records, and back to clean text.

Reading takes a byte-order mark, semicolons or tabs for commas, Windows line ends, stray spaces and
blank rows. Writing gives UTF-8, commas and plain line ends.
"""

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from kit.errors import Problem
from kit.series.size_limits import LONGEST_CELL, MOST_BYTES, text_excess

_RUNS = re.compile(r"'*[=+\-@\t\r]")
"""Text that a spreadsheet would take for a formula, or that looks like such text made safe."""

_DELIMITERS = (",", ";", "\t")
_HEADING_WITHIN = 40

csv.field_size_limit(MOST_BYTES)


@dataclass(frozen=True)
class Records:
    """The cells of a file before they mean anything.

    Parameters
    ----------
    headings : tuple of str
    rows : tuple of (int, tuple of str)
        Row number as a spreadsheet shows it, and as many cells as there are headings.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_records(
    file: str, content: bytes, known: Sequence[str]
) -> tuple[Records | None, list[Problem]]:
    """Split the bytes of a CSV file into headings and cells.

    Parameters
    ----------
    file : str
        Name for the problems.
    content : bytes
    known : sequence of str
        Headings to expect; they decide which delimiter the file uses.

    Returns
    -------
    Records or None
        None when the file cannot be read at all.
    list of Problem
    """
    if excess := text_excess(content):
        fix = "Is it the right file? Put it back from a copy."
        return None, [Problem(file, None, "", excess, fix)]
    text = _decode(content)
    if text is None:
        return None, [
            Problem(
                file, None, "", "It is not plain text.", "Save it as 'CSV UTF-8' and try again."
            )
        ]
    table, problems = _best_split(file, text, known)
    filled = [(n, cells) for n, cells in table if any(cells)]
    if problems or not filled:
        empty = Problem(
            file, None, "", "It is empty.", f"Its first row must read: {', '.join(known)}."
        )
        return None, problems or [empty]
    (_, first), *rest = filled
    headings = [heading_of(cell) for cell in first]
    width = max((i + 1 for i, heading in enumerate(headings) if heading), default=0)
    problems += _heading_problems(file, headings[:width])
    rows = []
    for number, cells in rest:
        if max(map(len, cells)) > LONGEST_CELL:
            wrong = f"A cell is longer than {LONGEST_CELL} characters."
            return None, [Problem(file, number, "", wrong, "Shorten it.")]
        if any(cells[width:]):
            problems.append(
                Problem(
                    file,
                    number,
                    "",
                    f"It has more cells than the heading has ({width}).",
                    "Put text that holds a comma in double quotes, or delete the extra cells.",
                )
            )
        rows.append((number, tuple((*cells, *[""] * width)[:width])))
    return Records(tuple(headings[:width]), tuple(rows)), problems


def below_headings(
    content: bytes, are_headings: Callable[[Sequence[str]], bool]
) -> tuple[bytes, list[list[str]]]:
    """Blank out the lines above the headings, such as the title of a sheet that was saved as CSV.

    Parameters
    ----------
    content : bytes
    are_headings : callable
        Whether the cells of a line are headings.

    Returns
    -------
    bytes
        As it was when no line near the top has headings; rows keep their numbers.
    list of list of str
        The cells of the lines above.
    """
    text = _decode(content)
    lines = [] if text is None or text_excess(content) else text.split("\n")
    for number, line in enumerate(lines[:_HEADING_WITHIN]):
        for delimiter in _DELIMITERS:
            if are_headings(next(csv.reader([line], delimiter=delimiter), [])):
                above = [next(csv.reader([one], delimiter=delimiter), []) for one in lines[:number]]
                rest = "\n".join(lines[number:])
                return ("\n" * number + rest).encode(), above
    return content, []


def heading_of(cell: str) -> str:
    """Bring a heading as typed ('Coat weight') to its name ('coat_weight')."""
    return re.sub(r"[\s\-]+", "_", cell.strip().lower())


def write_records(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """Write headings and cells as CSV; a cell that a spreadsheet would run gets a leading '."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([guarded(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8")


def guarded(cell: str) -> str:
    """Make text safe to open in a spreadsheet; `unguarded` takes it back.

    A lone carriage return would stand unquoted and end the row; it is read as a new line anyway.
    """
    cell = cell.replace("\r\n", "\n").replace("\r", "\n")
    return "'" + cell if _RUNS.match(cell) and not _is_number(cell) else cell


def unguarded(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running a cell."""
    return cell[1:] if cell[:1] == "'" and _RUNS.match(cell) else cell


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"-?\d+([.,]\d+)?", cell) is not None


def _decode(content: bytes) -> str | None:
    wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        return None
    return None if "\0" in text else text.replace("\r\n", "\n").replace("\r", "\n")


def _best_split(
    file: str, text: str, known: Sequence[str]
) -> tuple[list[tuple[int, list[str]]], list[Problem]]:
    first_line = text.lstrip().split("\n", 1)[0]

    def hits(delimiter: str) -> int:
        cells = next(csv.reader([first_line], delimiter=delimiter), [])
        return len({heading_of(cell) for cell in cells} & set(known))

    delimiter = max(_DELIMITERS, key=hits)
    table: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(reader, start=1):
            table.append((number, [unguarded(cell.strip()) for cell in cells]))
    except csv.Error:
        row = _row_of_open_quote(table, text, delimiter)
        return table, [
            Problem(
                file,
                row,
                "",
                'A double quote (") is opened and not closed.',
                'Close it, or delete it. A quote inside text is written twice: "".',
            )
        ]
    return table, []


def _row_of_open_quote(table: list[tuple[int, list[str]]], text: str, delimiter: str) -> int:
    """Row where the trouble starts: the first line with an odd number of quotes."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count('"') % 2:
            return number
    return len(table) + 1


def _heading_problems(file: str, headings: Sequence[str]) -> list[Problem]:
    problems = []
    for i, heading in enumerate(headings):
        if not heading:
            problems.append(
                Problem(
                    file, 1, f"number {i + 1}", "It has no heading.", "Give it one or delete it."
                )
            )
        elif heading in headings[:i]:
            problems.append(
                Problem(file, 1, heading, "This heading stands twice.", "Rename or delete one.")
            )
    return problems
